"""What the book adds to a bike's page: its trend, its install, its visits."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.book.records import Fitted, Visit
from acoustic.install.spins import Told, drags_more, runs_clean, what_the_seat_did
from acoustic.report.book_pictures import series_figure
from acoustic.report.layout import sentence
from acoustic.report.page import Section, svg_of
from acoustic.report.trend_text import SEVERITY, UNIT, series_sentences, title
from acoustic.trend.series import Series


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
    found = [*_due(series), *_compared(visits), *_seat(visits), *map(_one_series, series)]
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
    newest = {visit.kind: visit for visit in visits if visit.verdicts}
    sections = []
    if "free" in newest and "pressed" in newest:
        pair = ([judged.check for judged in newest[kind].verdicts] for kind in ("free", "pressed"))
        days = f"{newest['free'].on_date} in the hand, {newest['pressed'].on_date} in its seat"
        sections.append(_told("Before and after pressing", days, what_the_seat_did(*pair)))
    if "final" in newest:
        final = newest["final"]
        told = runs_clean(final.verdicts[-1].check)
        sections.append(_told("Final spin of the install", str(final.on_date), told))
    return sections


def _told(heading: str, when: str, told: Told) -> Section:
    return Section(heading, (f"{told.outcome.capitalize()} ({when}).", *told.reasons, *told.advice))


def _one_series(one: Series) -> Section:
    heading, told = title(one.quantity).capitalize(), tuple(map(sentence, series_sentences(one)))
    if one.unchanged:
        return Section(heading, told)
    return Section(heading, told, svg_of(series_figure(one, title=heading, unit=UNIT.get(one.quantity, SEVERITY))))


def _history(visits: Sequence[Visit], bearings: Sequence[Fitted]) -> Section:
    """Every visit and every bearing on a line each."""
    lines = [
        f"{visit.on_date}: {visit.kind}, {', '.join(judged.grade for judged in visit.verdicts) or 'no recording'}"
        + (f"; {visit.done}" if visit.done != "nothing" else "")
        + (f"; {visit.distance_km:g} km" if visit.distance_km is not None else "")
        for visit in visits
    ]
    for one in bearings:
        name = " ".join(word for word in (one.designation or "bearing", one.seal, one.shell) if word)
        out = f", out {one.removed_on} ({one.removed_because})" if one.removed_on else ""
        lines.append(f"{one.installed_on}: {name} fitted{out}")
    return Section("Visits and bearings", tuple(sorted(lines)))
