"""When the value reaches the next grade's limit: a range, never one day.

The range is that of the courses that rise, each weighed by how well it explains the visits
(`acoustic.trend.wear`).
Where the rate's range holds 0 there is no date: a limit reached by a rate that may be nothing is no news.
"""

from __future__ import annotations

import math
from calendar import month_name
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from acoustic.errors import InputError
from acoustic.trend.wear import NINE_IN_TEN, TooFew, Wear

State = Literal["due", "already there", "not rising", "not enough visits"]

# This project's judgement: no line through a few visits speaks of longer; some 10 000 km a year.
FARTHEST_DAYS = 3 * 365.25
# As FARTHEST_DAYS.
FARTHEST_KM = 30_000.0
# Ends this near are told as early, mid or late in their month, later ones by the month; judgement.
FINE_DAYS = 92.0
# Ends of km are rounded outwards to this; a count in tens would be finer than any range [km]; judgement.
ROUND_KM = 100.0
MONTHS = tuple(month_name)  # in English: nothing here sets another locale


@dataclass(frozen=True, slots=True)
class Due:
    """When the limit is reached.

    Attributes
    ----------
    state : {'due', 'already there', 'not rising', 'not enough visits'}
        'not rising': not shown to rise, the range of its rate holds 0. 'already there': the whole range is past.
    today : float
        The day it was asked on, or the last reading [km].
    earliest, likeliest, latest : float or None
        With 'due' alone, on or after today; as likely before the likeliest as after. No latest or likeliest: more
        than three years, or 30 000 km, off.
    visits : TooFew or None
        What is missing, with 'not enough visits'.
    """

    state: State
    today: float
    earliest: float | None = None
    likeliest: float | None = None
    latest: float | None = None
    visits: TooFew | None = None


def due_range(wear: Wear | TooFew, *, limit: float, today: float, farthest: float = FARTHEST_DAYS) -> Due:
    """Range in which the limit is reached.

    Parameters
    ----------
    wear : Wear or TooFew
    limit : float
        From here on the next grade holds, in the value's unit.
    today : float
        The visits' own count [days or km]; at the last visit or later.
    farthest : float
        What lies further off has an open end.

    Returns
    -------
    Due

    Raises
    ------
    InputError
        A limit that is not finite, or a today before the last visit's day.
    """
    if not math.isfinite(limit) or not math.isfinite(today):
        raise InputError(f"a limit of {limit} on day {today}; finite numbers are needed", hint="Give both.")
    if isinstance(wear, TooFew):
        return Due("not enough visits", today, visits=wear)
    last = float(wear.at[-1])
    if math.floor(today) < math.floor(last):
        found = f"a visit on day {last:g}, after today, day {today:g}"
        raise InputError(found, hint="Put the day right; today is the last visit's day or later.")
    reached = wear.reached_at(limit)
    if np.mean(reached <= today) >= (1 + NINE_IN_TEN) / 2:
        return Due("already there", today)
    if not wear.rises:
        return Due("not rising", today)
    rising = reached[wear.draws.rising]
    # Each end is a course's own day, since a mean of one with a course that never arrives means nothing.
    low, likeliest = np.quantile(rising, [(1 - NINE_IN_TEN) / 2, 0.5], method="lower")
    high = np.quantile(rising, (1 + NINE_IN_TEN) / 2, method="higher")
    return Due(
        "due",
        today,
        earliest=float(min(max(low, today), today + farthest)),
        likeliest=None if likeliest > today + farthest else float(max(likeliest, today)),
        latest=None if high > today + farthest else float(max(high, today)),
    )


def due_sentence(due: Due, *, next_grade: str) -> str:
    """Say in plain words when the next grade is due; days are counted as `date.toordinal` does.

    Parameters
    ----------
    due : Due
    next_grade : str
        What is due at the limit, as a noun: 'service' or 'replacement'.

    Returns
    -------
    str
    """
    if due.visits is not None:
        return f"when {next_grade} is due cannot be told: {due.visits.sentence}"
    if due.state == "already there":
        return f"{next_grade} is due already"
    if due.earliest is None:
        return f"not shown to rise, so that no date can be told for {next_grade}"
    soon, late = _told(due.earliest, due.today), None if due.latest is None else _told(due.latest, due.today)
    if late is None:
        return f"{next_grade} is due in more than three years, or {soon} at the earliest{_about(due, soon)}"
    if soon == late:
        return f"{next_grade} is due {soon if soon == 'now' else f'in {soon}'}"
    return f"{next_grade} is due between {soon} and {late}{_about(due, late)}"


def due_km_sentence(due: Due, *, next_grade: str) -> str:
    """The same in kilometres; nothing where the range does not say when."""
    if due.earliest is None:
        return ""
    low, high = (_round(end, up) for end, up in ((due.earliest, False), (due.latest, True)))
    likely = (
        "" if due.likeliest is None else f", likeliest about {_km(round(due.likeliest / ROUND_KM) * ROUND_KM)} km"
    )
    now = f"{_km(due.today)} km at the last visit"
    if high is None:
        return f"in kilometres: at {_km(max(low or 0.0, due.today))} km or later{likely} ({now})"
    return f"in kilometres: between {_km(max(low or 0.0, due.today))} and {_km(high)} km{likely} ({now})"


def _round(end: float | None, up: bool) -> float | None:
    return None if end is None else (math.ceil if up else math.floor)(end / ROUND_KM) * ROUND_KM


def _km(value: float) -> str:
    return f"{value:,.0f}".replace(",", " ")


def _about(due: Due, told: str) -> str:
    """The likeliest day by its month, where that is finer than the ends."""
    if due.likeliest is None or due.likeliest <= due.today:
        return "" if due.likeliest is None else ", likeliest now"
    about = _told(due.likeliest, due.today)
    month, year = about.rsplit(" ", 1)
    return f", likeliest about {month if told.endswith(year) else about}"


def _told(day: float, today: float) -> str:
    """A day as 'now', 'mid March 2027' or 'March 2027'."""
    if day <= today:
        return "now"
    on = date.fromordinal(int(day))
    part = ("early ", "mid ", "late ")[min((on.day - 1) // 10, 2)] if day - today <= FINE_DAYS else ""
    return f"{part}{MONTHS[on.month]} {on.year}"
