"""Pictures from the book: a trend over the visits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from acoustic.report.glyphs import any_letters
from acoustic.report.picture import ACCENT, FAINT, INK
from acoustic.report.whole_file import whole_file
from acoustic.trend.points import Event, Point
from acoustic.trend.result import TrendResult
from acoustic.trend.slope import Trend

MARKERS = "osD^vP*X"


def series_figure(
    result: TrendResult,
    points: Sequence[Point],
    events: Sequence[Event],
    *,
    title: str,
    unit: str,
    limit: float | None,
) -> Figure:
    """Draw every point, the work on the bearing, the line through the last segment and its limit.

    Parameters
    ----------
    result : TrendResult
    points : sequence of Point
        Of all segments and groups; a marker of its own each group.
    events : sequence of Event
    title, unit : str
    limit : float or None
        Where the next grade begins.

    Returns
    -------
    matplotlib.figure.Figure
    """
    figure = Figure(figsize=(9, 4.6), layout="constrained", facecolor="white")
    axes = figure.subplots()
    names = sorted({point.group for point in points})
    for name, marker in zip(names, MARKERS * (1 + len(names) // len(MARKERS)), strict=False):
        some = [point for point in points if point.group == name]
        kept = result.taken is not None and result.taken.group.name == name
        axes.plot(
            _dates([point.day for point in some]),
            [point.value for point in some],
            linestyle="none",
            marker=marker,
            markersize=7,
            color=INK if kept else "white",
            markeredgecolor=INK,
            label=name if kept else f"{name} (not compared)",
        )
    first = min((point.day for point in points), default=0.0)
    for event in events:
        if event.day >= first:
            _mark(axes, event)
    if isinstance(result.trend, Trend):
        _line(axes, result.trend)
    if limit is not None:
        axes.axhline(limit, color=ACCENT, linestyle=":", linewidth=1.6)
        axes.annotate(
            "next grade from here", (0.995, limit), xycoords=("axes fraction", "data"), ha="right", va="bottom"
        )
    axes.xaxis_date()
    axes.set_title(title, loc="left")
    axes.set_ylabel(unit)
    axes.legend(loc="best", frameon=False, fontsize=8)
    axes.tick_params(axis="x", rotation=25)
    return figure


def _dates(days: Sequence[float] | NDArray[np.float64]) -> NDArray[np.float64]:
    """Ordinals as matplotlib counts days, from 1970 on."""
    return np.asarray(days, dtype=float) - date(1970, 1, 1).toordinal()


def _mark(axes: Axes, event: Event) -> None:
    (day,) = _dates([event.day])
    axes.axvline(day, color=FAINT, linewidth=1.2)
    axes.annotate(
        event.work, (day, 0.98), xycoords=("data", "axes fraction"), rotation=90, va="top", ha="right", fontsize=8
    )


def _line(axes: Axes, trend: Trend) -> None:
    days = np.linspace(trend.visits[0].day, trend.visits[-1].day, 50)
    since = days - trend.middle_day
    middle = trend.level + trend.per_day.value * since
    over = (trend.per_day.high - trend.per_day.value) * np.abs(since)
    under = (trend.per_day.value - trend.per_day.low) * np.abs(since)
    at = _dates(days)
    axes.plot(at, middle, color=ACCENT, label="rate, with its nine-in-ten range")
    low, high = middle - np.hypot(trend.level_half_width, under), middle + np.hypot(trend.level_half_width, over)
    axes.fill_between(at, low, high, facecolor="none", edgecolor=ACCENT, hatch="//", linewidth=0)


def save_figure(figure: Figure, path: Path) -> None:
    """Write a figure whole or not at all.

    Raises
    ------
    OSError
        It cannot be written.
    """
    with any_letters(), matplotlib.rc_context({"svg.fonttype": "none"}), whole_file(path) as half_written:
        figure.savefig(half_written, dpi=120, format=path.suffix[1:].lower())
