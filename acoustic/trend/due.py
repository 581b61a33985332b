"""When the value reaches the next grade's limit: a range of days, never one day.

The errors of level and slope add as squares, since the two are found nearly apart at the median day. Adding the
two ends outright held the true day in 94 to 97 of 100 simulated trends instead of 89 to 96, at wider ranges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from acoustic.errors import InputError
from acoustic.text import unit_for
from acoustic.trend.slope import TooFew, Trend

State = Literal["due", "already there", "not rising", "not enough visits"]

FARTHEST_DAYS = 3 * 365.25  # this project's judgement: no line through a few visits speaks of longer


@dataclass(frozen=True, slots=True)
class Due:
    """When the limit is reached at this rate.

    Attributes
    ----------
    state : {'due', 'already there', 'not rising', 'not enough visits'}
    today : float
        The day it was asked on.
    earliest_day, latest_day : float or None
        On or after today. No latest day: an open end, since a rate of nothing lies
        within the slope's interval, or it is more than three years off. With
        'not rising' the earliest day is that of the steepest slope which the visits
        still allow, if any; with the other states both are None.
    visits : TooFew or None
        What is missing, with 'not enough visits'.
    """

    state: State
    today: float
    earliest_day: float | None = None
    latest_day: float | None = None
    visits: TooFew | None = None


def due_range(trend: Trend | TooFew, *, limit: float, today: float) -> Due:
    """Range of days on which the line reaches a limit.

    Parameters
    ----------
    trend : Trend or TooFew
    limit : float
        From here on the next grade holds, in the value's unit.
    today : float
        Days since the same midnight as the visits'; on the last visit's day or later.

    Returns
    -------
    Due

    Raises
    ------
    InputError
        A limit that is not finite, or a today before the last visit's day.

    Notes
    -----
    Level and slope are found nearly apart at the median day, so their errors add as
    squares, as in the band about any straight line (for example N. R. Draper and
    H. Smith, Applied Regression Analysis; from memory). The earliest day is where the
    band's upper edge meets the limit, the latest where its lower edge does. In 24 000
    simulated trends of 4 to 20 visits, with normal and long-tailed scatter and the
    limit up to one and a half times their span ahead, the range held the day on which
    the true line reaches the limit in 89 to 96 of 100. A single recording may read at
    the limit earlier, by its scatter.
    """
    if not math.isfinite(limit) or not math.isfinite(today):
        raise InputError(f"a limit of {limit} on day {today}; finite numbers are needed", hint="Give both.")
    if isinstance(trend, TooFew):
        return Due("not enough visits", today, visits=trend)
    last = trend.visits[-1]
    if math.floor(today) < math.floor(last.day):
        found = f"a visit on day {last.day:g}, after today, day {today:g}"
        raise InputError(found, hint="Put the day right; today is the last visit's day or later.")
    if max(last.value, trend.value_at(last.day)) >= limit:
        return Due("already there", today)
    farthest_day = today + FARTHEST_DAYS
    soonest, longest = _earliest_day(trend, limit), _latest_day(trend, limit)
    earliest_day = None if soonest is None else min(max(soonest, today), farthest_day)
    if trend.per_day.value <= 0:
        return Due("not rising", today, earliest_day)
    latest_day = None if longest is None or longest >= farthest_day else max(longest, today)
    return Due("due", today, earliest_day, latest_day)


def _earliest_day(trend: Trend, limit: float) -> float | None:
    """Where slope * t + sqrt(half_width^2 + (half_slope * t)^2) meets what is to go, t days past the middle."""
    if trend.per_day.high <= 0:
        return None
    to_go, half_width = limit - trend.level, trend.level_half_width
    if to_go <= half_width:
        return trend.middle_day
    gain = to_go * trend.per_day.value + _root(trend, to_go, trend.per_day.high - trend.per_day.value)
    return trend.middle_day + (to_go - half_width) * (to_go + half_width) / gain if gain > 0 else math.inf


def _latest_day(trend: Trend, limit: float) -> float | None:
    """Where slope * t - sqrt(half_width^2 + (half_slope * t)^2) does."""
    slope = trend.per_day
    to_go, half_slope = limit - trend.level, slope.value - slope.low
    steepness = slope.low * (slope.value + half_slope)
    if steepness <= 0:
        return None
    return trend.middle_day + (to_go * slope.value + _root(trend, to_go, half_slope)) / steepness


def _root(trend: Trend, to_go: float, half_slope: float) -> float:
    half_width = trend.level_half_width
    over = half_slope**2 * (to_go - half_width) * (to_go + half_width) + (half_width * trend.per_day.value) ** 2
    return math.sqrt(max(0.0, over))  # below 0 by rounding alone


def due_sentence(due: Due, *, next_grade: str) -> str:
    """Say in plain words when the next grade is due.

    Parameters
    ----------
    due : Due
    next_grade : str
        What is due at the limit, as a noun: 'service' or 'replacement'.

    Returns
    -------
    str
        Weeks up to 26, then months, rounded outwards.
    """
    if due.visits is not None:
        return f"when {next_grade} is due cannot be told: {due.visits.sentence}"
    if due.state == "already there":
        return f"{next_grade} is due already"
    if due.earliest_day is None:
        return "not rising"
    span = _span(due.earliest_day - due.today, None if due.latest_day is None else due.latest_day - due.today)
    if due.state == "not rising":
        return f"not rising; {next_grade} {span} at the steepest rate that the visits allow"
    return f"{next_grade} {span} at this rate"


def _span(low_days: float, high_days: float | None) -> str:
    fine = unit_for(low_days)
    low = fine.whole_below(low_days)
    if high_days is None:
        return f"in {fine.counted(low)} or later" if low else "now or later"
    coarse = unit_for(high_days)
    high = coarse.whole_above(high_days)
    if not high:
        return "now"
    if not low:
        return f"within {coarse.counted(high)}"
    if fine != coarse:
        return f"in {fine.counted(low)} to {coarse.counted(high)}"
    return f"in {low} to {coarse.counted(high)}" if low < high else f"in {coarse.counted(high)}"
