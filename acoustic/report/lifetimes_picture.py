"""The picture of lifetimes."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.figure import Figure

from acoustic.lifetimes.kinds import Lifetimes
from acoustic.report.picture import FAINT, INK
from acoustic.text import MONTH

# One for each of the most kinds that are compared: full, then dashes and points.
LINES: tuple[tuple[int, tuple[float, ...]], ...] = (
    *((0, marks) for marks in ((), (5, 2), (1, 1.5), (7, 2, 1, 2))),
    *((0, marks) for marks in ((2, 2), (12, 3), (7, 2, 1, 2, 1, 2), (3, 5))),
)
SIZE_IN = (4.4, 5.2)  # as wide as a phone, where its words can be read (judgement)
FONT_PT = 10  # 12 pixels there (judgement)
LETTERS = 46  # of a name in the legend, as many as fit the width
# What the axis counts in, for each measure, and how much of the measure that is.
AXES = {
    "days": ("months in the bike", MONTH.days),
    "km": ("1000 km in the bike", 1000.0),
    "rides": ("rides in the bike", 1.0),
}


def lifetimes_figure(told: Lifetimes, *, title: str) -> Figure:
    """Draw the share of bearings still good over time; a line style of its own each kind.

    Parameters
    ----------
    told : Lifetimes
    title : str

    Returns
    -------
    matplotlib.figure.Figure
    """
    name, unit = AXES[told.measure]
    figure = Figure(figsize=SIZE_IN, layout="constrained", facecolor="white")
    axes = figure.subplots()
    for number, (kind, curve) in enumerate(told.curves.items()):
        at = np.concatenate([[0.0], curve.at]) / unit
        share = np.concatenate([[1.0], curve.share])
        label = textwrap.fill(f"{kind} ({curve.ended} of {curve.lives} worn out)", LETTERS)
        style = LINES[number]
        axes.step(at, 100 * share, where="post", color=INK, linestyle=style, linewidth=1.8, label=label)
        gone = curve.ends == 0
        axes.plot(
            curve.at[gone] / unit, 100 * curve.share[gone], linestyle="none", marker="|", color=INK, markersize=9
        )
    axes.axhline(50, color=FAINT, linewidth=1)
    axes.annotate("half", (0.005, 50), xycoords=("axes fraction", "data"), va="bottom", fontsize=FONT_PT)
    axes.set_ylim(0, 103)
    axes.set_xlim(left=0)
    axes.set_xlabel(f"{name}\n(a tick: out of sight, not worn)", fontsize=FONT_PT)
    axes.set_ylabel("still good [%]", fontsize=FONT_PT)
    axes.set_title(title, loc="left", fontsize=FONT_PT)
    axes.tick_params(labelsize=FONT_PT)
    figure.legend(loc="outside lower left", frameon=False, fontsize=FONT_PT)  # no word covers a curve
    return figure
