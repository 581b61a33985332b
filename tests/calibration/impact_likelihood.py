"""How loud impacts are at each pace and over what: the numbers of `acoustic.dsp.tacholess.impact_likelihood`.

Run by hand: ``python tests/calibration/impact_likelihood.py [--folder REAL] [--recordings N]``. Damaged rings 3 dB
under the room, half with talk as loud, under the true course of the angle: of each stored number the log
likelihood of a recording is printed at values about it, the others as stored, for each generator, as a difference
to that at the stored value with its standard error. Of 8 recordings of each generator (``--first 100``) RANKED is
likeliest at 8 to 12 and at 8. The others would be likelier with sharper impacts (12 ms by 20 nats of 80, 0.97
heard, slip 0.01, 500 audible by 3 to 7), but are kept blunter (judgement): what the model leaves out, a second
strike at a spall's end or a load that swings, would else make offsets that are one impact off look certain.
"""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))
from both_generators import Made, parser, recorded

from acoustic.dsp.levels.filterbank import band_bank
from acoustic.dsp.tacholess import impact_likelihood as law
from acoustic.dsp.tacholess.alignment import impact_places
from acoustic.dsp.tacholess.impact_levels import ImpactLevels, impact_levels

Floats = NDArray[np.float64]
VALUES = {
    "AUDIBLE": (5.0, 20.0, 50.0, 150.0, 500.0),
    "RANKED": (3.0, 5.0, 8.0, 12.0, 20.0),
    "HEARD": (0.5, 0.7, 0.8, 0.9, 0.97),
    "RINGS_S": (0.006, 0.012, 0.02, 0.027),
    "SLIP_AN_IMPACT": (0.01, 0.02, 0.04),
}
CODER_S = 1024 / 48_000  # what an AAC encoder puts in front
Heard = tuple[ImpactLevels, law.Course, float, float]


def heard(made: Made) -> Heard | None:
    """Levels of a recording, the true course, its lag and impacts a turn; None where no train is clear."""
    from acoustic.check.pipeline import read_recording
    from acoustic.plugin.registry import load_plugins

    recording = read_recording(made.path, load_plugins().readers, [])
    levels = impact_levels(band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz))
    spin = made.spin
    times_s = np.arange(0, spin.times_s[-1], 0.01)
    speed_hz = np.interp(times_s, spin.times_s, np.gradient(spin.turns, spin.times_s))
    places = impact_places(levels, times_s, speed_hz, [(spin.start_s, spin.stop_s)])
    lag_s = CODER_S if made.how.startswith("AAC") else 0.0
    near = [place for place in places if abs(place.middle_s - lag_s) < 0.5 and place.chance < 1e-4]
    if not near:
        return None
    return levels, law.course(times_s, speed_hz, spin.start_s, spin.stop_s), lag_s, near[0].order


def recordings(said: Namespace) -> Iterator[tuple[str, Heard]]:
    """All that are clearly heard, with the generator's name."""
    for made in recorded("gyro-3", said):
        found = heard(made)
        if found is not None:
            yield made.generator, found


def nats(found: Heard) -> float:
    """Log likelihood under the laws as they stand, the best group of bands and number of impacts a turn taken."""
    levels, path, lag_s, order = found
    orders = order * np.exp(np.arange(-0.03, 0.03, 0.5 / (path.turns[-1] * order)))
    groups = (len(levels.integral) - 1, len(levels.integral) - 2)
    at = np.array([lag_s])
    return max(float(law.impact_nats(levels, law.impact_ranks(levels, k), path, at, orders).max()) for k in groups)


def likelihoods(some: list[Heard], names: Sequence[str] = tuple(VALUES)) -> dict[str, Floats]:
    """Of every number, at each of its values, of each recording: shape (values, recordings)."""
    told = {}
    for name in names:
        stored = getattr(law, name)
        rows = []
        for value in VALUES[name]:
            setattr(law, name, value)
            rows.append([nats(found) for found in some])
        setattr(law, name, stored)
        told[name] = np.array(rows)
    return told


def main() -> None:
    """Print the table."""
    said = parser(__doc__ or "", recordings=40).parse_args()
    kept: dict[str, list[Heard]] = {}
    for generator, found in recordings(said):
        kept.setdefault(generator, []).append(found)
    for generator, some in kept.items():
        print(f"{generator}: {len(some)} recordings")
        for name, rows in likelihoods(some).items():
            here = rows[VALUES[name].index(getattr(law, name))]
            told = ", ".join(
                f"{value:g}: {np.mean(row - here):+.1f} +- {np.std(row - here) / np.sqrt(len(some)):.1f}"
                for value, row in zip(VALUES[name], rows, strict=True)
            )
            print(f"  {name:<15} (stored {getattr(law, name):g}, {here.mean():.0f} nats)  {told}", flush=True)


if __name__ == "__main__":
    main()
