"""The crank's angle from a file of times, one mark per turn."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from pathlib import Path

from acoustic.api import InputError, Motion, Recording, SpeedRequest, hookimpl, motion_from_marks
from acoustic_plugins.speed.options import MARKS

ACOUSTIC_API = (1, 0)

DECIMAL_COMMA = re.compile(r"\d+,\d+\s*(;.*)?")
FORMAT_HINT = (
    "Write the time of each crank turn in seconds, one per line, in order. A header may come first; if there are "
    "several columns, it must name one of them 'time'."
)


class MarksFile:
    """Angle from --marks."""

    name = "marks-file"
    summary = "a CSV file with the time of each crank turn, given with --marks"
    code, label = "marks", "the marks given"
    rank = 20
    options = MARKS

    def present(self, recording: Recording) -> bool:
        """A file of marks must be given."""
        return False

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Read the marks and run a smooth angle through them."""
        path = request.value("marks")
        if path is None:
            raise InputError("no file of marks was given", hint="Give one with --marks FILE.csv.")
        marks_s = read_marks(path)
        inside = [mark for mark in marks_s if 0 <= mark <= recording.duration_s]
        if len(inside) < len(marks_s):
            raise InputError(
                f"{path.name}: {len(marks_s) - len(inside)} of {len(marks_s)} marks lie outside the "
                f"recording, which lasts {recording.duration_s:.1f} s",
                hint="Count the marks' times from the start of this recording.",
            )
        return motion_from_marks(marks_s, duration_s=recording.duration_s, source="marks", timing_s=0.003)


def read_marks(path: Path) -> list[float]:
    """Read the first column of a CSV file as times [s].

    Parameters
    ----------
    path : Path

    Returns
    -------
    list of float

    Raises
    ------
    InputError
        The file can't be read or a line past the header is not a number.
    """
    if path.is_dir():
        raise InputError(f"{path.name} is a folder, not a file of marks", hint="Give the CSV file itself.")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"no file of marks at {path}", hint="Check the path given with --marks.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"{path.name} cannot be read as text ({type(error).__name__})", hint=FORMAT_HINT
        ) from None
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip(" ,;\t")]
    decimal_comma = "." not in text and all(DECIMAL_COMMA.fullmatch(line.strip()) for _, line in lines[1:])
    rows = [(number, _fields(line, decimal_comma)) for number, line in lines]
    column = _time_column(path, rows)
    marks: list[float] = []
    for number, fields in rows:
        time = fields[column] if column < len(fields) else ""
        try:
            marks.append(float(time))
        except ValueError:
            if number == rows[0][0]:
                continue  # the header
            raise InputError(
                f"{path.name}, line {number}: {time!r} is not a time in seconds", hint=FORMAT_HINT
            ) from None
    return marks


def _fields(line: str, decimal_comma: bool) -> list[str]:
    """Split a line; where every line reads '1,25' or '1,25;note', the comma is a decimal one."""
    if decimal_comma and DECIMAL_COMMA.fullmatch(line.strip()):
        return [field.strip().replace(",", ".") for field in line.split(";")]
    return [field.strip() for field in next(csv.reader([line], delimiter=";" if ";" in line else ","))]


def _time_column(path: Path, rows: list[tuple[int, list[str]]]) -> int:
    """Find the column of times: named so in the header, or the first unless that only counts the turns."""
    if not rows:
        return 0
    named = [k for k, name in enumerate(rows[0][1]) if "time" in name.lower()]
    if named:
        return named[0]
    body = [fields for _, fields in rows[1:]]
    counts = [fields[0] for fields in body]
    start = int(counts[0]) if counts and counts[0].isdigit() else None
    counting = start is not None and counts == [str(start + k) for k in range(len(counts))]
    if counting and len(body) >= 2 and all(len(fields) > 1 for fields in body):
        raise InputError(
            f"{path.name}: the first column only counts 1, 2, 3, so the times must be in another one",
            hint=FORMAT_HINT,
        )
    return 0


@hookimpl
def acoustic_speed_sources() -> Sequence[MarksFile]:
    """Offer the file of marks."""
    return [MarksFile()]
