"""Whether a change that should change nothing does: findings, grades, speeds and chances before and after it.

Run by hand, before: ``python tests/bench/bench_same.py --write FILE [--folder FOLDER]``, and after:
``python tests/bench/bench_same.py --against FILE [--folder FOLDER]``. It asks of the demo, of simulated spins of
every row of `rows.py`, and of all real recordings where their folder is given. Numbers agree where they differ by
no more than 1e-9 of their size. It ends with 1 where anything differs.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from asking import request
from bench_real import Case, mfpt, noise, spins, steady
from kept import Job, recording
from rows import ROWS

from acoustic.bearings.search import resolve_bearing
from acoustic.check.pipeline import check_recording
from acoustic.dsp.geometry import BearingGeometry
from acoustic.errors import AcousticError
from acoustic.model import Analysis, Bearing, SpeedRequest
from acoustic.plugin.registry import load_plugins

DEMO = Path(__file__).parents[2] / "recordings_demo"
SEEDS = range(20, 30)
AGREE = 1e-9
Numbers = dict[str, Any]


def numbers(result: Analysis) -> Numbers:
    """All that a verdict rests on, without its words."""
    motion = result.motion
    return {
        "grade": result.verdict.level,
        "confidence": result.verdict.confidence,
        "would_have_found_db": result.verdict.would_have_found_db,
        "problems": sorted(problem.code for problem in result.quality.problems),
        "failures": [failure.plugin for failure in result.failures],
        "motion": None
        if motion is None
        else [
            motion.source,
            motion.spin,
            motion.total_turns,
            motion.start_s,
            motion.stop_s,
            motion.speed_hz.max(),
        ],
        "findings": {
            f.condition: [f.detected, f.judged, f.false_alarm_probability, f.severity_db, f.evidence.order]
            for f in result.findings
        },
    }


def asked(path: Path, bearing: Bearing, wanted: SpeedRequest) -> Numbers:
    """Run the whole chain; a refusal is a result as well."""
    try:
        return numbers(check_recording(path, bearing=bearing, request=wanted, registry=load_plugins()))
    except AcousticError as refusal:
        return {"refused": type(refusal).__name__}


def of_demo(row: dict[str, Any]) -> Numbers:
    """A demo recording by its marks."""
    marks = DEMO / row["marks"] if "marks" in row else None
    return asked(DEMO / row["file"], resolve_bearing(name=row["bearing"]), SpeedRequest(marks=marks))


def of_spin(name: str, seed: int) -> Numbers:
    """A simulated spin of a row, asked about as the row asks."""
    job, way = Job(name, seed, "physical", None), ROWS[name].way
    with tempfile.TemporaryDirectory() as temporary:
        path, _, spin = recording(job, Path(temporary))
        geometry: BearingGeometry = job.plan.geometry
        wanted = request(way, spin, job.plan, Path(temporary), np.random.default_rng(seed))
        return asked(path, Bearing("given", (geometry,), "given", "given"), wanted)


def of_case(case: Case) -> Numbers:
    """A real recording."""
    return asked(case.path, Bearing("given", (case.geometry,), "given", "given"), case.request)


def jobs(folder: Path | None, made: Path) -> Iterator[tuple[str, Callable[[], Numbers]]]:
    """Everything that is asked, by name."""
    manifest = tomllib.loads((DEMO / "manifest.toml").read_text(encoding="utf-8"))
    for row in manifest["recording"]:
        yield f"demo {row['file']}", partial(of_demo, row)
    for name in ROWS:
        for seed in SEEDS:
            yield f"{name} {seed}", partial(of_spin, name, seed)
    if folder is None:
        return
    for case in (*steady(folder, "phone"), *steady(folder, "fan-end"), *mfpt(folder, made), *spins(folder)):
        yield f"{case.group} {case.name}", partial(of_case, case)
    for case in noise(folder, made):
        yield f"noise {case.name}", partial(of_case, case)


def run(named: tuple[str, Callable[[], Numbers]]) -> tuple[str, Numbers]:
    """One job, for a pool."""
    return named[0], named[1]()


def differences(before: Any, after: Any, where: str = "") -> Iterator[str]:
    """Say where two results differ."""
    if isinstance(before, dict) and isinstance(after, dict):
        for key in before.keys() | after.keys():
            yield from differences(before.get(key), after.get(key), f"{where} {key}")
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for k, (one, other) in enumerate(zip(before, after, strict=True)):
            yield from differences(one, other, f"{where}[{k}]")
    elif isinstance(before, float) and isinstance(after, float):
        if not math.isclose(before, after, rel_tol=AGREE, abs_tol=1e-300):
            yield f"{where}: {before!r} before, {after!r} after"
    elif before != after:
        yield f"{where}: {before!r} before, {after!r} after"


def main() -> None:
    """Write the numbers, or compare them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, help="real recordings")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--write", type=Path, metavar="FILE")
    what.add_argument("--against", type=Path, metavar="FILE")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary, ProcessPoolExecutor(said.jobs) as pool:
        found = dict(pool.map(run, list(jobs(said.folder, Path(temporary)))))
    plain: Numbers = json.loads(json.dumps(found, default=float))
    if said.write is not None:
        said.write.write_text(json.dumps(plain, indent=1), encoding="utf-8")
        print(f"{len(plain)} results written")
        return
    before = json.loads(said.against.read_text(encoding="utf-8"))
    apart = {name: list(differences(before.get(name), plain.get(name))) for name in before.keys() | plain.keys()}
    moved = {name: told for name, told in sorted(apart.items()) if told}
    for name, told in moved.items():
        print(name, *told, sep="\n   ")
    grades = sum(before.get(name, {}).get("grade") != plain.get(name, {}).get("grade") for name in moved)
    print(f"{len(plain)} results, {len(moved)} differ, {grades} of them in the grade")
    sys.exit(1 if moved else 0)


if __name__ == "__main__":
    main()
