"""What the whole chain says of real recordings, and of spins by another generator, beside what is true of them.

Run by hand: ``python tests/bench/bench_real.py --folder FOLDER [--sets phone fan-end mfpt spins noise]``. The
folder holds one folder a set with a `truth.toml`. Nothing is made here, so that no law of this project's own
simulators can flatter the result.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from acoustic.check.pipeline import check_recording
from acoustic.dsp.geometry import BearingGeometry
from acoustic.errors import AcousticError
from acoustic.model import Bearing, SpeedRequest
from acoustic.plugin.registry import load_plugins

RINGS = ("outer_raceway", "inner_raceway")
PARTS = (*RINGS, "ball", "cage")
MFPT = BearingGeometry(balls=8, ball_diameter_mm=5.969, pitch_diameter_mm=31.623)
CRANK = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
LOOPED_S = 13.0
# Known to be called though healthy: a motor's inverter sounds at the pace of the inner ring, 13 and 15 dB under
# the running noise (acoustic/dsp/orders/healthy.py).
KNOWN_CALLED = {"motor2-healthy-40hz.flac", "motor2-healthy-50hz.flac"}


@dataclass(frozen=True)
class Case:
    """One recording, and how it is asked about."""

    group: str
    name: str
    path: Path
    truth: str
    geometry: BearingGeometry
    request: SpeedRequest
    mode: str = ""


@dataclass
class Said:
    """What the chain says of a case."""

    case: Case
    found: tuple[str, ...] = ()
    grade: str = "refused"
    chances: dict[str, float] = field(default_factory=dict)
    why: str = ""


def labelled(folder: Path, name: str) -> list[dict[str, Any]]:
    """Rows of a set's truth."""
    rows: list[dict[str, Any]] = tomllib.loads((folder / name / "truth.toml").read_text(encoding="utf-8"))[
        "recording"
    ]
    return rows


def geometry_of(row: dict[str, Any]) -> BearingGeometry:
    """The bearing of a row."""
    return BearingGeometry(
        balls=row["balls"], ball_diameter_mm=row["ball_diameter_mm"], pitch_diameter_mm=row["pitch_diameter_mm"]
    )


def steady(folder: Path, name: str) -> Iterator[Case]:
    """Bench rigs at a stated speed."""
    for row in labelled(folder, name):
        asked = SpeedRequest(speed_rpm=float(row["speed_rpm"]), spin="steady")
        yield Case(name, row["file"], folder / name / row["file"], row["truth"], geometry_of(row), asked)


def mfpt(folder: Path, made: Path) -> Iterator[Case]:
    """The same from MATLAB files."""
    from scipy.io import loadmat

    for file in sorted((folder / "mfpt").glob("*.mat")):
        held = loadmat(file, squeeze_me=True)["bearing"]
        sound = np.asarray(held["gs"].item(), dtype=float)
        path = made / f"{file.stem}.wav"
        soundfile.write(path, sound / np.abs(sound).max() * 0.9, int(held["sr"].item()), subtype="PCM_24")
        truth = "outer_raceway" if file.stem.startswith("Outer") else "inner_raceway"
        yield Case("mfpt", file.stem, path, truth, MFPT, SpeedRequest(speed_rpm=1500.0, spin="steady"))


def spins(folder: Path) -> Iterator[Case]:
    """Every spin by every speed source that it has."""
    for row in labelled(folder, "spins"):
        path, geometry = folder / "spins" / row["file"], geometry_of(row)
        spin = "hand" if row["mode"] == "coast" else "pedal"
        ways = {
            "marks": SpeedRequest(marks=path.with_suffix(".marks.csv"), spin=spin),
            "turns": SpeedRequest(counted_turns=round(row["turns"] * 2) / 2, spin=spin),
            "alone": SpeedRequest(spin=spin),
        }
        if path.with_suffix(".gyro.csv").exists():
            ways["gyro"] = SpeedRequest(gyro=path.with_suffix(".gyro.csv"), spin=spin)
        for way, asked in ways.items():
            yield Case(f"spins, {way}", row["file"], path, row["truth"], geometry, asked, mode=row["mode"])


def noise(folder: Path, made: Path) -> Iterator[Case]:
    """Clips without any crank, as they are and looped, without a word and with a count of turns."""
    for file in sorted((folder / "noise").glob("*.ogg")):
        sound, rate_hz = soundfile.read(file)
        looped = made / f"{file.stem}-looped.wav"
        soundfile.write(looped, np.resize(sound, (int(LOOPED_S * rate_hz), *sound.shape[1:])), rate_hz)
        for path in (file, looped):
            for asked in (SpeedRequest(), SpeedRequest(counted_turns=9.5)):
                yield Case(
                    "noise",
                    path.stem + (" turns" if asked.value("counted_turns") else ""),
                    path,
                    "none",
                    CRANK,
                    asked,
                )


def ask(case: Case) -> Said:
    """Run the whole chain."""
    bearing = Bearing("given", (case.geometry,), "given", "given")
    try:
        result = check_recording(case.path, bearing=bearing, request=case.request, registry=load_plugins())
    except AcousticError as refusal:
        return Said(case, why=refusal.found)
    judged = [finding for finding in result.findings if finding.judged]
    return Said(
        case,
        tuple(finding.condition for finding in judged if finding.detected),
        result.verdict.level,
        {finding.condition: finding.false_alarm_probability for finding in judged},
        "; ".join(problem.code for problem in result.quality.problems),
    )


def outcome(said: Said) -> str:
    """One word for the table: named, open, missed or wrong; called or quiet where nothing is to be found."""
    truth, found = said.case.truth, set(said.found)
    if truth in ("healthy", "running", "minor", "none"):
        graded = said.grade in ("watch", "service", "replace", "clean")
        return "called" if found or (truth == "none" and graded) else "quiet"
    wanted = set(RINGS) | {"rumble"} if truth.startswith("both") else {truth}
    if (found & set(PARTS)) - wanted:
        return "wrong"
    if found & wanted:
        return "named"
    return "open" if "raceway" in found else "missed"


def fails(said: Said) -> bool:
    """Whether a case is not as it should be, and not known to be so; every recording counts, none is drawn."""
    if said.case.truth in RINGS:
        return outcome(said) != "named"
    healthy = said.case.truth in ("healthy", "running", "none")
    return healthy and outcome(said) == "called" and said.case.name not in KNOWN_CALLED


def print_group(name: str, results: Sequence[Said], *, every: bool) -> None:
    """Print a set's counts by truth, and the cases that are not as they should be."""
    for truth in dict.fromkeys(said.case.truth for said in results):
        rows = [said for said in results if said.case.truth == truth]
        count: dict[str, int] = {}
        for said in rows:
            count[outcome(said)] = count.get(outcome(said), 0) + 1
        print(
            f"{name:<14}{truth:<20}{len(rows):>4}  "
            + ", ".join(f"{n} {word}" for word, n in sorted(count.items()))
        )
        for said in rows:
            if every or outcome(said) not in ("named", "quiet"):
                least = sorted(said.chances.items(), key=lambda item: item[1])[:3]
                told = ", ".join(f"{part} {chance:.0e}" for part, chance in least)
                print(
                    f"    {outcome(said):<7}{said.case.name:<34}{said.grade:<10}{'+'.join(said.found):<28}{told}"
                    f"  {said.why[:70]}"
                )
    sys.stdout.flush()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--sets", nargs="*", default=["phone", "fan-end", "mfpt", "spins", "noise"])
    parser.add_argument("--every", action="store_true", help="print every case")
    parser.add_argument(
        "--quick", action="store_true", help="fail where a damaged ring is not named, or a healthy bearing called"
    )
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary, ProcessPoolExecutor(max(1, os.cpu_count() or 1)) as pool:
        made = Path(temporary)
        missed: list[Said] = []
        sets = {
            "phone": lambda: steady(said.folder, "phone"),
            "fan-end": lambda: steady(said.folder, "fan-end"),
            "mfpt": lambda: mfpt(said.folder, made),
            "spins": lambda: spins(said.folder),
            "noise": lambda: noise(said.folder, made),
        }
        for name in said.sets:
            results = list(pool.map(ask, list(sets[name]())))
            for group in dict.fromkeys(result.case.group for result in results):
                print_group(group, [result for result in results if result.case.group == group], every=said.every)
            missed += [result for result in results if fails(result)]
    sys.exit(1 if said.quick and missed else 0)


if __name__ == "__main__":
    main()
