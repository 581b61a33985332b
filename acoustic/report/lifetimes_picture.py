"""The picture of lifetimes."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from acoustic.lifetimes.kinds import Lifetimes
from acoustic.report.picture import FAINT, INK
from acoustic.text import MONTH

LINES = ("-", "--", "-.", ":")
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
    figure = Figure(figsize=(9, 4.6), layout="constrained", facecolor="white")
    axes = figure.subplots()
    for number, (kind, curve) in enumerate(told.curves.items()):
        at = np.concatenate([[0.0], curve.at]) / unit
        share = np.concatenate([[1.0], curve.share])
        label = f"{kind} ({curve.ended} of {curve.lives} worn out)"
        style = LINES[number % len(LINES)]
        axes.step(at, 100 * share, where="post", color=INK, linestyle=style, linewidth=1.8, label=label)
        gone = curve.ends == 0
        axes.plot(
            curve.at[gone] / unit, 100 * curve.share[gone], linestyle="none", marker="|", color=INK, markersize=9
        )
    axes.axhline(50, color=FAINT, linewidth=1)
    axes.annotate("half", (0.005, 50), xycoords=("axes fraction", "data"), va="bottom", fontsize=8)
    axes.set_ylim(0, 103)
    axes.set_xlim(left=0)
    axes.set_xlabel(f"{name} (a tick: out of sight, not worn)")
    axes.set_ylabel("still good [%]")
    axes.set_title(title, loc="left")
    axes.legend(loc="best", frameon=False, fontsize=8)
    return figure
