"""All that is said of one bearing's trend, together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.trend.due import Due, due_range
from acoustic.trend.groups import Taken, take_group
from acoustic.trend.points import Event, Point, Segment, segments
from acoustic.trend.slope import TooFew, Trend, fit_trend
from acoustic.trend.step import Step, find_step


@dataclass(frozen=True, slots=True)
class TrendResult:
    """One bearing's trend since the last work on it.

    Attributes
    ----------
    segment : Segment
        The points since then, of all groups.
    taken : Taken or None
        The group that all else rests on; None where there are no points.
    trend : Trend or TooFew
    step : Step or TooFew
        Reported only: the trend goes through it.
    due : Due or None
        None where no limit is known.
    """

    segment: Segment
    taken: Taken | None
    trend: Trend | TooFew
    step: Step | TooFew
    due: Due | None


def judge_trend(
    points: Sequence[Point], events: Sequence[Event], *, limit: float | None, today: float
) -> TrendResult:
    """Judge how a bearing wears.

    Parameters
    ----------
    points : sequence of Point
        One condition of one bearing, in any order, of any groups.
    events : sequence of Event
        Services and replacements, in any order.
    limit : float or None
        From here on the next grade holds, in the value's unit; None where none follows.
    today : float
        Days since the same midnight as the points'.

    Returns
    -------
    TrendResult

    Raises
    ------
    InputError
        As `segments`, `fit_trend` and `due_range` do.
    """
    segment = segments(points, events)[-1]
    taken = take_group(segment.points)
    kept = taken.points if taken else ()
    trend = fit_trend(kept)
    due = None if limit is None else due_range(trend, limit=limit, today=today)
    return TrendResult(segment, taken, trend, find_step(kept), due)
