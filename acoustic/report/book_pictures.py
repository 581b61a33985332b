"""Pictures from the book: a trend over the visits."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from numpy.typing import NDArray

from acoustic.report.glyphs import any_letters
from acoustic.report.picture import ACCENT, FAINT, INK, drawing
from acoustic.report.whole_file import whole_file
from acoustic.trend.due import due_sentence
from acoustic.trend.series import Series
from acoustic.trend.wear import Wear

MARKERS = "osD^vP*X"
TREND_IN = (4.4, 5.2)  # 390 pixels wide it shows 1.2 pixels a point
FONT_PT = 10  # 12 pixels there, the smallest that is read with ease; judgement
LEGEND_LETTERS, TITLE_LETTERS = 46, 40  # as many fit the width
DOTS_PER_INCH = 200  # sharp on a phone and in print
PLACES = 60  # along the course: no corner is seen
LEAST_AHEAD_DAYS = 30.0  # the shortest range can then be seen
ROOM = 0.12  # of the picture's height beyond the points; half of it to their sides
WORK_LINES = {"service": "--", "replacement": "-"}


def series_figure(one: Series, *, title: str, unit: str) -> Figure:
    """Draw every point, the work on the bearing, the range of the course, the next grade, today and the due range.

    Nothing is written among the points: what each sign means stands below, so that no word covers one. It is as
    wide as a phone, so that its words can be read there.

    Parameters
    ----------
    one : Series
    title, unit : str

    Returns
    -------
    matplotlib.figure.Figure
    """
    with drawing(font_size_pt=FONT_PT):
        figure = Figure(figsize=TREND_IN, layout="constrained", facecolor="white")
        axes = figure.subplots()
        _points(axes, one)
        _works(axes, one)
        if isinstance(one.result.wear, Wear):
            _course(axes, one, one.result.wear)
        axes.axvline(_date(one.today), color=INK, linewidth=1.0, linestyle=(0, (1, 2)), label="today")
        _limit(axes, one)
        axes.xaxis_date()
        locator = AutoDateLocator(minticks=2, maxticks=7)  # type: ignore[no-untyped-call]
        axes.xaxis.set_major_locator(locator)
        axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
        _frame(axes, one)
        axes.set_title(textwrap.fill(title, TITLE_LETTERS), loc="left")
        axes.set_ylabel(unit)
        axes.spines[["top", "right"]].set_visible(False)
        figure.legend(loc="outside lower left", frameon=False)
        return figure


def _points(axes: Axes, one: Series) -> None:
    """Each group by a marker of its own, filled where the trend rests on it."""
    names = sorted({point.group for point in one.points})
    taken = one.result.taken
    for name, marker in zip(names, MARKERS * (1 + len(names) // len(MARKERS)), strict=False):
        some = [point for point in one.points if point.group == name]
        kept = taken is not None and taken.group.name == name
        axes.plot(
            [_date(point.day) for point in some],
            [point.value for point in some],
            linestyle="none",
            marker=marker,
            markersize=6,
            color=INK if kept else "white",
            markeredgecolor=INK,
            zorder=3,
            label=_wrapped(name if kept else f"{name} (not compared)"),
        )


def _works(axes: Axes, one: Series) -> None:
    """What was done to the bearing, each kind of work with a line of its own."""
    first = min(point.day for point in one.points)
    for work, style in WORK_LINES.items():
        days = [event.day for event in one.events if event.work == work and event.day >= first]
        for number, day in enumerate(days):
            label = f"{work} done" if number == 0 else None
            axes.axvline(_date(day), color=FAINT, linewidth=1.6, linestyle=style, zorder=1, label=label)


def _last_shown(one: Series) -> float:
    """The last day in the picture: past the likeliest day, else no further ahead than the visits reach back."""
    due, since = one.result.due, one.today - min(point.day for point in one.points)
    ahead = max(since, LEAST_AHEAD_DAYS)
    if due is None or due.earliest is None:
        return one.today + LEAST_AHEAD_DAYS
    likeliest = due.today if due.likeliest is None else due.likeliest
    latest = np.inf if due.latest is None else due.latest
    return min(max(likeliest + LEAST_AHEAD_DAYS, one.today + ahead), latest + LEAST_AHEAD_DAYS)


def _frame(axes: Axes, one: Series) -> None:
    """Points, limit and the days ahead, with room to every side."""
    values = [point.value for point in one.points] + ([] if one.limit is None else [one.limit])
    first, last = _date(min(point.day for point in one.points)), _date(_last_shown(one))
    room, room_days = ROOM * ((max(values) - min(values)) or abs(max(values)) or 1.0), ROOM / 2 * (last - first)
    axes.set_ylim(min(values) - room, max(values) + room)
    axes.set_xlim(first - room_days, last + room_days)


def _course(axes: Axes, one: Series, wear: Wear) -> None:
    """The likeliest course from the onset on, and the hatched range that holds the true one."""
    first = wear.visits[0 if wear.onset is None else wear.onset.likeliest].day
    days = np.linspace(first, _last_shown(one), PLACES)
    # Where a date is told, those that rise: the middle then meets the limit on the likeliest day.
    due = one.result.due is not None and one.result.due.earliest is not None
    courses = wear.values_at(days)[:, wear.draws.rising] if due else wear.values_at(days)
    low, middle, high = np.quantile(courses, [0.05, 0.5, 0.95], axis=1)
    at = _dates(days)
    axes.plot(at, middle, color=ACCENT, zorder=2, label="likeliest course")
    label = "hatched: holds the true course\nnine times in ten"
    axes.fill_between(at, low, high, facecolor="none", edgecolor=ACCENT, hatch="///", linewidth=0, label=label)


def _limit(axes: Axes, one: Series) -> None:
    """Where the next grade begins, and on that line the range in which it is due."""
    if one.limit is None:
        return
    said = f"{one.next_grade} from here on ({one.limit:.3g})"
    axes.axhline(one.limit, color=ACCENT, linestyle=":", linewidth=1.8, label=said)
    due = one.result.due
    if due is None or due.earliest is None:
        return
    last = _last_shown(one)
    goes_on = due.latest is None or due.latest > last
    ends = [_date(due.earliest), _date(last if goes_on else max(due.latest or 0.0, due.earliest + 1.0))]
    words = due_sentence(due, next_grade=one.next_grade)
    axes.plot(
        ends, [one.limit] * 2, color=ACCENT, linewidth=6, alpha=0.55, solid_capstyle="butt", label=_wrapped(words)
    )
    if goes_on:
        axes.plot(
            ends[1:], [one.limit], ">", color=ACCENT, markersize=9, clip_on=False, label="and on past the picture"
        )
    if due.likeliest is not None:
        likeliest = [_date(due.likeliest)]
        axes.plot(
            likeliest, [one.limit], "d", color="white", markeredgecolor=ACCENT, markersize=8, label="likeliest day"
        )


def _wrapped(text: str) -> str:
    return textwrap.fill(text, LEGEND_LETTERS)


def _date(day: float) -> float:
    return float(_dates([day])[0])


def _dates(days: Sequence[float] | NDArray[np.float64]) -> NDArray[np.float64]:
    """Ordinals as matplotlib counts days, from 1970 on."""
    return np.asarray(days, dtype=float) - date(1970, 1, 1).toordinal()


def save_figure(figure: Figure, path: Path) -> None:
    """Write a figure whole or not at all.

    Raises
    ------
    OSError
        It cannot be written.
    """
    with any_letters(), matplotlib.rc_context({"svg.fonttype": "none"}), whole_file(path) as half_written:
        figure.savefig(half_written, dpi=DOTS_PER_INCH, format=path.suffix[1:].lower())
