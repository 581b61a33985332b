"""The crank's angle from a file of times, one mark per turn."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from acoustic.api import (
    InputError,
    Motion,
    Recording,
    SpeedRequest,
    hookimpl,
    motion_from_marks,
    seconds_in,
)
from acoustic_plugins.speed.cells import TIME_WORDS, Asked, cells_of, text_of, words_of
from acoustic_plugins.speed.options import MARKS

ACOUSTIC_API = (1, 0)

FORMAT_HINT = (
    "Write the time of each crank turn in seconds, one per line, in order, as 1.758, 1,758 or 0:01.758. A header "
    "may come first; if there are several columns, it must name one of them 'time'."
)
ASKED = Asked("file of marks", "--marks", 1_000_000, FORMAT_HINT)  # some hundred thousand turns; a film has more
WHOLE_TIMES = {"total", "elapsed", "cumulative", "split"}  # of a stopwatch, beside the time of each round
SECONDS_WORDS = {"s", "sec", "secs", "second", "seconds", "sekunden"}
ONE_COMMA = re.compile(r"\s*[\d:]*,\d+\s*")
NAMES = re.compile(r"[^\d,;.:+-]")  # what a row that names its columns begins with
COMMENT = ("#", "%", "//")

Row = tuple[int, list[str]]  # the line's number, and its cells


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
    """Read the times of a table [s]: the column that its header names, or the first that does not count the turns.

    Parameters
    ----------
    path : Path
        Text in any usual encoding; cells parted by semicolons, tabs, commas or blanks.

    Returns
    -------
    list of float

    Raises
    ------
    InputError
        The file can't be read, its column of times can't be told, or a line past the header is not a time.
    """
    rows = _rows(path, text_of(path, ASKED))
    if not rows:
        return []
    header, body = (rows[0][1], rows[1:]) if _is_header(rows[0]) else ([], rows)
    column = _time_column(path, header, body)
    _refuse_mixed(path, [(number, _cell((number, cells), column)) for number, cells in body])
    return [_time(path, number, _cell((number, cells), column)) for number, cells in body]


def _rows(path: Path, text: str) -> list[Row]:
    """Lines with anything in them, taken apart."""
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip(' ,;\t"')]
    lines = [(number, line) for number, line in lines if not line.lstrip().startswith(COMMENT)]
    body = [line for _, line in lines]
    body = body[1:] if body and NAMES.match(body[0].lstrip(' "')) else body
    separator = _separator(body)
    rows = [(number, cells_of(line, separator) if separator else [line.strip()]) for number, line in lines]
    cells = [row for _, row in rows[len(rows) - len(body) :]]
    cut_up = separator == "," and body and all(len(row) > 2 and "".join(row).isdigit() for row in cells)
    two_names = len(body) < len(lines) and "," in lines[0][1]
    if cut_up or (not separator and (two_names or _may_count(body))):
        raise InputError(
            f"{path.name}: in '{body[0].strip()}' it cannot be told whether a comma is a decimal sign or parts "
            "two columns",
            hint="Write decimal points, or part the columns by semicolons or tabs.",
        )
    return rows


def _is_header(row: Row) -> bool:
    """Whether a row names its columns: a mistyped first time is no header."""
    return NAMES.match(next(filter(None, row[1]), "")) is not None


def _separator(lines: list[str]) -> str:
    """What parts the cells of most lines; empty where a comma is the decimal sign of the only number."""
    for mark in ";\t":
        if any(mark in line for line in lines):
            return mark
    commas = [line for line in lines if "," in line]
    if commas and all(map(ONE_COMMA.fullmatch, commas)) and not any("." in line for line in lines):
        return ""
    return "," if commas else " "


def _may_count(lines: list[str]) -> bool:
    """Whether '1,1452', '2,2203', '3,3100' may be turns and milliseconds as well as 1.1452, 2.2203, 3.3100."""
    pairs = [line.strip().split(",") for line in lines]
    if len(pairs) < 2 or any(len(pair) != 2 or not pair[0] or pair[1].startswith("0") for pair in pairs):
        return False
    after = [int(pair[1]) for pair in pairs]
    return _counts([pair[0] for pair in pairs]) and all(a < b for a, b in pairwise(after))


def _counts(cells: list[str]) -> bool:
    """Whether they are 1, 2, 3 ... or 0, 1, 2 ..., perhaps with a stop behind each."""
    counted = [cell.rstrip(".)") for cell in cells]
    if len(counted) < 2 or counted[0] not in ("0", "1"):
        return False
    return counted == [str(int(counted[0]) + k) for k in range(len(counted))]


def _cell(row: Row, column: int) -> str:
    return row[1][column] if column < len(row[1]) else ""


def _time_column(path: Path, header: list[str], body: list[Row]) -> int:
    """Find the column of times: named so in the header, or the first that does not only count the turns."""
    if max((len(cells) for _, cells in body), default=1) == 1:
        return 0
    words = [set(words_of(name).split()) for name in header]
    named = [k for k, (name, said) in enumerate(zip(header, words, strict=True)) if _is_time(name, said)]
    whole = [k for k in named if words[k] & WHOLE_TIMES]
    if len(named) == 1 or len(whole) == 1:
        return whole[0] if len(whole) == 1 else named[0]
    if named:
        columns = ", ".join(f"'{header[k]}'" for k in named)
        raise InputError(f"{path.name}: which of {columns} is the time cannot be told", hint=FORMAT_HINT)
    if not _counts([cells[0] for _, cells in body]):
        return 0
    width = min(len(cells) for _, cells in body)
    others = [k for k in range(1, width) if width == 2 or all(_is_read(cells[k]) for _, cells in body)]
    if len(others) == 1:
        return others[0]
    raise InputError(
        f"{path.name}: the first column only counts 1, 2, 3, and which other one holds the times cannot be told",
        hint=FORMAT_HINT,
    )


def _is_time(name: str, words: set[str]) -> bool:
    return (
        "time" in name.lower()
        or bool(words & (TIME_WORDS | WHOLE_TIMES))
        or words & SECONDS_WORDS == words != set()
    )


def _is_read(cell: str) -> bool:
    try:
        seconds_in(cell)
    except ValueError:
        return False
    return True


def _refuse_mixed(path: Path, cells: list[tuple[int, str]]) -> None:
    """Refuse seconds beside minutes and seconds: 3:04 among whole numbers may be meant as 3.04."""
    odd = [(number, cell) for number, cell in cells if ":" in cell]
    if odd and len(odd) < len(cells):
        raise InputError(
            f"{path.name}, line {odd[0][0]}: {odd[0][1]} has a colon, and other times have none",
            hint="Write all of them in seconds, as 1.758, or all in minutes and seconds, as 0:01.758.",
        )


def _time(path: Path, number: int, cell: str) -> float:
    try:
        return seconds_in(cell)
    except ValueError as error:
        reason = f"; {error}" if "more than one" in str(error) else ""
        raise InputError(
            f"{path.name}, line {number}: {cell!r} is not a time in seconds{reason}", hint=FORMAT_HINT
        ) from None


@hookimpl
def acoustic_speed_sources() -> Sequence[MarksFile]:
    """Offer the file of marks."""
    return [MarksFile()]
