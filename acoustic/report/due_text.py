"""What falls due over all bikes, as text and as plain data."""

from __future__ import annotations

from datetime import date
from typing import Literal

import msgspec

from acoustic.book.due import DueBike, DueList, HearAgain
from acoustic.report.layout import paragraphs, sentence
from acoustic.report.trend_text import counted, title
from acoustic.trend.due import due_sentence

NAMED = 5  # bikes that are named beside their number; more would hide what is due; judgement


def due_text(found: DueList, *, within_days: float | None) -> str:
    """Set the list for people, soonest first."""
    lines: list[str] = []
    if not found.due:
        span = "" if within_days is None else f" within {counted(round(within_days), 'day')}"
        lines.append(f"Nothing is shown to fall due{span}.")
    for bike, told in due_sentences(found):
        lines.append(bike)
        lines += paragraphs("", told)
    rest = [
        _counted(found.later, "later"),
        _counted(found.not_rising, "not shown to wear"),
        _counted(found.too_few, "with too few visits to tell"),
    ]
    said = ", ".join(text for text in rest if text)
    if said:
        lines += ["", f"Besides: {said}."]
    return "\n".join(lines)


def due_sentences(found: DueList) -> list[tuple[str, list[str]]]:
    """Every bike that asks for something, and what is said of it; what is due first."""
    told = [
        *((one.bike, _sentences(one)) for one in found.due),
        *((one.bike, _again(one)) for one in found.hear_again),
    ]
    return [(bike, [sentence(text) for text in texts]) for bike, texts in told]


def _counted(bikes: tuple[str, ...], what: str) -> str:
    if not bikes:
        return ""
    names = f" ({', '.join(bikes)})" if len(bikes) <= NAMED else ""
    return f"{counted(len(bikes), 'bike')} {what}{names}"


def _sentences(one: DueBike) -> list[str]:
    last = f"last heard {one.last_visit}"
    if one.standing is not None:
        return [f"the install is not finished. {one.standing.told.advice[0]}", last]
    if one.series is None or one.series.result.due is None:
        served = ["a service was done since, which does not answer that grade"] if one.serviced else []
        return [f"{one.next_grade} is due now, by the grade of the last visit on {one.last_visit}", *served]
    told = due_sentence(one.series.result.due, next_grade=one.next_grade)
    come = one.series.result.next_visit
    hear = "" if come is None else f"; record it again about {date.fromordinal(int(come))}"
    return [f"{told}, by the trend of: {title(one.series.quantity)}", last + hear]


def _again(one: HearAgain) -> list[str]:
    """When to record it again, and why."""
    rises = "" if one.series is None else f", by the trend of: {title(one.series.quantity)}"
    if not one.watched:
        return [f"likely rising, not yet sure; record again about {one.on}{rises}", f"last heard {one.last_visit}"]
    since = f"to be heard again since {one.on}: the visit on {one.last_visit} asked for it"
    return [since, f"likely rising, not yet sure{rises}"] if rises else [since]


class DueBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A bike of which something falls due; dates are null where the last visit's grade asks for it already.

    `of` is what the trend follows, null by the last visit; `latest` is null too where the range has an open end.
    """

    bike: str
    next: str
    by: Literal["last visit", "install", "trend"]
    state: Literal["due", "already there"]
    of: str | None
    earliest: str | None
    likeliest: str | None
    latest: str | None
    last_visit: str
    next_visit: str | None


class AgainBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A bike to record again, on or since a day: its last grade was to watch it, or something likely rises.

    `of` is what likely rises, null where nothing does.
    """

    bike: str
    on: str
    by: Literal["last visit", "trend"]
    of: str | None
    last_visit: str


class DueDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic due --json` prints: what falls due, soonest first, and the bikes of which nothing is told."""

    schema: Literal["acoustic.due/1"]
    today: str
    within_days: float | None
    due: tuple[DueBlock, ...]
    hear_again: tuple[AgainBlock, ...]
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
        hear_again=tuple(map(_again_block, found.hear_again)),
        later=len(found.later),
        not_rising=found.not_rising,
        too_few=found.too_few,
    )


def _again_block(one: HearAgain) -> AgainBlock:
    return AgainBlock(
        bike=one.bike,
        on=one.on.isoformat(),
        by="last visit" if one.watched else "trend",
        of=None if one.series is None else one.series.quantity,
        last_visit=one.last_visit.isoformat(),
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
