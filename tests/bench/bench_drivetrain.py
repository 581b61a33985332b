"""Count how often chain and jockey wheels pass for the bearing, and how often damage is found beside them.

Run by hand: ``python tests/bench/bench_drivetrain.py [--spins N] [--first SEED] [--folder FOLDER] [KIND ...]``.
Pedalled spins are drawn wide in bearing, teeth, cadence, talk and gain; the strikes are 4 dB under to 8 dB over
the room, as the defects beside them; with ``--folder`` they are pieced together from real recordings. The angle
comes from marks 3 ms off, as by hand from a film.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
from pieces import Pieces
from recorded import made
from spins import GEOMETRIES

from acoustic.check.features import extract_features
from acoustic.check.pipeline import detect
from acoustic.dsp.geometry import BearingGeometry
from acoustic.model import Bearing, Drivetrain, Failure, Recording
from acoustic.plugin.registry import Registry, load_plugins
from acoustic.simulator import SpinPlan
from acoustic.speed.from_marks import motion_from_marks

MARKS_OFF_S = 0.003
SPROCKET = 17
KINDS = {
    "nothing": (),
    "chain": ("chain",),
    "jockey": ("jockey",),
    "both": ("chain", "jockey"),
    "outer": ("outer_raceway",),
    "inner": ("inner_raceway",),
    "outer+chain": ("outer_raceway", "chain"),
    "outer+jockey": ("outer_raceway", "jockey"),
    "inner+chain": ("inner_raceway", "chain"),
    "inner+jockey": ("inner_raceway", "jockey"),
}


def draw_pedalled(seed: int, kind: str) -> SpinPlan:
    """Draw a pedalled crank."""
    rng = np.random.default_rng(9000 + seed)
    balls, ball_mm, pitch_mm = GEOMETRIES[int(rng.integers(len(GEOMETRIES)))]
    return SpinPlan(
        geometry=BearingGeometry(balls=balls, ball_diameter_mm=ball_mm, pitch_diameter_mm=pitch_mm),
        chainring=int(rng.integers(30, 54)),
        jockey=int(rng.integers(10, 15)),
        spin="pedal",
        duration_s=round(rng.uniform(10, 18), 1),
        start_hz=rng.uniform(0.8, 1.6),
        wobble=rng.uniform(0, 0.05),
        drift=rng.uniform(0, 0.06),
        slip=rng.uniform(0, 0.008),
        jitter=rng.uniform(0.002, 0.01),
        load_zone=rng.uniform(0.1, 0.9),
        running_db=rng.uniform(-6, 3),
        waviness=rng.uniform(0, 0.1),
        talk_db=rng.uniform(-8, 6),
        knocks=1,
        room_tilt_db=rng.uniform(-6, -2),
        high_hz=rng.uniform(12_000, 17_000),
        gain_strength=float(rng.choice([0, 0.5])),
        runout=rng.uniform(0, 0.6),
        seed=seed,
        defects=tuple((part, level_db) for level_db in [rng.uniform(-4, 8)] for part in KINDS[kind]),
    )


def called(plan: SpinPlan, registry: Registry, pieces: Pieces | None, *, by_ear: bool) -> tuple[str, ...]:
    """Conditions that the check detects in a spin."""
    spin = made(plan, "pieced" if pieces else "physical", pieces)
    rate_hz = float(spin.sample_rate_hz)
    recording = Recording(Path("spin.wav"), "", spin.samples[:, np.newaxis], rate_hz, "in memory")
    off_s = MARKS_OFF_S * np.random.default_rng(plan.seed).standard_normal(spin.marks_s.size)
    motion = motion_from_marks(
        spin.marks_s + off_s, duration_s=recording.duration_s, source="marks", timing_s=MARKS_OFF_S
    )
    teeth = Drivetrain(chainring=plan.chainring, sprocket=SPROCKET, jockey=plan.jockey)
    bearing = Bearing("drawn", (plan.geometry,), "given", "drawn")
    features = extract_features(recording, replace(motion, spin="pedal"), bearing, None if by_ear else teeth)
    failures: list[Failure] = []
    found = detect(features, registry.detectors, failures)
    assert not failures
    return tuple(sorted(finding.condition for finding in found if finding.detected))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("kinds", nargs="*", metavar="KIND", help=f"{', '.join(KINDS)}; all if none")
    parser.add_argument("--spins", type=int, default=20, help="spins of each kind")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--by-ear", action="store_true", help="give no tooth counts")
    parser.add_argument("--folder", type=Path, help="real recordings: piece the spins together from them")
    given = parser.parse_args()
    pieces = Pieces.load(given.folder) if given.folder else None
    registry = load_plugins()
    for kind in given.kinds or KINDS:
        seeds = range(given.first, given.first + given.spins)
        calls = Counter(called(draw_pedalled(seed, kind), registry, pieces, by_ear=given.by_ear) for seed in seeds)
        print(f"{kind:<14}", ", ".join(f"{' + '.join(what) or 'nothing'} {n}" for what, n in calls.most_common()))


if __name__ == "__main__":
    main()
