"""Spins of bearings with two rows of balls, judged as one row and as two: what is named, and how strong.

    python tests/bench/bench_two_rows.py [--seeds 20]

Both rows are damaged and slip differently, or one row's contact angle moves its order past what one row shows.
Each line: what was named how often, the grades, the median severity [dB] and log10 of the chance.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from math import log10
from pathlib import Path
from typing import Any

import soundfile

from acoustic.check.pipeline import check_recording
from acoustic.dsp.geometry import BearingGeometry
from acoustic.model import Analysis, Bearing, SpeedRequest
from acoustic.plugin.registry import Registry, load_plugins
from acoustic.simulator import SpinPlan, simulate

COMMONEST = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
STEADY = {"spin": "steady", "start_hz": 1.25, "duration_s": 35.0}
CASES: dict[str, dict[str, Any]] = {
    "nothing": {},
    "nothing, steady": STEADY,
    "one outer": {"defects": (("outer_raceway", -10.0),), "slip": 0.012},
    "both outers, 0.2 %": {"defects": (("outer_raceway", -10.0),), "slip": 0.002, "second_slip": 0.004},
    "both outers, 0.8 %": {"defects": (("outer_raceway", -10.0),), "slip": 0.002, "second_slip": 0.01},
    "both inners, 0.8 %": {"defects": (("inner_raceway", -6.0),), "slip": 0.002, "second_slip": 0.01},
    "both outers, 1.2 %, steady": {
        "defects": (("outer_raceway", -12.0),),
        "slip": 0.002,
        "second_slip": 0.014,
        **STEADY,
    },
    "one outer 1.6 % fast, steady": {"defects": (("outer_raceway", -12.0),), "slip": -0.016, **STEADY},
}


@contextmanager
def recorded(plan: SpinPlan) -> Iterator[tuple[Path, Path]]:
    """The recording and its marks, while they are needed."""
    spin = simulate(plan)
    with tempfile.TemporaryDirectory() as folder:
        path, marks = Path(folder) / "spin.wav", Path(folder) / "marks.csv"
        soundfile.write(path, spin.samples, spin.sample_rate_hz)
        marks.write_text("\n".join(f"{mark:.4f}" for mark in spin.marks_s), encoding="utf-8")
        yield path, marks


def judged(plan: SpinPlan, rows: int, registry: Registry) -> Analysis:
    """What the whole chain says of a plan."""
    bearing = Bearing(
        designation="6805", candidates=(COMMONEST,), balls_source="given", source="simulated", rows=rows
    )
    with recorded(plan) as (path, marks):
        return check_recording(path, bearing=bearing, request=SpeedRequest(marks=marks), registry=registry)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--only", default="", help="cases whose name holds this")
    asked = parser.parse_args()
    registry = load_plugins()
    for name, said in CASES.items():
        if asked.only not in name:
            continue
        part = said["defects"][0][0] if "defects" in said else "outer_raceway"
        for rows in (1, 2):
            plans = [SpinPlan(geometry=COMMONEST, seed=seed, **said) for seed in range(asked.seeds)]
            found = [judged(plan, rows, registry) for plan in plans]
            named = Counter("+".join(f.condition for f in one.findings if f.detected) or "-" for one in found)
            grades = Counter(one.verdict.level for one in found)
            own = [next(f for f in one.findings if f.condition == part) for one in found]
            severity_db = statistics.median(f.severity_db or -40.0 for f in own)
            chance = statistics.median(log10(max(f.false_alarm_probability or 1.0, 1e-30)) for f in own)
            print(
                f"{name:<28} as {rows}: {dict(named)} {dict(grades)} {severity_db:.1f} dB, log10 p {chance:.1f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
