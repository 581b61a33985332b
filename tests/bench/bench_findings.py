"""How often each condition is found, missed and mistaken, on recordings drawn wide.

Run by hand: ``python tests/bench/bench_findings.py [--quick] [--recordings N] [ROW ...]``. Every recording goes
through the whole chain, as a file: a quarter of them after AAC at 64 kbit/s, a quarter with automatic gain;
those of the rows ``sound`` and ``harsh`` also after Opus at 32 kbit/s, at 16 kHz, with hum, with the loudest
clicks clipped and with a gate between the words. The quick form looks at few and fails only where a figure is
missed by far.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from recorded import record
from scipy.stats import spearmanr
from spins import draw

from acoustic.errors import AcousticError
from acoustic.model import Analysis, Bearing, SpeedRequest
from acoustic.pipeline import check_recording
from acoustic.plugins import load_toolbox
from acoustic.simulator import SpinPlan

RINGS = ("outer_raceway", "inner_raceway")
DEFECTS = (*RINGS, "ball", "cage", "raceway", "contamination", "rumble", "creak", "tight", "drivetrain")
PEDALLED: dict[str, Any] = {"spin": "pedal"}


def ring(seed: int) -> str:
    """Outer and inner ring by turns."""
    return RINGS[seed % 2]


def spun(level_db: float) -> Callable[[int], dict[str, Any]]:
    """One ring damaged, 8 to 20 turns."""
    return lambda seed: {
        "defects": ((ring(seed), level_db),),
        "turns": float(np.random.default_rng(seed).uniform(8, 20)),
    }


def pedalled(seed: int, **changes: Any) -> dict[str, Any]:
    """Pedalled for 9 to 18 turns at 50 to 100 turns a minute."""
    rng = np.random.default_rng(300_000 + seed)
    start_hz = rng.uniform(0.8, 1.7)
    return {
        "spin": "pedal",
        "still_s": (1.5, 1.5),
        "duration_s": rng.uniform(9, 18) / start_hz + 3.0,
        "start_hz": start_hz,
        "wobble": rng.uniform(0.01, 0.06),
        **changes,
    }


@dataclass(frozen=True)
class Row:
    """One row of the table: what is recorded, how it is asked about, and what must hold."""

    changes: Callable[[int], dict[str, Any]]
    wanted: Callable[[int], Sequence[str]]
    wrong: Sequence[str]
    least_found: float | None
    most_wrong: float | None
    counted: int = 100
    angle_known: bool = True
    right_ring: float | None = None
    widely: bool = False


def nothing(seed: int) -> Sequence[str]:
    return ()


def rings_wanted(seed: int) -> Sequence[str]:
    """The damaged ring, or a raceway left open: which of them is counted apart."""
    return (ring(seed), "raceway")


def wavy(seed: int) -> dict[str, Any]:
    """A sound bearing: half of them swell at one pace, half at two; hum in every fifth."""
    return {"hum_db": -6.0 if seed % 5 == 0 else None, "waviness_lines": 1 + seed % 2}


def harsh(seed: int) -> dict[str, Any]:
    """Loud talk, and an air compressor that strikes at a pace of its own."""
    rng = np.random.default_rng(400_000 + seed)
    return {"talk_db": 9.0, "compressor_db": float(rng.uniform(-6, 6)), "knocks": 4}


ROWS = {
    "sound": Row(
        wavy,
        nothing,
        DEFECTS,
        None,
        0.01,
        500,
        widely=True,
    ),
    "harsh-sound": Row(harsh, nothing, DEFECTS, None, 0.01, widely=True),
    "harsh-3": Row(
        lambda seed: {**harsh(seed), "defects": ((ring(seed), -3.0),)},
        rings_wanted,
        (*RINGS, "ball", "cage", "contamination", "creak", "tight"),
        None,
        0.01,
        widely=True,
    ),
    "ring-8": Row(spun(-8), rings_wanted, (*RINGS, "ball", "cage", "contamination"), 0.95, 0.01, 100, True, 0.95),
    "ring-14": Row(spun(-14), rings_wanted, (*RINGS, "ball", "cage", "contamination"), 0.85, 0.01),
    "ring-18": Row(spun(-18), rings_wanted, (*RINGS, "ball", "cage", "contamination"), 0.50, 0.01),
    "ball-8": Row(
        lambda seed: {"defects": (("ball", -8.0),), "turns": float(np.random.default_rng(seed).uniform(8, 20))},
        lambda seed: ("ball", "raceway"),
        (*RINGS, "cage", "contamination"),
        0.80,
        0.03,
    ),
    "alone-3": Row(
        lambda seed: {"defects": ((ring(seed), -3.0),)},
        rings_wanted,
        RINGS,
        0.90,
        0.02,
        angle_known=False,
    ),
    "grit-3": Row(
        lambda seed: {"defects": (("grit", -3.0),)},
        lambda seed: ("contamination",),
        (*RINGS, "raceway", "ball", "cage"),
        0.90,
        0.02,
    ),
    "creak": Row(
        lambda seed: pedalled(seed, defects=(("creak", 0.0),), creaks_per_turn=1 + seed % 2),
        lambda seed: ("creak",),
        (*RINGS, "raceway", "ball", "cage"),
        0.90,
        0.02,
    ),
    "tight": Row(
        lambda seed: {"notch": (2.0 if seed % 2 else 0.888, 0.5), "running_db": 3.0},
        lambda seed: ("tight",),
        (*RINGS, "raceway", "ball", "cage", "contamination", "rumble"),
        None,
        None,
    ),
    "speech-squeal": Row(
        lambda seed: pedalled(seed, talk_db=6.0, squeal_db=9.0 if seed % 2 else None),
        nothing,
        ("creak",),
        None,
        0.02,
    ),
}


def one(job: tuple[str, int]) -> dict[str, Any]:
    """Make one recording, check it, and tell what was found."""
    name, seed = job
    row = ROWS[name]
    plan = draw(seed, **row.changes(seed))
    with tempfile.TemporaryDirectory() as folder:
        return {"seed": seed, **checked(plan, seed, Path(folder), row.angle_known, widely=row.widely)}


def checked(plan: SpinPlan, seed: int, folder: Path, angle_known: bool, *, widely: bool) -> dict[str, Any]:
    """What the whole chain says of one simulated recording."""
    path, how, marks_s = record(plan, seed, folder, widely=widely)
    request = SpeedRequest(spin=plan.spin if plan.spin != "steady" else None)
    if angle_known:
        marks = folder / "marks.csv"
        marks.write_text("\n".join(f"{mark:.3f}" for mark in marks_s), encoding="utf-8")
        request = SpeedRequest(marks=marks, spin=request.spin)
    bearing = Bearing("drawn", (plan.geometry,), "given", "drawn")
    try:
        result = check_recording(path, bearing=bearing, request=request, toolbox=load_toolbox())
    except AcousticError as refusal:
        return {"how": how, "refused": refusal.found, "found": (), "p": 1.0, "severity_db": None}
    return {"how": how, **told(result)}


def told(result: Analysis) -> dict[str, Any]:
    """The parts of an analysis that the table is made of."""
    judged = [f for f in result.findings if f.judged]
    if result.failures:
        raise RuntimeError(f"a plugin failed: {result.failures[0]}")
    return {
        "found": tuple(f.condition for f in judged if f.detected),
        "p": {f.condition: f.false_alarm_probability for f in judged},
        "severity_db": {f.condition: f.severity_db for f in judged},
        "grade": result.verdict.level,
    }


def print_row(name: str, row: Row, results: list[dict[str, Any]], slack: float) -> bool:
    """Print one row; tell whether it misses a limit."""
    count = len(results)
    found = [r for r in results if set(r["found"]) & set(row.wanted(r["seed"]))]
    wrong = [r for r in results if (set(r["found"]) & set(row.wrong)) - set(row.wanted(r["seed"]))]
    named = [r for r in found if set(r["found"]) & set(row.wanted(r["seed"])[:1])]
    refused = sum("refused" in r for r in results)
    limits = ["-" if limit is None else f"{limit:.0%}" for limit in (row.least_found, row.most_wrong)]
    print(
        f"{name:<15}{count:>5}{len(found) / count:>8.1%}{limits[0]:>6}{len(named) / max(1, len(found)):>9.1%}"
        f"{len(wrong) / count:>8.1%}{limits[1]:>6}{refused:>8}   "
        + ", ".join(f"{r['seed']} {r['how']}: {'+'.join(r['found'])}" for r in wrong[:6]),
        flush=True,
    )
    missed = row.least_found is not None and len(found) / count < row.least_found - slack
    missed |= row.right_ring is not None and len(named) / max(1, len(found)) < row.right_ring - slack
    return missed or (row.most_wrong is not None and len(wrong) / count > row.most_wrong + slack)


def print_calibration(results: list[dict[str, Any]]) -> bool:
    """Print how often sound recordings show small probabilities, for each condition."""
    conditions = sorted({condition for r in results if r["p"] != 1.0 for condition in r["p"]})
    failed = False
    for condition in conditions:
        p = np.array([r["p"][condition] for r in results if r["p"] != 1.0 and condition in r["p"]])
        shares = [float(np.mean(p <= level)) for level in (0.1, 0.01)]
        print(f"  {condition:<15}{p.size:>5}  p<=0.1 {shares[0]:>6.1%} (12%)  p<=0.01 {shares[1]:>6.1%} (1.5%)")
        failed |= shares[0] > 0.12 or shares[1] > 0.015
    return failed


def severity(count: int, pool: ProcessPoolExecutor) -> bool:
    """Rank correlation of severity with the true level over the bearing's own noise, and what gain changes."""
    results = list(pool.map(_levels, range(count)))
    ranks = [spearmanr(r["levels"], r["severities"]).statistic for r in results]
    together = [np.concatenate([r[name] for r in results]) for name in ("levels", "severities")]
    pooled = spearmanr(*together).statistic
    moved = max(r["moved"] for r in results)
    print(f"severity       {count:>5}  within a bearing {np.mean(ranks):.3f}, all together {pooled:.3f} (0.95)")
    print(f"gain +-20 dB   {count:>5}  changes severity by at most {moved:.3f} dB (0.1)")
    return min(float(np.mean(ranks)), pooled) < 0.95 or moved > 0.1


def _levels(seed: int) -> dict[str, Any]:
    """One bearing at six event levels, and one of them 20 dB louder and fainter."""
    severities, levels, moved = [], [], 0.0
    with tempfile.TemporaryDirectory() as folder:
        for level_db in (-12, -8, -4, 0, 4, 8):
            plan = draw(seed, defects=((ring(seed), float(level_db)),), level=0.003)
            levels.append(level_db - plan.running_db)
            severities.append(checked(plan, 2, Path(folder), True, widely=False)["severity_db"][ring(seed)])
        plain = severities[3]
        for gain in (0.1, 10.0):
            plan = draw(seed, defects=((ring(seed), 0.0),), level=0.003 * gain)
            other = checked(plan, 2, Path(folder), True, widely=False)["severity_db"][ring(seed)]
            moved = max(moved, abs(other - plain))
    return {"severities": severities, "levels": levels, "moved": moved}


def main() -> None:
    """Print the table; exit with 1 where a limit is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="*", metavar="ROW", help=", ".join([*ROWS, "severity"]))
    parser.add_argument("--quick", action="store_true", help="6 recordings a row; fail only where missed by 25 %")
    parser.add_argument("--recordings", type=int, help="for each row, in place of its own number")
    said = parser.parse_args()
    slack = 0.25 if said.quick else 0.0
    names = said.rows or [*ROWS, "severity"]
    failed = False
    print(f"{'row':<15}{'n':>5}{'found':>8}{'':>6}{'named':>9}{'wrong':>8}{'':>6}{'refused':>8}")
    with ProcessPoolExecutor(max(1, os.cpu_count() or 1)) as pool:
        for name in names:
            if name == "severity":
                failed |= severity(said.recordings or (3 if said.quick else 20), pool)
                continue
            row = ROWS[name]
            count = said.recordings or (6 if said.quick else row.counted)
            results = list(pool.map(one, [(name, seed) for seed in range(count)]))
            failed |= print_row(name, row, results, slack)
            if name == "sound":
                failed |= print_calibration(results) and not said.quick
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
