"""What falls due over all bikes, as text and as plain data."""

from __future__ import annotations

from datetime import date
from typing import Literal

import msgspec

from acoustic.book.due import DueBike, DueList
from acoustic.report.layout import paragraphs, sentence
from acoustic.report.trend_text import counted, title
from acoustic.trend.due import due_sentence


def due_text(found: DueList, *, within_days: float | None) -> str:
    """Set the list for people, soonest first."""
    lines: list[str] = []
    for one in found.due:
        lines.append(one.bike)
        lines += paragraphs("", due_sentences(one))
    if not found.due:
        span = "" if within_days is None else f" within {counted(round(within_days), 'day')}"
        lines.append(f"Nothing is shown to fall due{span}.")
    rest = [
        f"{counted(found.later, 'bike')} later" if found.later else "",
        f"{counted(len(found.not_rising), 'bike')} not shown to wear" if found.not_rising else "",
        f"{counted(len(found.too_few), 'bike')} with too few visits to tell" if found.too_few else "",
    ]
    said = ", ".join(text for text in rest if text)
    if said:
        lines += ["", f"Besides: {said}."]
    return "\n".join(lines)


def due_sentences(one: DueBike) -> list[str]:
    """What is said of one bike that falls due."""
    return [sentence(text) for text in _told(one)]


def _told(one: DueBike) -> list[str]:
    last = f"last heard {one.last_visit}"
    if one.series is None or one.series.result.due is None:
        return [f"{one.next_grade} is due now, by the grade of the last visit on {one.last_visit}"]
    told = due_sentence(one.series.result.due, next_grade=one.next_grade)
    come = one.series.result.next_visit
    hear = "" if come is None else f"; record it again about {date.fromordinal(int(come))}"
    return [f"{told}, by the trend of: {title(one.series.quantity)}", last + hear]


class DueBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A bike of which something falls due; dates are null where the last visit's grade asks for it already.

    `of` is what the trend follows, null by the last visit; `latest` is null too where the range has an open end.
    """

    bike: str
    next: str
    by: Literal["last visit", "trend"]
    state: Literal["due", "already there"]
    of: str | None
    earliest: str | None
    likeliest: str | None
    latest: str | None
    last_visit: str
    next_visit: str | None


class DueDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic due --json` prints: what falls due, soonest first, and the bikes of which nothing is told."""

    schema: Literal["acoustic.due/1"]
    today: str
    within_days: float | None
    due: tuple[DueBlock, ...]
    later: int
    not_rising: tuple[str, ...]
    too_few: tuple[str, ...]


def due_document(found: DueList, today: date, within_days: float | None) -> DueDocument:
    """The list as it is written."""
    return DueDocument(
        schema="acoustic.due/1",
        today=today.isoformat(),
        within_days=within_days,
        due=tuple(map(_block, found.due)),
        later=found.later,
        not_rising=found.not_rising,
        too_few=found.too_few,
    )


def _block(one: DueBike) -> DueBlock:
    due = None if one.series is None else one.series.result.due
    return DueBlock(
        bike=one.bike,
        next=one.next_grade,
        by=one.by,
        state="due" if due is not None and due.state == "due" else "already there",
        of=None if one.series is None else one.series.quantity,
        earliest=None if due is None else _day(due.earliest),
        likeliest=None if due is None else _day(due.likeliest),
        latest=None if due is None else _day(due.latest),
        last_visit=one.last_visit.isoformat(),
        next_visit=None if one.series is None else _day(one.series.result.next_visit),
    )


def _day(day: float | None) -> str | None:
    return None if day is None else date.fromordinal(int(day)).isoformat()
