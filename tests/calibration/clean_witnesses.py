"""What 'clean' rests on: how far a healthy bearing's sound follows the crank, and which test defects are found.

Run by hand: ``python tests/calibration/clean_witnesses.py --folder FOLDER``. Prints, over both generators,

- how much louder, and how differently shaped, the fastest third of a run-down is than the slowest, in the group of
  five bands that shows it best with a certainty of four standard errors; beside it the same of a steady noise;
- in how many healthy recordings a steady noise is taken to begin or end at once, and in how many of those in which
  one does;
- the share of test defects that the ranking finds, by their strength, on the outer ring and on the inner.

`acoustic_plugins/quality/turning.py` and `following.py` beside it, and `acoustic/check/sensitivity.py`, hold the
limits. The speed is known by marks throughout.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))
from acoustic_plugins.quality.following import Contrast, fast_over_slow, noise_steps
from both_generators import Made, parser, recorded

from acoustic.check import sensitivity
from acoustic.check.features import extract_features
from acoustic.check.pipeline import read_recording
from acoustic.dsp.geometry import defect_orders
from acoustic.dsp.levels.filterbank import band_bank
from acoustic.dsp.orders.injection import StruckRing
from acoustic.model import Bearing, Features, Recording
from acoustic.plugin.registry import load_plugins
from acoustic.speed.from_marks import motion_from_marks

Floats = NDArray[np.float64]
CERTAINTY, COASTS = 4.0, 1.5
TRIED_DB = (-22.0, -20.0, -18.0, -16.0, -14.0, -12.0)


def heard(made: Made) -> Features:
    """What is heard of a recording by its true marks."""
    recording = read_recording(made.path, load_plugins().readers, [])
    motion = motion_from_marks(made.spin.marks_s, duration_s=recording.duration_s, source="marks", timing_s=0.001)
    return extract_features(recording, motion, Bearing("drawn", (made.plan.geometry,), "given", "drawn"))


def best(found: Contrast) -> tuple[float, float]:
    """Highest certain rise of the level and change of the shape [dB]; 0 where none is certain."""
    level = np.where(found.level_certainty >= CERTAINTY, found.level_db, 0.0).max()
    shape = np.where(np.abs(found.shape_certainty) >= CERTAINTY, np.abs(found.shape_db), 0.0).max()
    return float(level), float(shape)


def steady(recording: Recording, seed: int) -> Floats:
    """White noise as long and as loud as a recording."""
    level = float(np.std(recording.heard))
    return level * np.random.default_rng(seed).standard_normal(len(recording.samples))


def found_shares(features: Features) -> list[tuple[bool, bool]]:
    """Whether a test defect is found on either ring, for each strength."""
    geometry = features.bearing.geometry
    orders = defect_orders(geometry)
    rings = (
        StruckRing(orders.outer_raceway, geometry.balls, turns_with_crank=False),
        StruckRing(orders.inner_raceway, geometry.balls, turns_with_crank=True),
    )
    return [
        (sensitivity.found_in_angle(features, rings[0], db), sensitivity.found_in_angle(features, rings[1], db))
        for db in TRIED_DB
    ]


def main() -> None:
    """Print the three tables."""
    said = parser(__doc__.splitlines()[0], recordings=40).parse_args()
    follows: dict[str, list[tuple[float, float]]] = {}
    steps: dict[str, list[bool]] = {}
    found: list[list[tuple[bool, bool]]] = []
    for made in recorded("clean-marks", said):
        features = heard(made)
        motion, recording = features.motion, features.recording
        noise = band_bank(steady(recording, made.seed), sample_rate_hz=recording.sample_rate_hz)
        for name, bank in ((made.generator, features.bank), ("steady noise", noise)):
            contrast = fast_over_slow(bank, motion.times_s, motion.speed_hz, least_ratio=COASTS)
            if contrast is not None:
                follows.setdefault(name, []).append(best(contrast))
        half = len(recording.samples) // 2
        broken = recording.heard.copy()
        broken[half:] += 2 * steady(recording, made.seed)[half:]
        spoilt = band_bank(broken, sample_rate_hz=recording.sample_rate_hz)
        for name, bank in (
            (made.generator, features.bank),
            (f"{made.generator}, noise from the middle on", spoilt),
        ):
            steps.setdefault(name, []).append(bool(noise_steps(bank)))
        found.append(found_shares(features))
    print("fast over slow [dB]: level (limit 1.5) and shape (limit 0.8), quantiles 0, 0.05, 0.5, 0.95, 1")
    for name, values in follows.items():
        for what, column in zip(("level", "shape"), np.array(values).T, strict=True):
            quantiles = "".join(f"{q:7.2f}" for q in np.quantile(column, [0, 0.05, 0.5, 0.95, 1]))
            print(f"  {name:<14}{len(values):>5}  {what}{quantiles}")
    print("a steady noise begins or ends at once")
    for name, values in steps.items():
        print(f"  {name:<36}{len(values):>5}{np.mean(values):>8.1%}")
    print("test defects found: outer ring, inner ring, both")
    for db, shares in zip(TRIED_DB, np.array(found).transpose(1, 0, 2), strict=True):
        outer, inner = shares.mean(axis=0)
        print(f"  {db:6.0f} dB{outer:>8.1%}{inner:>8.1%}{shares.all(axis=1).mean():>8.1%}")


if __name__ == "__main__":
    main()
