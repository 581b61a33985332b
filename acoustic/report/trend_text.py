"""A bike's courses as text and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from acoustic.conditions import table
from acoustic.report.layout import paragraphs, sentence
from acoustic.trend.due import due_sentence
from acoustic.trend.series import DRAG, Series
from acoustic.trend.slope import Trend
from acoustic.trend.step import step_sentence

SCHEMA = "acoustic.trend/1"
UNIT = {DRAG: "loss of speed at one turn/s [turns/s²]"}
# The mean month of the Julian year.
MONTH_DAYS = 365.25 / 12


def title(quantity: str) -> str:
    """A quantity in words."""
    return "drag of the hand-spun crank" if quantity == DRAG else table().conditions[quantity].name


def trend_text(bike: str, series: Sequence[Series], *, visits: int) -> str:
    """Set the courses for people."""
    if not series:
        return f"{bike}: {visits} visits, and nothing in them to follow: no condition was found, no drag measured."
    lines = [f"{bike}: {visits} visits", ""]
    for one in series:
        lines.append(title(one.quantity).capitalize())
        lines += paragraphs("", map(sentence, series_sentences(one)))
        lines.append("")
    return "\n".join(lines[:-1])


def series_sentences(one: Series) -> list[str]:
    """All that is said of a course, what is due first."""
    result, told = one.result, []
    if result.due is None:
        told.append(result.trend.sentence if not isinstance(result.trend, Trend) else _rate(one, result.trend))
    else:
        told.append(due_sentence(result.due, next_grade=one.next_grade))
        if isinstance(result.trend, Trend):
            told.append(_rate(one, result.trend))
    if result.taken is not None:
        told.append(result.taken.sentence)
    if result.segment.since is not None:
        since = date.fromordinal(int(result.segment.since.day))
        told.append(f"reckoned since the {result.segment.since.work} on {since}")
    if isinstance(result.trend, Trend):
        told.append(step_sentence(result.step, unit="turns/s²" if one.quantity == DRAG else "dB"))
    return told


def _rate(one: Series, found: Trend) -> str:
    a_month, unit = found.per_day.times(MONTH_DAYS), "turns/s²" if one.quantity == DRAG else "dB"
    digits = ".3f" if one.quantity == DRAG else ".1f"
    said = f"{a_month.value:+{digits}} {unit} a month ({a_month.low:+{digits}} to {a_month.high:+{digits}})"
    if found.per_1000_km is not None:
        said += f", {found.per_1000_km.value:+{digits}} {unit} in 1000 km"
    return said


def trend_document(bike: str, series: Sequence[Series]) -> dict[str, Any]:
    """The courses as plain data."""
    return {"schema": SCHEMA, "bike": bike, "courses": [_block(one) for one in series]}


def _block(one: Series) -> dict[str, Any]:
    due, found = one.result.due, one.result.trend
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
        "state": None if due is None else due.state,
        "earliest": _day(None if due is None else due.earliest_day),
        "latest": _day(None if due is None else due.latest_day),
        "because": series_sentences(one),
    }


def _day(day: float | None) -> str | None:
    return None if day is None else date.fromordinal(int(day)).isoformat()
