"""How often each condition is found, missed and mistaken, on recordings of two generators that share nothing.

Run by hand: ``python tests/bench/bench_findings.py --folder FOLDER [--rows ROW ...]``. The folder holds real
recordings, from which the second generator's spins are pieced together; without it only the physical simulator is
asked. Every recording goes through the whole chain, as a file as phones write it. ``--fold held`` measures on
pieces that were not built on; ``--keep`` holds recordings for the next run (empty it where a generator changes).

Without ``--quick`` a row misses where the share that was measured does. The quick form has fewer recordings of
fewer rows, and a row of it misses where that share is farther off than chance allows (`bounds`).
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any, get_args

import numpy as np
from asking import angle_error, marks_table, request
from bounds import above, below
from kept import Job, recording
from pieces import Fold, Pieces
from recorded import Generator, made, record_spin
from rows import DEFECTS, ROWS, Row, ring
from scipy.stats import spearmanr
from spins import draw

from acoustic.check.pipeline import check_recording
from acoustic.errors import AcousticError
from acoustic.model import Analysis, Bearing, SpeedRequest
from acoustic.plugin.registry import load_plugins
from acoustic.simulator import Spin, SpinPlan

CALIBRATED = {0.1: (0.02, 0.12), 0.01: (0.002, 0.015)}  # shares of healthy recordings that show p or less
QUIET: dict[str, Any] = {"knocks": 0, "push_db": None}  # a bang clips where the gain is up
APART = 50_000  # other spins, whose marks are given for those of this


def one(job: Job) -> dict[str, Any]:
    """Make one recording, check it, and tell what was found."""
    row, rng = ROWS[job.row], np.random.default_rng(90_000 + job.seed)
    plan = job.plan
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        path, how, spin = recording(job, folder)
        said = request(row.way, spin, plan, folder, rng)
        if row.counts == "never graded":
            other = draw(job.seed + APART, **row.changes(job.seed))
            said = SpeedRequest(marks=marks_table(made(other, "physical", None).marks_s, folder), spin=plan.spin)
        result = {"seed": job.seed, "how": how, **asked(path, plan, said, spin)}
        if row.counts == "one verdict":
            by_marks = asked(path, plan, request("marks", spin, plan, folder, rng), spin)
            result["grade_by_marks"] = by_marks["grade"]
        return result


def asked(path: Path, plan: SpinPlan, said: SpeedRequest, spin: Spin) -> dict[str, Any]:
    """What the whole chain says of one recording."""
    bearing = Bearing("drawn", (plan.geometry,), "given", "drawn")
    nothing: dict[str, Any] = {"found": (), "p": {}, "severity_db": {}, "grade": "refused"}
    try:
        result = check_recording(path, bearing=bearing, request=said, registry=load_plugins())
    except AcousticError as refusal:
        return {**nothing, "refused": refusal.found}
    except Exception as crash:  # what must never happen is counted, not hidden
        return {**nothing, "crash": repr(crash)}
    if result.failures:
        return {**nothing, "crash": str(result.failures[0])}
    return told(result, spin)


def told(result: Analysis, spin: Spin) -> dict[str, Any]:
    """The parts of an analysis that the table is made of."""
    judged = [f for f in result.findings if f.judged]
    motion = {}
    if result.motion is not None:
        motion["angle_off"] = float(np.quantile(angle_error(result.motion, spin), 0.9))
    return {
        "found": tuple(f.condition for f in judged if f.detected),
        "p": {f.condition: f.false_alarm_probability for f in judged},
        "severity_db": {f.condition: f.severity_db for f in judged},
        "grade": result.verdict.level,
        **motion,
    }


def print_row(name: str, generator: str, results: list[dict[str, Any]], *, quick: bool) -> bool:
    """Print one row; tell whether it misses a limit."""
    row, count = ROWS[name], len(results)
    counted = np.array([row.judged(r["seed"], r) for r in results])
    found, named, wrong = (int(one) for one in counted.sum(axis=0))
    refused = sum(r["grade"] in ("refused", "undecided") for r in results)
    limits = (("found", row.least_found), ("named", row.least_named), ("wrong", row.most_wrong))
    wanted = ", ".join(f"{what} {limit:.0%}" for what, limit in limits if limit is not None)
    if row.falls_short is not None:
        wanted += f", falls short: {row.falls_short:.0%}"
    missed = misses(row, (found, named, wrong), count, quick=quick)
    shares = f"{found / count:>8.0%}{named / max(1, found):>8.0%}{wrong / count:>8.1%}"
    print(
        f"{name:<14}{generator:<9}{count:>5}{shares}{refused:>8}   {wanted:<24}{'MISSED ' if missed else ''}"
        + "; ".join(_mistake(r) for r, (_, _, bad) in zip(results, counted, strict=True) if bad)[:160],
        flush=True,
    )
    return missed


def misses(row: Row, counted: tuple[int, int, int], count: int, *, quick: bool) -> bool:
    """Whether a row's counts of found, named and wrong miss what is asked of it."""
    found, named, wrong = counted
    too_few = below if quick else lambda some, of, share: some < share * of - 1e-9
    too_many = above if quick else lambda some, of, share: some > share * of + 1e-9
    least = row.falls_short if quick and row.falls_short is not None else row.least_found
    return (
        (least is not None and too_few(found, count, least))
        or (row.least_named is not None and too_few(named, found, row.least_named))
        or (row.most_wrong is not None and too_many(wrong, count, row.most_wrong))
    )


def _mistake(result: dict[str, Any]) -> str:
    said = result.get("crash") or "+".join(result["found"]) or result["grade"]
    by_marks = f", {result['grade_by_marks']} by marks" if "grade_by_marks" in result else ""
    return f"{result['seed']} {result['how']}: {said} ({result['grade']}{by_marks})"


def print_calibration(results: list[dict[str, Any]], *, quick: bool) -> bool:
    """Print how often healthy recordings show small probabilities, for each condition."""
    failed = False
    for condition in DEFECTS:
        p = np.array([r["p"][condition] for r in results if condition in r["p"]])
        if not p.size:
            continue
        shares = {level: float(np.mean(p <= level)) for level in CALIBRATED}
        print(
            f"  {condition:<15}{p.size:>5}  "
            + "  ".join(
                f"P(p<={level}) {share:.1%} ({CALIBRATED[level][0]:.1%} to {CALIBRATED[level][1]:.1%})"
                for level, share in shares.items()
            )
        )
        for level, (low, high) in CALIBRATED.items():
            count = int(np.sum(p <= level))
            if quick:
                failed |= below(count, p.size, low) or above(count, p.size, high)
            else:
                failed |= not low <= shares[level] <= high
    return failed


def print_severity(generator: Generator, results: list[dict[str, Any]]) -> bool:
    """Rank correlation of severity with the true level over the bearing's own noise, and what gain changes."""
    ranks = [spearmanr(r["levels"], r["severities"]).statistic for r in results]
    pooled = spearmanr(
        *(np.concatenate([r[name] for r in results]) for name in ("levels", "severities"))
    ).statistic
    moved = max(r["moved"] for r in results)
    print(
        f"{'severity':<14}{generator:<9}{len(results):>5}  within a bearing {np.mean(ranks):.3f}, all together "
        f"{pooled:.3f} (0.95); gain of 20 dB moves it by {moved:.3f} dB at most (0.1)"
    )
    return min(float(np.mean(ranks)), pooled) < 0.95 or moved > 0.1


def levels(job: Job) -> dict[str, Any]:
    """One bearing at six event levels, and one of them 20 dB louder and fainter."""

    def severity(level_db: float, gain: float = 1.0) -> tuple[SpinPlan, float]:
        plan = draw(job.seed, defects=((ring(job.seed), level_db),), level=0.001 * gain, **QUIET)
        with tempfile.TemporaryDirectory() as temporary:
            path, _, spin = record_spin(
                plan,
                0 if job.generator == "physical" else 3,
                Path(temporary),
                widely=False,
                generator=job.generator,
                pieces=job.pieces,
            )
            said = request("marks", spin, plan, Path(temporary), np.random.default_rng(0))
            found = asked(path, plan, said, spin)["severity_db"].get(ring(job.seed))
        return plan, float("nan") if found is None else found

    told_levels, severities = [], []
    for level_db in (-12.0, -8.0, -4.0, 0.0, 4.0, 8.0):
        plan, found = severity(level_db)
        severities.append(found)
        told_levels.append(level_db - plan.running_db)
    moved = max(abs(severity(0.0, gain)[1] - severities[3]) for gain in (0.1, 10.0))
    return {"severities": severities, "levels": told_levels, "moved": moved}


def main() -> None:
    """Print the table; exit with 1 where a limit is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", nargs="+", metavar="ROW", help=", ".join([*ROWS, "severity"]))
    parser.add_argument("--folder", type=Path, help="real recordings for the second generator")
    parser.add_argument("--fold", choices=get_args(Fold), default="build", help="which half of them")
    parser.add_argument("--keep", type=Path, help="folder in which generated recordings are kept")
    parser.add_argument(
        "--quick", action="store_true", help="some rows, of 60 or 200; fail where missed by more than chance"
    )
    parser.add_argument("--recordings", type=int, help="for each row, in place of its own number")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes")
    said = parser.parse_args()
    generators: tuple[Generator, ...] = ("physical", "pieced")
    if said.folder is None:
        generators = ("physical",)
        print("without --folder nothing is pieced together: the physical simulator alone")
    else:
        Pieces.load(said.folder, said.fold)  # once, before the processes part
    failed = False
    print(f"{'row':<14}{'spins':<9}{'n':>5}{'found':>8}{'named':>8}{'wrong':>8}{'refused':>8}   asked")
    with ProcessPoolExecutor(said.jobs, mp_context=get_context("fork")) as pool:
        usual = {name: row.quick if said.quick else row.recordings for name, row in ROWS.items()}
        usual["severity"] = 6 if said.quick else 20
        for name in said.rows or [name for name, count in usual.items() if count]:
            for generator in generators:
                seeds = range(said.first, said.first + (said.recordings or usual[name]))
                jobs = [Job(name, seed, generator, said.folder, said.fold, said.keep) for seed in seeds]
                if name == "severity":
                    failed |= print_severity(generator, list(pool.map(levels, jobs)))
                    continue
                results = list(pool.map(one, jobs))
                failed |= print_row(name, generator, results, quick=said.quick)
                if name == "healthy":
                    failed |= print_calibration(results, quick=said.quick)
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
