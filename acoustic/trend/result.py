"""All that is said of one bearing's trend, together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from acoustic.errors import InputError
from acoustic.trend.due import FARTHEST_KM, Due, due_range
from acoustic.trend.groups import Taken, take_group
from acoustic.trend.next_visit import next_visit
from acoustic.trend.points import Event, Point, Segment, segments
from acoustic.trend.step import Step, find_step
from acoustic.trend.wear import DECIBELS, TooFew, Wear, weigh, weigh_over_km
from acoustic.trend.weighing import Scale


@dataclass(frozen=True, slots=True)
class TrendResult:
    """One bearing's trend since the last work on it.

    Attributes
    ----------
    segment : Segment
        The points since then, of all groups.
    taken : Taken or None
        The group that all else rests on; None where there are no points.
    wear : Wear or TooFew
        Over days.
    wear_km : Wear or None
        Over the kilometres ridden, where enough visits tell them.
    km_problem : str
        Why there is none although they are told; else empty.
    step : Step, TooFew or None
        Reported only.
    due, due_km : Due or None
        None where no limit, or no km, is known.
    next_visit : float or None
        The day that would narrow the range most.
    """

    segment: Segment
    taken: Taken | None
    wear: Wear | TooFew
    wear_km: Wear | None
    km_problem: str
    step: Step | TooFew | None
    due: Due | None
    due_km: Due | None
    next_visit: float | None


def judge_trend(
    points: Sequence[Point],
    events: Sequence[Event],
    *,
    limit: float | None,
    today: float,
    scale: Scale = DECIBELS,
    kilometres: bool = True,
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
    scale : Scale
    kilometres : bool
        Weigh the courses over the kilometres as well.

    Returns
    -------
    TrendResult

    Raises
    ------
    InputError
        As `segments`, `weigh` and `due_range` do. Kilometres that fall are told as `km_problem`.
    """
    segment = segments(points, events)[-1]
    taken = take_group(segment.points)
    kept = taken.points if taken else ()
    wear = weigh(kept, scale)
    over_km, problem = _over_km(kept, scale) if kilometres else (None, "")
    due = None if limit is None else due_range(wear, limit=limit, today=today)
    due_km = None
    if limit is not None and over_km is not None:
        due_km = due_range(over_km, limit=limit, today=float(over_km.at[-1]), farthest=FARTHEST_KM)
    come = None if isinstance(wear, TooFew) or due is None or limit is None else next_visit(wear, due, limit=limit)
    return TrendResult(segment, taken, wear, over_km, problem, find_step(wear), due, due_km, come)


def _over_km(points: Sequence[Point], scale: Scale) -> tuple[Wear | None, str]:
    try:
        return weigh_over_km(points, scale), ""
    except InputError as error:
        return None, f"{error.found}. {error.hint}"
