"""All that is said of one bearing's decline, together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.trend.due import Due, due_range
from acoustic.trend.groups import Taken, take_group
from acoustic.trend.points import Event, Point, Stretch, stretches
from acoustic.trend.slope import TooFew, Trend, fit_trend
from acoustic.trend.step import Step, find_step


@dataclass(frozen=True, slots=True)
class Decline:
    """One bearing's decline since the last work on it.

    Attributes
    ----------
    stretch : Stretch
        The points since then, of all groups.
    taken : Taken or None
        The group that all else rests on; None where there are no points.
    trend : Trend or TooFew
    step : Step or TooFew
        Reported only: the trend goes through it.
    due : Due
    """

    stretch: Stretch
    taken: Taken | None
    trend: Trend | TooFew
    step: Step | TooFew
    due: Due


def judge_decline(points: Sequence[Point], events: Sequence[Event], *, limit: float, today: float) -> Decline:
    """Judge how a bearing declines.

    Parameters
    ----------
    points : sequence of Point
        One condition of one bearing, in any order, of any groups.
    events : sequence of Event
        Services and replacements, in any order.
    limit : float
        From here on the next grade holds, in the value's unit.
    today : float
        Days since the same midnight as the points'.

    Returns
    -------
    Decline

    Raises
    ------
    InputError
        As `stretches`, `fit_trend` and `due_range` do.
    """
    stretch = stretches(points, events)[-1]
    taken = take_group(stretch.points)
    kept = taken.points if taken else ()
    trend = fit_trend(kept)
    return Decline(stretch, taken, trend, find_step(kept), due_range(trend, limit=limit, today=today))
