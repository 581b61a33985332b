"""Numbers, times and days as people type them and tables hold them: 9,5 or 9.5, 0:01.758, 31.05.2026."""

from __future__ import annotations

import math
import re
from datetime import date

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
_SEVERAL_SIGNS = re.compile(r"[+-]?\d*[.,][\d.,']*", re.ASCII)
_THOUSANDS = re.compile(r"[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_CLOCK = re.compile(r"(?:(\d+):)?(\d{1,2}):(\d{1,2}(?:[.,]\d+)?)", re.ASCII)
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_DAY_FIRST = re.compile(r"(\d{1,2})([./-]) ?(\d{1,2})\2 ?(\d{4})", re.ASCII)
MONTHS = 12  # in a year
SIXTY = 60  # seconds in a minute, minutes in an hour


def number_in(text: str, *, thousands: bool = False) -> float:
    """Read a number with a decimal point or a decimal comma.

    Parameters
    ----------
    text : str
    thousands : bool
        Whether such numbers run into thousands and are never given to a thousandth, as kilometres: then 12,345 and
        12.345 may be either, and are refused.

    Returns
    -------
    float
        Finite.

    Raises
    ------
    ValueError
        It is not a number, or may be two; the message says so, and how to write it.
    """
    plain = text.strip().replace("−", "-")
    if thousands and _THOUSANDS.fullmatch(plain):
        whole = re.sub("[.,]", "", plain)
        raise ValueError(
            f"{plain} may be {whole} or {plain.replace(',', '.')[:-2]}; write {whole}, or fewer decimals"
        )
    if _NUMBER.fullmatch(plain):
        value = float(plain.replace(",", "."))
        if math.isfinite(value):
            return value
    elif _SEVERAL_SIGNS.fullmatch(plain):
        raise ValueError(
            f"{plain} has more than one point or comma, so that its decimal sign cannot be told; write one, and "
            "nothing between the thousands: 1234.5 or 1234,5"
        )
    raise ValueError(f"{plain or 'nothing'} is not a number; write digits, as 9.5 or 9,5")


def seconds_in(text: str) -> float:
    """Read a time in seconds, or in minutes and seconds as a player shows it.

    Parameters
    ----------
    text : str
        As 1.758, 1,758, 0:01.758 or 0:00:01.758.

    Returns
    -------
    float
        [s].

    Raises
    ------
    ValueError
        It is not a time; the message says so, and how to write it.
    """
    plain = text.strip()
    if ":" not in plain:
        try:
            return number_in(plain)
        except ValueError as error:
            reason = str(error) if _SEVERAL_SIGNS.fullmatch(plain) else f"{plain or 'nothing'} is not a time"
            raise ValueError(reason) from None
    found = _CLOCK.fullmatch(plain)
    if found is None or float(found[3].replace(",", ".")) >= SIXTY or (found[1] and int(found[2]) >= SIXTY):
        raise ValueError(f"{plain} is not a time; write minutes, seconds and their decimals, as 0:01.758")
    hours, minutes = int(found[1] or 0), int(found[2])
    return (hours * SIXTY + minutes) * SIXTY + float(found[3].replace(",", "."))


def day_in(text: str) -> date:
    """Read a day as 2026-05-31, or with the day first as 31.05.2026.

    Parameters
    ----------
    text : str
        With strokes, 31/05/2026 is read too, but only where it cannot be the month that comes first.

    Returns
    -------
    date

    Raises
    ------
    ValueError
        It is not a day, or may be two; the message says so, and how to write it.
    """
    plain = text.strip()
    if _ISO_DAY.fullmatch(plain):
        return _day(plain, *map(int, plain.split("-")))
    found = _DAY_FIRST.fullmatch(plain)
    if found is None:
        raise ValueError(f"{plain or 'nothing'} is not a day; write 2026-05-31 or 31.05.2026")
    first, second, year = int(found[1]), int(found[3]), int(found[4])
    if found[2] == "/" and first != second and first <= MONTHS:
        if second > MONTHS:
            return _day(plain, year, first, second)
        readings = _day(plain, year, second, first), _day(plain, year, first, second)
        raise ValueError(f"{plain} may be {readings[0]} or {readings[1]}; write the one that is meant")
    return _day(plain, year, second, first)


def _day(plain: str, year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise ValueError(f"{plain} is not a day of the calendar; check the day and the month") from None
