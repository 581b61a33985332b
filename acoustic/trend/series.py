"""One quantity of a bearing over its visits, judged against where the next grade begins."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.conditions import table
from acoustic.trend.points import Event, Point
from acoustic.trend.result import TrendResult, judge_trend

DRAG = "drag"
NOUN = {"replace": "replacement", "service": "service", "watch": "a watchful eye"}


@dataclass(frozen=True, slots=True)
class Series:
    """One quantity over the visits, judged.

    Attributes
    ----------
    quantity : str
    points : tuple of Point
    events : tuple of Event
    limit : float or None
        Where the next grade begins; None where none follows.
    next_grade : str
        What is due there, as a noun.
    result : TrendResult
    """

    quantity: str
    points: tuple[Point, ...]
    events: tuple[Event, ...]
    limit: float | None
    next_grade: str
    result: TrendResult


def judge_series(quantity: str, points: Sequence[Point], events: Sequence[Event], *, today: float) -> Series:
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

    Returns
    -------
    Series
    """
    limit, noun = next_limit(quantity, points)
    day = max(today, *(math.floor(point.day) for point in points))
    result = judge_trend(points, events, limit=limit, today=float(day))
    return Series(quantity, tuple(points), tuple(events), limit, noun, result)


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
