"""A fresh install as one page: the bearing in the hand and the same one in its seat."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from matplotlib.figure import Figure

from acoustic.book.records import Visit
from acoustic.install.spins import ROUGHER_DB, Compared, Told, compared, what_the_seat_did
from acoustic.install.standing import where_it_stands
from acoustic.model import Analysis
from acoustic.report.bike_sections import heard_of, lead_of
from acoustic.report.layout import sentence
from acoustic.report.page import Section, page, svg_of
from acoustic.report.picture import ACCENT, FAINT, INK, drawing

PLACES = ("In the hand", "In its seat")
ROW_INCHES, MARGIN_INCHES, WIDTH_INCHES = 0.42, 1.0, 4.8  # as wide as the page's other pictures


def before_after_page(
    bike: str,
    visits: tuple[Visit, Visit],
    analyses: tuple[Sequence[Analysis], Sequence[Analysis]],
    progress: Callable[[str], None],
    *,
    language: str = "en",
) -> str:
    """Write a bearing in the hand and in its seat as one HTML page.

    Parameters
    ----------
    bike : str
    visits : tuple of Visit
        In the hand, and in its seat.
    analyses : tuple of sequence of Analysis
        Of their recordings, judged again.
    progress : callable
        Gets a line for every piece of work that may take long.
    language : str
        Of the rider's half.

    Returns
    -------
    str
        A whole HTML document that loads nothing; write it as UTF-8.
    """
    free, pressed = heard_of(visits)
    standing = where_it_stands((free, pressed), ())
    names = [
        f"{place}, {visit.on_date}" + (f": {judged.name}" if len(visit.verdicts) > 1 else "")
        for place, visit in zip(PLACES, visits, strict=True)
        for judged in visit.verdicts
    ]
    told = what_the_seat_did(free.checks, pressed.checks)
    section = comparison(told, compared(free.checks, pressed.checks))
    subtitle = f"Fresh install: in the hand on {visits[0].on_date}, in its seat on {visits[1].on_date}"
    lead = None if standing is None else lead_of(standing)
    every = [one for some in analyses for one in some]
    return page(bike, subtitle, every, (section,), progress, lead=lead, names=names, language=language)


def comparison(told: Told, rows: Sequence[Compared]) -> Section:
    """What the seat did, condition by condition, in words and as a picture."""
    heard = [one for one in rows if one.heard_before or one.heard_after]
    lines = [
        f"{sentence(one.name)[:-1]}: {_level(one.before_db, one.heard_before)} in the hand, "
        f"{_level(one.after_db, one.heard_after)} in its seat."
        for one in heard
    ]
    rest = [one.name for one in rows if one not in heard]
    if rest:
        lines.append(f"Heard in neither: {', '.join(rest)}.")
    drawn = [one for one in heard if one.before_db is not None and one.after_db is not None]
    if drawn:
        lines.append(f"Counted as rougher from {ROUGHER_DB:g} dB on.")
    picture = svg_of(_dumbbells(drawn)) if len(drawn) > 1 else ""  # one alone is next to empty
    return Section("Before and after", (sentence(told.outcome), *lines), picture, first=True)


def _level(db: float | None, heard: bool) -> str:
    if db is None:
        return "not judged"
    return f"{'heard' if heard else 'not heard'} ({db:+.0f} dB)".replace("-", "−")


def _dumbbells(rows: Sequence[Compared]) -> Figure:
    """A line a condition, from an open mark in the hand to a full one in the seat."""
    with drawing(font_size_pt=9.5):
        size = (WIDTH_INCHES, MARGIN_INCHES + ROW_INCHES * len(rows))
        figure = Figure(figsize=size, layout="constrained", facecolor="white")
        axes = figure.subplots()
        at = range(len(rows))
        before = [one.before_db or 0.0 for one in rows]
        after = [one.after_db or 0.0 for one in rows]
        axes.hlines(at, before, after, color=FAINT, linewidth=2)
        axes.plot(before, at, "o", color="white", markeredgecolor=INK, markersize=8, label="in the hand")
        axes.plot(after, at, "o", color=ACCENT, markersize=6, label="in its seat")
        axes.set_yticks(list(at), [one.name for one in rows])
        axes.invert_yaxis()
        axes.set_ylim(len(rows) - 0.5, -0.7)
        axes.set_xlabel("severity [dB]; further right is worse")
        figure.legend(loc="outside upper left", ncols=2, frameon=False)
        return figure
