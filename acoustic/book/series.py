"""From visits to points of a trend."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date

from acoustic.book.records import Fitted, Judged, Visit
from acoustic.conditions import table
from acoustic.install.standing import Heard
from acoustic.text import SPIN
from acoustic.trend.points import Event, Point
from acoustic.trend.series import DRAG, Series, judge_series
from acoustic.trend.wear import FAINTEST_DB


def all_series(
    visits: Sequence[Visit],
    bearings: Sequence[Fitted],
    quantity: str | None,
    today: date,
    *,
    kilometres: bool = True,
) -> tuple[Series, ...]:
    """Judge one quantity over a bike's visits, or all that was found and the drag where none is named.

    What is in the book of later than today is left out.
    """
    visits, bearings = visits_until(visits, today), bearings_until(bearings, today)
    wanted = (quantity,) if quantity else (*found_conditions(visits), DRAG)
    events = works(visits, bearings)
    taken = {name: points_of(visits, name) for name in wanted}
    return tuple(
        judge_series(name, points, events, today=float(today.toordinal()), kilometres=kilometres)
        for name, points in taken.items()
        if points
    )


def visits_until(visits: Iterable[Visit], today: date) -> tuple[Visit, ...]:
    """The visits up to a day."""
    return tuple(visit for visit in visits if visit.on_date <= today)


def bearings_until(bearings: Iterable[Fitted], today: date) -> tuple[Fitted, ...]:
    """The bearings as they sat on a day: what came out later sits there still."""
    return tuple(
        replace(one, removed_on=None, removed_because="", removed_km=None)
        if one.removed_on is not None and one.removed_on > today
        else one
        for one in bearings
        if one.installed_on <= today
    )


def heard_of(visits: Iterable[Visit]) -> tuple[Heard, ...]:
    """The visits with a recording, as installs are judged by."""
    return tuple(
        Heard(
            on=visit.on_date,
            kind=visit.kind,
            replaced=visit.done == "replacement",
            checks=tuple(judged.check for judged in visit.verdicts),
        )
        for visit in visits
        if visit.verdicts
    )


def points_of(visits: Iterable[Visit], quantity: str) -> tuple[Point, ...]:
    """One quantity of one bearing over the visits.

    Parameters
    ----------
    visits : iterable of Visit
        Of one bike.
    quantity : str
        A condition's code, for its severity [dB], or 'drag', for the loss of speed of the
        hand-spun crank at one turn a second [turns/s^2].

    Returns
    -------
    tuple of Point
        Days as `datetime.date.toordinal` counts them. Of recordings in the hand there is none:
        a bearing out of its seat shows no stage of its wear.
    """
    points = []
    for visit in visits:
        for judged in visit.verdicts if visit.kind != "free" else ():
            value = _value(judged, quantity)
            if value is not None:
                points.append(
                    Point(
                        day=float(visit.on_date.toordinal()),
                        value=value,
                        km=visit.distance_km,
                        group=_group(visit, judged),
                        after="replacement" if visit.kind in ("pressed", "final") else "",
                    )
                )
    return tuple(points)


def _value(judged: Judged, quantity: str) -> float | None:
    if quantity == DRAG:
        return judged.check.drag_hz_per_s
    for finding in judged.check.findings:
        if finding.condition == quantity and finding.severity_db is not None:
            return max(FAINTEST_DB, finding.severity_db)
    return None


def _group(visit: Visit, judged: Judged) -> str:
    """What two values must share before they are compared: recorder, spin, side."""
    motion, side = judged.check.motion, judged.check.recording.side
    spin = "" if motion is None else SPIN[motion.spin]
    words = [visit.recorder or "the usual recorder", spin, f"{side} side" if side else ""]
    return ", ".join(word for word in words if word)


def works(visits: Sequence[Visit], bearings: Sequence[Fitted]) -> tuple[Event, ...]:
    """The services and replacements of a bike, by day.

    Parameters
    ----------
    visits : sequence of Visit
    bearings : sequence of Fitted
        Their first days are replacements too.

    Returns
    -------
    tuple of Event
    """
    found: dict[tuple[float, str], Event] = {}
    for visit in visits:
        if visit.done != "nothing":
            found[_at(visit.on_date), visit.done] = Event(_at(visit.on_date), visit.done)
    for one in bearings:
        day = _at(one.installed_on)
        found.setdefault((day, "replacement"), Event(day, "replacement", first=_is_first(one, visits, bearings)))
    # A bearing pressed in before anyone wrote its day down is a replacement as well.
    for visit in visits:
        if visit.kind in ("pressed", "final"):
            event = _install(visit, visits, bearings)
            found.setdefault((event.day, event.work), event)
    return tuple(found[place] for place in sorted(found))


def _install(visit: Visit, visits: Sequence[Visit], bearings: Sequence[Fitted]) -> Event:
    """The spin of a bearing just pressed in: of the last one that went in, unless that was ridden before."""
    day = _at(visit.on_date)
    went_in = {one.installed_on: _is_first(one, visits, bearings) for one in bearings}
    went_in |= {one.on_date: False for one in visits if one.done == "replacement"}
    fitted_on = max((on for on in went_in if on <= visit.on_date), default=None)
    if fitted_on is None:
        return Event(day, "replacement", first=not _heard_before(visit.on_date, visits))
    if any(one.kind == "check" and fitted_on < one.on_date < visit.on_date for one in visits):
        return Event(day, "replacement")
    return Event(day, "replacement", _at(fitted_on), went_in[fitted_on])


def _is_first(one: Fitted, visits: Sequence[Visit], bearings: Sequence[Fitted]) -> bool:
    """Whether no bearing is known to have sat there before."""
    there = [other for other in bearings if "" in (other.side, one.side) or other.side == one.side]
    earlier = any(other.installed_on < one.installed_on for other in there)
    replaced = any(visit.done == "replacement" and visit.on_date == one.installed_on for visit in visits)
    return not (earlier or replaced or _heard_before(one.installed_on, visits))


def _heard_before(day: date, visits: Iterable[Visit]) -> bool:
    return any(visit.kind == "check" and visit.on_date < day for visit in visits)


def _at(day: date) -> float:
    return float(day.toordinal())


def found_conditions(visits: Iterable[Visit]) -> tuple[str, ...]:
    """Conditions of the table that some visit found, most often found first; a plugin's own have no course."""
    counts: dict[str, int] = {}
    for visit in visits:
        for judged in visit.verdicts:
            for finding in judged.check.detected:
                if finding.condition in table().conditions:
                    counts[finding.condition] = counts.get(finding.condition, 0) + 1
    return tuple(sorted(counts, key=lambda name: (-counts[name], name)))
