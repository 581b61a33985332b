"""A bike's trends as text and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Literal

import msgspec

from acoustic.conditions import table
from acoustic.report.layout import paragraphs, sentence
from acoustic.trend.due import Due, due_km_sentence, due_sentence
from acoustic.trend.series import DRAG, Series
from acoustic.trend.step import Step, step_sentence
from acoustic.trend.wear import Range, Wear

UNIT = {DRAG: "loss of speed at one turn/s [turns/s²]"}
SEVERITY = "severity [dB]"
# The mean month of the Julian year.
MONTH_DAYS = 365.25 / 12
UNCHANGED = "unchanged"
PER_1000 = 1000.0  # km that a rate is told in


def title(quantity: str) -> str:
    """A quantity in words."""
    return "drag of the hand-spun crank" if quantity == DRAG else table().conditions[quantity].name


def counted(count: int, noun: str) -> str:
    """A number of things, as '1 visit' or '2 visits'."""
    return f"{count} {noun}" + ("" if count == 1 else "s")


def trend_text(bike: str, series: Sequence[Series], *, visits: int) -> str:
    """Set the trends for people."""
    head = f"{bike}: {counted(visits, 'visit')}"
    if not series:
        if not visits:
            return f"{bike}: no visits yet. Add one with: acoustic visit add --bike NAME RECORDING"
        return f"{head}, and nothing to follow: no condition was found, no drag measured."
    lines = [head, ""]
    for one in series:
        lines.append(_heading(one.quantity))
        lines += paragraphs("", map(sentence, series_sentences(one)))
        lines.append("")
    return "\n".join(lines[:-1])


def _heading(quantity: str) -> str:
    """A quantity's name, and what is heard of it where the name does not say that."""
    noise = "" if quantity == DRAG else table().conditions[quantity].noise
    return title(quantity).capitalize() + (f" ({noise})" if noise else "")


def series_sentences(one: Series) -> list[str]:
    """All that is said of a trend, what is due first."""
    if one.unchanged:
        return [UNCHANGED]
    result, wear = one.result, one.result.wear
    if not isinstance(wear, Wear):
        due = "" if result.due is None else due_sentence(result.due, next_grade=one.next_grade)
        return [due or wear.sentence, *_rests_on(one)]
    told = [_last_alone(one, wear)]
    told.append("" if result.due is None else due_sentence(result.due, next_grade=one.next_grade))
    told.append("" if result.due_km is None else due_km_sentence(result.due_km, next_grade=one.next_grade))
    told += [_rate(one, wear), _onset(one, wear), result.km_problem]
    told.append(step_sentence(result.step, unit=_unit(one)))
    if result.next_visit is not None:
        sure = result.due is not None and result.due.state != "likely rising"
        day = _day(result.next_visit)
        told.append(
            f"the next visit would narrow this most about {day}"
            if sure
            else f"record it again about {day}: if it rises, that visit is the one to settle it"
        )
    return [text for text in told if text] + _rests_on(one)


def _rests_on(one: Series) -> list[str]:
    """Which recordings, and since when."""
    result = one.result
    told = [] if result.taken is None else [result.taken.sentence]
    since = result.segment.since
    if since is not None:
        work = "it was fitted" if since.first else f"the {since.work}"
        told.append(f"counted since {work} on {_day(since.done_on)}")
    return told


def _last_alone(one: Series, wear: Wear) -> str:
    """Where the last recording is past the limit, and the visits together do not show it."""
    past = one.limit is not None and wear.visits[-1].value >= one.limit
    if not past or one.result.due is None or one.result.due.state == "already there":
        return ""
    return (
        f"the last recording alone reads past the limit for {one.next_grade}, which the visits together do not "
        "settle: go by its own grade, and record again"
    )


def _rate(one: Series, wear: Wear) -> str:
    said = f"now {_between(wear.rate.times(MONTH_DAYS), _unit(one), 'a month')}"
    if one.result.wear_km is not None:
        said += f", {_between(one.result.wear_km.rate.times(PER_1000), _unit(one), 'in 1000 km')}"
    return said


def _between(rate: Range, unit: str, per: str) -> str:
    return f"{rate.value:+.2g} {unit} {per} (between {rate.low:+.2g} and {rate.high:+.2g})"


def _onset(one: Series, wear: Wear) -> str:
    onset, taken = wear.onset, one.result.taken
    if onset is None or taken is None:
        return ""
    after, before = wear.visits[onset.after].day, wear.visits[onset.before].day
    count = len({int(point.day) for point in taken.points if int(point.day) <= after})
    clean = "the first visit is no point" if count == 1 else f"the first {count} visits are no points"
    return f"it began between the visits of {_day(after)} and {_day(before)}; {clean} of the rate"


def _unit(one: Series) -> str:
    return "turns/s²" if one.quantity == DRAG else "dB"


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
    """Change in a month or in 1000 km: the likeliest, and the range that holds the true one nine times in ten."""

    likely: float
    least: float
    most: float


class KilometreBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The due range by the bike's own count [km]; null where an end is open."""

    earliest: float | None
    likeliest: float | None
    latest: float | None


class OnsetBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The visits between which damage started, nine times in ten."""

    after: str | None
    before: str | None


class UnenteredStepBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A step that no work explains: between which visits, by how much, and how likely it is."""

    after: str | None
    before: str | None
    change: float
    probability: float


class CourseBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One quantity over the visits; null where there is no trend, or no next grade.

    `rising` is the probability that it rises at all; the dates are the ends of the range that holds the true day
    nine times in ten, and the likeliest.
    """

    of: str
    unit: Literal["dB", "turns/s2"]
    points: tuple[TrendPoint, ...]
    work: tuple[WorkBlock, ...]
    a_month: RateBlock | None
    a_1000_km: RateBlock | None
    rising: float | None
    onset: OnsetBlock | None
    step: UnenteredStepBlock | None
    limit: float | None
    next: str | None
    state: Literal["due", "already there", "likely rising", "not rising", "not enough visits"] | None
    earliest: str | None
    likeliest: str | None
    latest: str | None
    km: KilometreBlock | None
    next_visit: str | None
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
    result, due = one.result, one.result.due or Due("not rising", one.today)
    wear = result.wear if isinstance(result.wear, Wear) else None
    return CourseBlock(
        of=one.quantity,
        unit="turns/s2" if one.quantity == DRAG else "dB",
        points=tuple(
            TrendPoint(on=_day(point.day), value=point.value, km=point.km, group=point.group)
            for point in one.points
        ),
        work=tuple(dict.fromkeys(WorkBlock(on=_day(event.done_on), work=event.work) for event in one.events)),
        a_month=None if wear is None else _rate_block(wear.rate.times(MONTH_DAYS)),
        a_1000_km=None if result.wear_km is None else _rate_block(result.wear_km.rate.times(PER_1000)),
        rising=None if wear is None else wear.rising_chance,
        onset=None if wear is None else _onset_block(wear),
        step=_step_block(result.step),
        limit=one.limit,
        next=one.next_grade or None,
        state=None if result.due is None else due.state,
        earliest=_day(due.earliest),
        likeliest=_day(due.likeliest),
        latest=_day(due.latest),
        km=_km_block(result.due_km),
        next_visit=_day(result.next_visit),
        because=tuple(series_sentences(one)),
    )


def _rate_block(rate: Range) -> RateBlock:
    return RateBlock(likely=rate.value, least=rate.low, most=rate.high)


def _onset_block(wear: Wear) -> OnsetBlock | None:
    onset = wear.onset
    if onset is None:
        return None
    return OnsetBlock(after=_day(wear.visits[onset.after].day), before=_day(wear.visits[onset.before].day))


def _step_block(step: object) -> UnenteredStepBlock | None:
    if not isinstance(step, Step) or not step.found:
        return None
    after, before = _day(step.last_day_before), _day(step.first_day_after)
    return UnenteredStepBlock(after=after, before=before, change=step.change, probability=step.probability)


def _km_block(due: Due | None) -> KilometreBlock | None:
    if due is None or due.earliest is None:
        return None
    return KilometreBlock(earliest=due.earliest, likeliest=due.likeliest, latest=due.latest)


def _day(day: float | None) -> str | None:
    return None if day is None else date.fromordinal(int(day)).isoformat()
