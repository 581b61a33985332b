"""Reading a table of angular speed against time, as phones' loggers and spreadsheets write it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acoustic.api import InputError, number_in, seconds_in
from acoustic_plugins.speed.cells import TIME_WORDS, Asked, cells_of, text_of, words_of

Floats = NDArray[np.float64]

FEWEST_ROWS = 30  # two seconds at the slowest rate
SLOWEST_RATE_HZ = 15.0  # seven values a turn at two turns a second
FASTEST_RATE_HZ = 20_000.0  # faster than any gyro is read: times in another unit
USUAL_STEPS_S = (0.0019, 0.25)  # of a logger whose unit is not said; 1 may be a second or a millisecond
FASTEST_HZ = 6.0  # turns/s; nobody spins a crank at 360 turns a minute
SPUN_HZ = (0.3, 4.0)  # what cranks that are spun do at their fastest
NAME_COLUMNS = (
    "Write a header such as 'time (s), gyro z (deg/s)' or 'time (s), gyro x (rad/s), gyro y (rad/s), "
    "gyro z (rad/s)', and a row of numbers for each sample."
)
# An hour at the fastest rate; more is no spin.
ASKED = Asked("gyro file", "--gyro", 100_000_000, f"Export the gyro's log as CSV. {NAME_COLUMNS}")
NAME_UNIT = "Name the unit in the header: 'gyro z (deg/s)', '(rad/s)' or '(rpm)'."
LOG_FASTER = "Set the phone's logger to 50 samples a second or more, and record again."

TIME_UNITS = {
    1.0: {"s", "sec", "secs", "second", "seconds", "sekunden"},
    1e-3: {"ms", "msec", "millis", "millisecond", "milliseconds"},
    1e-6: {"us", "usec", "micros", "microsecond", "microseconds"},
    1e-9: {"ns", "nsec", "nanos", "nanosecond", "nanoseconds"},
}
UNIT_NAMES = {1.0: "s", 1e-3: "ms", 1e-6: "us", 1e-9: "ns"}
# Looked for in this order: 'rev/min' is no rev/s.
RATE_UNITS = (
    ("rpm", 1 / 60, re.compile(r"\brpm\b|\b(rev\w*|turns?|u|1) ?/ ?min|\bmin ?-1\b")),
    ("rad/s", 1 / (2 * np.pi), re.compile(r"\brad(ian)?s?\b")),
    ("deg/s", 1 / 360, re.compile(r"°|\b(deg(ree)?s?|grad|dps)\b")),
    ("turns/s", 1.0, re.compile(r"\b(rev\w*|turns?) ?(/ ?|per )s|\brps\b")),
)
GYRO_WORDS = re.compile(r"gyr|omega|angular|rotation|winkelgeschw|turn ?rate|\brate\b|\bspeed\b|\b[wg][xyz]?\b")
OTHER_WORDS = re.compile(
    r"acc|grav|magnet|linear|quat|roll|pitch|yaw|angle|orient|attitude|head|temp|press|\bm/s|\bgps"
)
WHOLE_WORDS = re.compile(r"\b(abs(olute)?|mag(nitude)?|total|norm|resultant|betrag)\b")
AXIS = re.compile(r"\b[wg]?([xyz])\b")


@dataclass(frozen=True, slots=True, eq=False)
class GyroTable:
    """What a file tells.

    Attributes
    ----------
    times_s : ndarray, shape (n,)
        From 0, strictly increasing.
    rates_hz : ndarray, shape (n, k)
        Turns/s about one axis or three.
    signed : bool
        False where the one rate is a magnitude.
    """

    times_s: Floats
    rates_hz: Floats
    signed: bool


def read_gyro(path: Path) -> GyroTable:
    """Read a file of angular speed against time.

    Parameters
    ----------
    path : Path
        Text in columns: time, and the speed about one axis or three, or its magnitude.

    Returns
    -------
    GyroTable

    Raises
    ------
    InputError
        The file can't be read, a column can't be told, a cell is no number, there are too few
        rows or they come too seldom, the times do not increase, or the unit can't be told or be right.
    """
    header, rows = _rows(path, text_of(path, ASKED))
    time_column, rate_columns, signed = _columns(path, header, rows)
    numbers = _numbers(path, rows, [time_column, *rate_columns])
    whole = np.all(np.isfinite(numbers), axis=1)
    numbers, lines = numbers[whole], [number for (number, _), kept in zip(rows, whole, strict=True) if kept]
    if len(numbers) < FEWEST_ROWS:
        raise InputError(
            f"{path.name} has {len(numbers)} rows of numbers; {FEWEST_ROWS} or more are needed",
            hint="Export the whole log, from before the push until the crank stops.",
        )
    name = header[time_column] if header else ""
    if ":" in rows[0][1][time_column]:
        name = "s"  # 0:01.758 was read so, whatever the header says
    times_s = _seconds(path, name, numbers[:, 0], lines)
    names = " ".join(header[column] for column in rate_columns) if header else ""
    return GyroTable(times_s, _turns_a_second(path, names, numbers[:, 1:]), signed)


def _rows(path: Path, text: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Header, empty where there is none, and the rows of cells with their line numbers."""
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip(' ,;\t"')]
    comment = [line for _, line in lines if line.lstrip().startswith(("#", "%", "//"))]
    body = [(number, line) for number, line in lines if not line.lstrip().startswith(("#", "%", "//"))]
    if not body:
        raise InputError(f"{path.name} holds no numbers", hint=NAME_COLUMNS)
    usual = body[len(body) // 2][1]
    separator = next((mark for mark in ";\t," if mark in usual), " ")
    cells = [(number, cells_of(line, separator)) for number, line in body]
    first = next((k for k, (_, row) in enumerate(cells) if _are_numbers(row)), None)
    if first is None:
        raise InputError(f"{path.name} holds no row of two numbers", hint=NAME_COLUMNS)
    width = len(cells[first][1])
    above = [row for _, row in cells[:first]] or [cells_of(line.lstrip("#%/ \t"), separator) for line in comment]
    header = next((row for row in reversed(above) if len(row) == width), [])
    return header, cells[first:]


def _are_numbers(row: list[str]) -> bool:
    return sum(_is_number(cell) for cell in row) >= 2


def _is_number(cell: str) -> bool:
    try:
        _number(cell, seconds_in)
    except ValueError:
        return False
    return True


def _number(cell: str, read: Callable[[str], float]) -> float:
    """A number with a decimal point, NaN as loggers write it, or what `read` makes of the cell."""
    try:
        return float(cell)  # nearly all are, and there are many
    except ValueError:
        return read(cell)


def _columns(path: Path, header: list[str], rows: list[tuple[int, list[str]]]) -> tuple[int, list[int], bool]:
    """Which column is the time, which are the speed about one axis or three, and whether it has a sign."""
    width = len(rows[0][1])
    if not header:
        if width not in (2, 4):
            raise InputError(f"{path.name} has {width} columns without names", hint=NAME_COLUMNS)
        return 0, list(range(1, width)), True
    names = [words_of(name) for name in header]
    sample = rows[len(rows) // 2][1]
    times = [k for k, name in enumerate(names) if _is_time(name) and k < len(sample) and _is_number(sample[k])]
    if not times:
        raise InputError(f"{path.name} has no column of times among {_listed(header)}", hint=NAME_COLUMNS)
    others = [k for k, name in enumerate(names) if not _is_time(name)]
    unit_or_gyro = [k for k in others if _rate_unit(names[k]) or GYRO_WORDS.search(names[k])]
    plain = [k for k in others if not OTHER_WORDS.search(names[k])]
    likely = [k for k in unit_or_gyro if k in plain] or [k for k in plain if AXIS.search(names[k])] or plain
    axes = {match[1]: k for k in reversed(likely) if (match := AXIS.search(names[k]))}
    whole = [k for k in likely if WHOLE_WORDS.search(names[k])]
    if len(axes) == 3:
        return times[0], [axes[axis] for axis in "xyz"], True
    if len(likely) == 1:
        return times[0], likely, not whole
    if len(whole) == 1:
        return times[0], whole, False
    raise InputError(
        f"{path.name}: which of {_listed(header)} is the angular speed cannot be told", hint=NAME_COLUMNS
    )


def _is_time(name: str) -> bool:
    words = set(re.split(r"[ /]", name))
    units = set().union(*TIME_UNITS.values())
    return bool(words & TIME_WORDS) or words <= units or "seconds" in words


def _listed(header: list[str]) -> str:
    shown = ", ".join(f"'{name}'" for name in header[:8])
    return shown + (" ..." if len(header) > 8 else "")


def _numbers(path: Path, rows: list[tuple[int, list[str]]], columns: list[int]) -> Floats:
    """The columns' numbers, times in the first; NaN where a cell is empty, or the last row is cut off."""
    numbers = np.full((len(rows), len(columns)), np.nan)
    for at, (number, row) in enumerate(rows):
        for place, column in enumerate(columns):
            cell = row[column] if column < len(row) else ""
            try:
                numbers[at, place] = _number(cell, seconds_in if place == 0 else number_in)
            except ValueError:
                if cell and at < len(rows) - 1:
                    raise InputError(
                        f"{path.name}, line {number}: {cell!r} is not a number", hint=NAME_COLUMNS
                    ) from None
    return numbers


def _seconds(path: Path, name: str, stamps: Floats, lines: list[int]) -> Floats:
    """Times from 0 [s], in the unit that the header names, or else the one in which the step is a logger's."""
    since = stamps - stamps[0]
    steps = np.diff(since)
    if np.any(steps <= 0):
        at = int(np.argmax(steps <= 0))
        raise InputError(
            f"{path.name}, line {lines[at + 1]}: time {stamps[at + 1]:.10g} does not come after {stamps[at]:.10g}",
            hint="Give every sample its own time, in order, with all the digits that the logger wrote.",
        )
    step = float(np.median(steps))
    words = set(re.split(r"[ /]", words_of(name)))
    named = [unit for unit, spellings in TIME_UNITS.items() if words & spellings]
    unit = (
        named[0]
        if named
        else next((u for u in TIME_UNITS if USUAL_STEPS_S[0] <= step * u <= USUAL_STEPS_S[1]), None)
    )
    if unit is None:
        raise InputError(
            f"{path.name}: times that step by {step:.4g} are no logger's in s, ms, us or ns",
            hint="Name the unit in the header, for example 'time (ms)'.",
        )
    rate_hz = 1 / (step * unit)
    said = f"{rate_hz:.3g} samples a second (its times read in {UNIT_NAMES[unit]})"
    if rate_hz < SLOWEST_RATE_HZ:
        raise InputError(f"{path.name} has {said}; {SLOWEST_RATE_HZ:g} or more are needed", hint=LOG_FASTER)
    if rate_hz > FASTEST_RATE_HZ:
        raise InputError(
            f"{path.name} has {said}, which no phone takes", hint="Name the times' unit in the header."
        )
    times_s: Floats = since * unit
    return times_s


def _rate_unit(words: str) -> tuple[str, float] | None:
    return next(((label, factor) for label, factor, spelling in RATE_UNITS if spelling.search(words)), None)


def _turns_a_second(path: Path, names: str, rates: Floats) -> Floats:
    """Rates in turns/s, by the unit that the header names or else the only one that makes them a crank's."""
    sizes = np.linalg.norm(rates, axis=1)
    fastest = float(np.partition(sizes, -10)[-10])  # the tenth: a jolt is no speed
    unit = _rate_unit(words_of(names)) or _likely_unit(path, fastest)
    label, factor = unit
    if fastest * factor > FASTEST_HZ:
        raise InputError(
            f"{path.name}: {fastest:.4g} {label} is {fastest * factor:.3g} turns a second; "
            f"no crank makes more than {FASTEST_HZ:g}",
            hint=NAME_UNIT,
        )
    return rates * factor


def _likely_unit(path: Path, fastest: float) -> tuple[str, float]:
    units = [(label, factor) for label, factor, _ in RATE_UNITS if label != "turns/s"]
    fits = [unit for unit in units if SPUN_HZ[0] <= fastest * unit[1] <= SPUN_HZ[1]]
    if len(fits) == 1:
        return fits[0]
    readings = ", ".join(f"{fastest * factor:.3g} turns a second in {label}" for label, factor in fits or units)
    found = "may be " if fits else "is no spun crank's: "
    raise InputError(
        f"{path.name}: the fastest speed, {fastest:.4g} in a unit that the header leaves out, {found}{readings}",
        hint=NAME_UNIT,
    )
