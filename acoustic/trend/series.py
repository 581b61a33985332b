"""One quantity of a bearing over its visits, judged against where the next grade begins."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from acoustic.conditions import table
from acoustic.trend.points import Event, Point
from acoustic.trend.result import TrendResult, judge_trend
from acoustic.trend.wear import DECIBELS, TooFew
from acoustic.trend.weighing import Scale

DRAG = "drag"
NOUN = {"replace": "replacement", "service": "service", "watch": "a watchful eye"}
FAINTEST_DB = {"rumble": -20.0}  # what that detector tells wherever it hears less
# Of the drag that is usual for the crank: the scatter of two spins and the way to half as much again; judgement.
DRAG_SCATTER, DRAG_RISE = 0.08, 0.5


@dataclass(frozen=True, slots=True)
class Series:
    """One quantity over the visits, judged.

    Attributes
    ----------
    quantity : str
    points : tuple of Point
    events : tuple of Event
    today : float
        Day that it was judged on, as the points' days.
    limit : float or None
        Where the next grade begins; None where none follows.
    next_grade : str
        What is due there, as a noun.
    result : TrendResult
    """

    quantity: str
    points: tuple[Point, ...]
    events: tuple[Event, ...]
    today: float
    limit: float | None
    next_grade: str
    result: TrendResult

    @property
    def unchanged(self) -> bool:
        """Whether it is the drag, and nothing shows that it changes: no chart is worth drawing."""
        wear = self.result.wear
        if self.quantity != DRAG or isinstance(wear, TooFew):
            return False
        there = self.result.due is not None and self.result.due.state == "already there"
        return wear.rate.low <= 0 <= wear.rate.high and not there


def judge_series(
    quantity: str, points: Sequence[Point], events: Sequence[Event], *, today: float, kilometres: bool = True
) -> Series:
    """Judge one quantity over a bike's visits.

    Parameters
    ----------
    quantity : str
        A condition's code, or 'drag'.
    points : sequence of Point
        At least one.
    events : sequence of Event
    today : float
        Days since the same midnight as the points'.
    kilometres : bool
        Judge over the kilometres as well.

    Returns
    -------
    Series
    """
    limit, noun = next_limit(quantity, points)
    day = float(max(today, *(math.floor(point.day) for point in points)))
    scale = scale_of(quantity, points)
    result = judge_trend(points, events, limit=limit, today=day, scale=scale, kilometres=kilometres)
    return Series(quantity, tuple(points), tuple(events), day, limit, noun, result)


def scale_of(quantity: str, points: Sequence[Point]) -> Scale:
    """What the quantity is measured in: dB for a condition, for drag shares of the usual drag."""
    if quantity != DRAG:
        return replace(DECIBELS, faintest=FAINTEST_DB.get(quantity, DECIBELS.faintest))
    usual = median(abs(point.value) for point in points) or 1.0
    return Scale(DRAG_SCATTER * usual, DRAG_RISE * usual)


def next_limit(quantity: str, points: Sequence[Point]) -> tuple[float | None, str]:
    """Where the next grade begins, and what is due there.

    By the table of conditions; for drag, half as much again as when the bearing was fresh.
    """
    if quantity == DRAG:
        fresh = [point.value for point in points if point.after == "replacement"]
        return (table().drags_more * fresh[-1], NOUN["service"]) if fresh else (None, "")
    condition = table().conditions[quantity]
    if condition.worn_over_visits_db is not None:
        return condition.worn_over_visits_db, NOUN["replace"]
    steps = [(rule.from_db, NOUN[rule.level]) for rule in condition.rules if math.isfinite(rule.from_db)]
    return min(steps, default=(None, ""))
