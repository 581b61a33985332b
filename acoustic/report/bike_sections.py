"""What the book adds to a bike's page: its trend, its install, its visits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from acoustic.book.records import Fitted, Visit
from acoustic.install.spins import Told, drags_more, runs_clean, what_the_seat_did
from acoustic.install.standing import Heard, Standing, install_pair, where_it_stands
from acoustic.report.book_pictures import series_figure
from acoustic.report.layout import sentence
from acoustic.report.page import Lead, Section, svg_of
from acoustic.report.trend_text import SEVERITY, UNIT, series_sentences, title
from acoustic.trend.series import Series

HEADINGS = {
    "as before": "pressed in, and running as it did in the hand",
    "rougher": "just pressed in, and rougher than in the hand",
    "rough in the hand": "the new bearing was rough in the hand already",
    "open": "the install is not judged yet",
    "pressed in": "just pressed in",
    "in the hand": "a new bearing in the hand",
    "replaced since": "replaced since it was last heard",
    "clean": "fresh install: clean",
    "not clean": "fresh install: not clean yet",
}
FEWEST_DAYS = 4  # of visits: fewer make no trend, and a chart of them is next to empty


def heard_of(visits: Sequence[Visit]) -> tuple[Heard, ...]:
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


def bike_lead(visits: Sequence[Visit], bearings: Sequence[Fitted]) -> Lead | None:
    """What stands on top of a bike's page: the last thing that counts, where it is not the last grade.

    Parameters
    ----------
    visits : sequence of Visit
        Of one bike, oldest first.
    bearings : sequence of Fitted

    Returns
    -------
    Lead or None
    """
    found = where_it_stands(heard_of(visits), [one.installed_on for one in bearings])
    return None if found is None else lead_of(found)


def lead_of(found: Standing) -> Lead:
    """An install's standing as the page shows it."""
    told = found.told
    return Lead(
        heading=sentence(HEADINGS.get(told.outcome, told.outcome)),
        paragraphs=(found.for_rider,),
        to_do=(found.rider_does,) if found.rider_does else (),
        why=tuple(map(sentence, (told.outcome, *told.reasons))),
        steps=told.advice,
        before_grade=found.before_grade,
        heard="What was heard of the old one" if found.old else "What was heard",
    )


def bike_sections(
    visits: Sequence[Visit], bearings: Sequence[Fitted], series: Sequence[Series]
) -> tuple[Section, ...]:
    """All sections that the book has something for, the customer's first.

    Parameters
    ----------
    visits : sequence of Visit
        Of one bike, oldest first.
    bearings : sequence of Fitted
    series : sequence of Series

    Returns
    -------
    tuple of Section
    """
    lead = bike_lead(visits, bearings)
    # Of a bearing that is out, or not yet in for good, no due day is told.
    goes_on = [] if lead is not None and lead.before_grade else [*_due(series), *_compared(visits)]
    found = [*goes_on, *_seat(visits), *map(_one_series, series)]
    return (*found, _history(visits, bearings))


def _due(series: Sequence[Series]) -> list[Section]:
    """When the next grade is due, in the customer's half."""
    told = [
        sentence(f"{title(one.quantity)}: {series_sentences(one)[0]}") for one in series if one.limit is not None
    ]
    return [Section("How it goes on", tuple(told), half="customer")] if told else []


def _compared(visits: Sequence[Visit]) -> list[Section]:
    """The newest spin against that of the fresh install."""
    finals = [visit for visit in visits if visit.kind == "final" and visit.verdicts]
    checks = [visit for visit in visits if visit.kind == "check" and visit.verdicts]
    if not finals or not checks or checks[-1].on_date < finals[-1].on_date:
        return []
    told = drags_more(checks[-1].verdicts[-1].check, finals[-1].verdicts[-1].check)
    since = f"Compared with the fresh install of {finals[-1].on_date}."
    return [Section("Since it was fitted", (since, told), half="customer")] if told else []


def _seat(visits: Sequence[Visit]) -> list[Section]:
    """What the seat did, and the final spin."""
    heard, sections = heard_of(visits), []
    free, pressed = install_pair(heard) or (None, None)
    if free is not None and pressed is not None:
        days = f"{free.on} in the hand, {pressed.on} in its seat"
        told = what_the_seat_did(free.checks, pressed.checks)
        sections.append(
            _told("Before and after pressing", days, told if heard[-1] is pressed else replace(told, advice=()))
        )
    finals = [one for one in heard if one.kind == "final"]
    if finals:
        told = runs_clean(finals[-1].checks[-1])
        sections.append(_told("Final spin of the install", str(finals[-1].on), told))
    return sections


def _told(heading: str, when: str, told: Told) -> Section:
    return Section(heading, (f"{told.outcome.capitalize()} ({when}).", *told.reasons, *told.advice))


def _one_series(one: Series) -> Section:
    heading, told = title(one.quantity).capitalize(), tuple(map(sentence, series_sentences(one)))
    if one.unchanged or len({point.day for point in one.points}) < FEWEST_DAYS:
        return Section(heading, told)
    return Section(heading, told, svg_of(series_figure(one, title=heading, unit=UNIT.get(one.quantity, SEVERITY))))


def _history(visits: Sequence[Visit], bearings: Sequence[Fitted]) -> Section:
    """Every visit and every bearing on a line each."""
    lines = []
    for one in bearings:
        name = " ".join(word for word in (one.designation or "bearing", one.seal, one.shell) if word)
        out = f", out {one.removed_on} ({one.removed_because})" if one.removed_on else ""
        lines.append(f"{one.installed_on}: {name} fitted{out}")
    lines += [
        f"{visit.on_date}: {visit.kind}, {', '.join(judged.grade for judged in visit.verdicts) or 'no recording'}"
        + (f"; {visit.done}" if visit.done != "nothing" else "")
        + (f"; {visit.distance_km:g} km" if visit.distance_km is not None else "")
        for visit in visits
    ]
    return Section("Visits and bearings", tuple(sorted(lines, key=_day)))


def _day(line: str) -> str:
    return line.partition(":")[0]
