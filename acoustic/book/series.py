"""From visits to points of a trend."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from acoustic.book.records import Fitted, Judged, Visit
from acoustic.conditions import table
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
    """Judge one quantity over a bike's visits, or all that was found and the drag where none is named."""
    wanted = (quantity,) if quantity else (*found_conditions(visits), DRAG)
    events = works(visits, bearings)
    taken = {name: points_of(visits, name) for name in wanted}
    return tuple(
        judge_series(name, points, events, today=float(today.toordinal()), kilometres=kilometres)
        for name, points in taken.items()
        if points
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


def works(visits: Iterable[Visit], bearings: Iterable[Fitted]) -> tuple[Event, ...]:
    """The services and replacements of a bike, by day.

    Parameters
    ----------
    visits : iterable of Visit
    bearings : iterable of Fitted
        Their first days are replacements too.

    Returns
    -------
    tuple of Event
    """
    found = {(float(v.on_date.toordinal()), v.done) for v in visits if v.done != "nothing"}
    found |= {(float(one.installed_on.toordinal()), "replacement") for one in bearings}
    # A bearing pressed in before anyone wrote its day down is a replacement as well.
    found |= {(float(v.on_date.toordinal()), "replacement") for v in visits if v.kind in ("pressed", "final")}
    return tuple(Event(day, work) for day, work in sorted(found))


def found_conditions(visits: Iterable[Visit]) -> tuple[str, ...]:
    """Conditions of the table that some visit found, most often found first; a plugin's own have no course."""
    counts: dict[str, int] = {}
    for visit in visits:
        for judged in visit.verdicts:
            for finding in judged.check.detected:
                if finding.condition in table().conditions:
                    counts[finding.condition] = counts.get(finding.condition, 0) + 1
    return tuple(sorted(counts, key=lambda name: (-counts[name], name)))
