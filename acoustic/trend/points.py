"""What was measured at each visit, and what work parts one segment of visits from the next.

Recordings of one day are one visit: they share phone, place and weather, and counted one by one they would make
the interval too narrow.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from statistics import median

from acoustic.errors import InputError

# Within one day: recordings as the bike came in, then each kind of work, and the recordings made after it.
ORDER_OF_WORK = {"service": 1, "replacement": 3}


@dataclass(frozen=True, slots=True)
class Point:
    """One value of one recording.

    Attributes
    ----------
    day : float
        Days since any midnight; the whole part is the calendar day.
    value : float
        Severity, rumble or drag: whatever grows as the bearing wears.
    km : float or None
        Reading of the bike's distance then [km].
    group : str
        Recorder and kind of spin; values of different groups don't compare.
    after : str
        What work on the bearing the recording followed: '' (as it came in),
        'service' or 'replacement'. It is asked on the day of the work alone,
        to tell which side of it the recording lies.

    Raises
    ------
    InputError
        A number that is not finite, or work of another name.
    """

    day: float
    value: float
    km: float | None = None
    group: str = ""
    after: str = ""

    def __post_init__(self) -> None:
        numbers = (self.day, self.value, 0.0 if self.km is None else self.km)
        if not all(math.isfinite(number) for number in numbers):
            found = f"a visit with day {self.day}, value {self.value} and km {self.km}; finite numbers are needed"
            raise InputError(found, hint="Leave the visit out, or put the number right.")
        if self.after:
            _known_work(self.after)


@dataclass(frozen=True, slots=True)
class Event:
    """Work on the bearing, after which its trend starts anew.

    Attributes
    ----------
    day : float
        Days since the same midnight as the points'.
    work : str
        'service' or 'replacement'.

    Raises
    ------
    InputError
        A day that is not finite, or work of another name.
    """

    day: float
    work: str

    def __post_init__(self) -> None:
        if not math.isfinite(self.day):
            found = f"a {self.work} on day {self.day}; a finite number is needed"
            raise InputError(found, hint="Put the day right.")
        _known_work(self.work)


def _known_work(work: str) -> None:
    if work not in ORDER_OF_WORK:
        found = f"work on the bearing called {work!r}; {' or '.join(ORDER_OF_WORK)} is needed"
        raise InputError(found, hint="Enter anything else that was done as a note.")


@dataclass(frozen=True, slots=True)
class Segment:
    """Points between two pieces of work.

    Attributes
    ----------
    points : tuple of Point
        In order of time; may be empty.
    since : Event or None
        The work before them; None where none is known.
    """

    points: tuple[Point, ...]
    since: Event | None


def segments(points: Iterable[Point], events: Iterable[Event]) -> tuple[Segment, ...]:
    """Part points at each service and replacement.

    Parameters
    ----------
    points : iterable of Point
        In any order, of any groups.
    events : iterable of Event
        In any order.

    Returns
    -------
    tuple of Segment
        One more than events, in order of time; the last one is the bearing as it is now.

    Raises
    ------
    InputError
        A point that followed work of which no event is known on or before its day.
    """
    works = sorted(events, key=_event_place)
    places = [_event_place(event) for event in works]
    parts: list[list[Point]] = [[] for _ in range(len(works) + 1)]
    for point in sorted(points, key=lambda point: (_point_place(point), point.day, point.value)):
        number = bisect_right(places, _point_place(point))
        if point.after and point.after not in {event.work for event in works[:number]}:
            found = f"a recording of day {point.day:g} made after a {point.after}, of which no day is known"
            raise InputError(found, hint=f"Enter the day of the {point.after}.")
        parts[number].append(point)
    since = (None, *works)
    return tuple(Segment(tuple(part), event) for part, event in zip(parts, since, strict=True))


def _event_place(event: Event) -> tuple[int, int]:
    return math.floor(event.day), ORDER_OF_WORK[event.work]


def _point_place(point: Point) -> tuple[int, int]:
    return math.floor(point.day), ORDER_OF_WORK[point.after] + 1 if point.after else 0


def visits(points: Sequence[Point]) -> tuple[Point, ...]:
    """Join what was recorded on one calendar day into one visit.

    Recordings of one day share the weather, the stand and the phone's place, so
    they are no news of the trend each: their median counts once.

    Parameters
    ----------
    points : sequence of Point
        Of one group and one segment, in any order.

    Returns
    -------
    tuple of Point
        One a calendar day, in order of time, with medians of day, value and km;
        km is None where a recording of that day lacks it.

    Raises
    ------
    InputError
        Points of several groups.
    """
    names = sorted({point.group or "no name" for point in points})
    if len(names) > 1:
        found = f"points of {len(names)} groups ({', '.join(names)}), whose values don't compare"
        raise InputError(found, hint="Take one of them.")
    ordered = sorted(points, key=lambda point: (point.day, point.after))
    return tuple(joined(list(day)) for _, day in groupby(ordered, key=lambda point: math.floor(point.day)))


def joined(points: Sequence[Point]) -> Point:
    """One point in place of several, by the medians; its km is None where one of them lacks it."""
    readings_km = [point.km for point in points if point.km is not None]
    return replace(
        points[0],
        day=median(point.day for point in points),
        value=median(point.value for point in points),
        km=median(readings_km) if len(readings_km) == len(points) else None,
    )
