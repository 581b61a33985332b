"""A bike's trends as text and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Literal

import msgspec

from acoustic.conditions import table
from acoustic.report.layout import paragraphs, sentence
from acoustic.trend.due import due_sentence
from acoustic.trend.series import DRAG, Series
from acoustic.trend.slope import Trend
from acoustic.trend.step import step_sentence

UNIT = {DRAG: "loss of speed at one turn/s [turns/s²]"}
# The mean month of the Julian year.
MONTH_DAYS = 365.25 / 12


def title(quantity: str) -> str:
    """A quantity in words."""
    return "drag of the hand-spun crank" if quantity == DRAG else table().conditions[quantity].name


def trend_text(bike: str, series: Sequence[Series], *, visits: int) -> str:
    """Set the trends for people."""
    if not series:
        return f"{bike}: {visits} visits, and nothing in them to follow: no condition was found, no drag measured."
    lines = [f"{bike}: {visits} visits", ""]
    for one in series:
        lines.append(title(one.quantity).capitalize())
        lines += paragraphs("", map(sentence, series_sentences(one)))
        lines.append("")
    return "\n".join(lines[:-1])


def series_sentences(one: Series) -> list[str]:
    """All that is said of a trend, what is due first."""
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


class TrendPoint(msgspec.Struct, frozen=True, kw_only=True):
    """One value of one visit, and the group that it may be compared in."""

    on: str | None
    value: float
    km: float | None
    group: str


class WorkBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A service or replacement."""

    on: str | None
    work: str


class RateBlock(msgspec.Struct, frozen=True, kw_only=True):
    """Change in a month: the likeliest, and the range that holds the true one nine times in ten."""

    likely: float
    least: float
    most: float


class CourseBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One quantity over the visits; null where there is no trend, or no next grade."""

    of: str
    unit: Literal["dB", "turns/s2"]
    points: tuple[TrendPoint, ...]
    work: tuple[WorkBlock, ...]
    a_month: RateBlock | None
    limit: float | None
    next: str | None
    state: str | None
    earliest: str | None
    latest: str | None
    because: tuple[str, ...]


class TrendDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic trend --json` prints."""

    schema: Literal["acoustic.trend/1"]
    bike: str
    courses: tuple[CourseBlock, ...]


def trend_document(bike: str, series: Sequence[Series]) -> TrendDocument:
    """The courses as they are written."""
    return TrendDocument(schema="acoustic.trend/1", bike=bike, courses=tuple(map(_block, series)))


def _block(one: Series) -> CourseBlock:
    due, found = one.result.due, one.result.trend
    slope = found.per_day.times(MONTH_DAYS) if isinstance(found, Trend) else None
    return CourseBlock(
        of=one.quantity,
        unit="turns/s2" if one.quantity == DRAG else "dB",
        points=tuple(
            TrendPoint(on=_day(point.day), value=point.value, km=point.km, group=point.group)
            for point in one.points
        ),
        work=tuple(WorkBlock(on=_day(event.day), work=event.work) for event in one.events),
        a_month=None if slope is None else RateBlock(likely=slope.value, least=slope.low, most=slope.high),
        limit=one.limit,
        next=one.next_grade or None,
        state=None if due is None else due.state,
        earliest=_day(None if due is None else due.earliest_day),
        latest=_day(None if due is None else due.latest_day),
        because=tuple(series_sentences(one)),
    )


def _day(day: float | None) -> str | None:
    return None if day is None else date.fromordinal(int(day)).isoformat()
