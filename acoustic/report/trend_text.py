"""A bike's courses as text and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from acoustic.book.courses import DRAG, course, found_conditions, works
from acoustic.book.records import Fitted, Visit
from acoustic.check.grade import ANY, ROUGH_FROM_DB, RULES
from acoustic.install.spins import DRAGS_MORE
from acoustic.report.layout import paragraphs, sentence
from acoustic.report.words import CONDITION
from acoustic.trend.due import due_sentence
from acoustic.trend.points import Event, Point
from acoustic.trend.result import Decline, judge_decline
from acoustic.trend.slope import Trend
from acoustic.trend.step import step_sentence

SCHEMA = "acoustic.trend/1"
UNIT = {DRAG: "loss of speed at one turn/s [turns/s²]"}
NOUN = {"replace": "replacement", "service": "service", "watch": "a watchful eye"}
MONTH_DAYS = 365.25 / 12


@dataclass(frozen=True, slots=True)
class Course:
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
    decline : Decline
    """

    quantity: str
    points: tuple[Point, ...]
    events: tuple[Event, ...]
    limit: float | None
    next_grade: str
    decline: Decline


def courses_of(
    visits: Sequence[Visit], bearings: Sequence[Fitted], quantity: str | None, today: date
) -> tuple[Course, ...]:
    """Follow one quantity, or all that was found and the drag where none is named."""
    wanted = (quantity,) if quantity else (*found_conditions(visits), DRAG)
    made = (make_course(visits, bearings, name, today) for name in wanted)
    return tuple(course for course in made if course is not None)


def make_course(visits: Sequence[Visit], bearings: Sequence[Fitted], quantity: str, today: date) -> Course | None:
    """Follow one quantity over a bike's visits; None where no visit has it."""
    points, events = course(visits, quantity), works(visits, bearings)
    if not points:
        return None
    limit, noun = _limit(quantity, points, events)
    day = float(max(today.toordinal(), *(int(point.day) for point in points)))
    decline = judge_decline(points, events, limit=1e9 if limit is None else limit, today=day)
    return Course(quantity, points, events, limit, noun, decline)


def _limit(quantity: str, points: Sequence[Point], events: Sequence[Event]) -> tuple[float | None, str]:
    """Where the next grade begins: the rule table's next limit, or half as much drag again as when fresh."""
    if quantity == DRAG:
        fresh = [point.value for point in points if point.after == "replacement"]
        return (DRAGS_MORE * fresh[-1], NOUN["service"]) if fresh else (None, "")
    if quantity == "rumble":
        # Over visits the bearing is its own baseline, so that roughness alone may ask for a new one.
        return ROUGH_FROM_DB, NOUN["replace"]
    steps = sorted(
        (rule.from_db, rule.level) for rule in RULES if rule.condition == quantity and rule.from_db > ANY
    )
    return (steps[0][0], NOUN[steps[0][1]]) if steps else (None, "")


def title(quantity: str) -> str:
    """A quantity in words."""
    return "drag of the hand-spun crank" if quantity == DRAG else CONDITION[quantity]


def trend_text(bike: str, courses: Sequence[Course], *, visits: int) -> str:
    """Set the courses for people."""
    if not courses:
        return f"{bike}: {visits} visits, and nothing in them to follow: no condition was found, no drag measured."
    lines = [f"{bike}: {visits} visits", ""]
    for one in courses:
        lines.append(title(one.quantity).capitalize())
        lines += paragraphs("", map(sentence, course_sentences(one)))
        lines.append("")
    return "\n".join(lines[:-1])


def course_sentences(one: Course) -> list[str]:
    """All that is said of a course, what is due first."""
    decline, told = one.decline, []
    if one.limit is None:
        told.append(decline.trend.sentence if not isinstance(decline.trend, Trend) else _rate(one, decline.trend))
    else:
        told.append(due_sentence(decline.due, next_grade=one.next_grade))
        if isinstance(decline.trend, Trend):
            told.append(_rate(one, decline.trend))
    if decline.taken is not None:
        told.append(decline.taken.sentence)
    if decline.stretch.since is not None:
        since = date.fromordinal(int(decline.stretch.since.day))
        told.append(f"reckoned since the {decline.stretch.since.work} on {since}")
    if isinstance(decline.trend, Trend):
        told.append(step_sentence(decline.step, unit="turns/s²" if one.quantity == DRAG else "dB"))
    return told


def _rate(one: Course, found: Trend) -> str:
    a_month, unit = found.per_day.times(MONTH_DAYS), "turns/s²" if one.quantity == DRAG else "dB"
    digits = ".3f" if one.quantity == DRAG else ".1f"
    said = f"{a_month.value:+{digits}} {unit} a month ({a_month.low:+{digits}} to {a_month.high:+{digits}})"
    if found.per_1000_km is not None:
        said += f", {found.per_1000_km.value:+{digits}} {unit} in 1000 km"
    return said


def trend_document(bike: str, courses: Sequence[Course]) -> dict[str, Any]:
    """The courses as plain data."""
    return {"schema": SCHEMA, "bike": bike, "courses": [_block(one) for one in courses]}


def _block(one: Course) -> dict[str, Any]:
    due, found = one.decline.due, one.decline.trend
    slope = found.per_day.times(MONTH_DAYS) if isinstance(found, Trend) else None
    return {
        "of": one.quantity,
        "unit": "turns/s2" if one.quantity == DRAG else "dB",
        "points": [
            {"on": _day(point.day), "value": point.value, "km": point.km, "group": point.group}
            for point in one.points
        ],
        "work": [{"on": _day(event.day), "work": event.work} for event in one.events],
        "a_month": slope and {"likely": slope.value, "least": slope.low, "most": slope.high},
        "limit": one.limit,
        "next": one.next_grade or None,
        "state": due.state if one.limit is not None else None,
        "earliest": _day(due.earliest_day),
        "latest": _day(due.latest_day),
        "because": course_sentences(one),
    }


def _day(day: float | None) -> str | None:
    return None if day is None else date.fromordinal(int(day)).isoformat()
