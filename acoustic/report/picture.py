"""A check in pictures: the recording, the crank's speed, the order spectrum with named lines."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path
from typing import Literal

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from acoustic.conditions import table
from acoustic.dsp.geometry import defect_orders
from acoustic.model import Analysis, Features, Finding, Motion, Recording
from acoustic.report.glyphs import any_letters
from acoustic.report.whole_file import whole_file

INK, FAINT, ACCENT = "#2b2a33", "#b9b4a7", "#6b3fa0"
STYLES = {"outer_raceway": "-", "inner_raceway": "--", "ball": "-.", "cage": ":"}
# Shows two harmonics of the highest order and what surrounds them.
SHOWN_TURNS_HARMONICS = 2.6
# As many as the picture has pixels across.
COLUMNS = 1600
SIZE_IN = (10, 9.2)  # fits a printed page


def drawing(*, font_size_pt: float) -> AbstractContextManager[None]:
    """Draw and save within this: the settings that every picture shares, and no one else's changed."""
    return matplotlib.rc_context({"axes.edgecolor": INK, "svg.fonttype": "none", "font.size": font_size_pt})


def save_picture(result: Analysis, path: Path) -> None:
    """Draw the three panels and write them.

    Parameters
    ----------
    result : Analysis
        With a features.
    path : Path
        Ending in .png or .svg.

    Raises
    ------
    ValueError
        The analysis stopped before anything was judged.
    """
    figure = Figure(figsize=SIZE_IN, layout="constrained", facecolor="white")
    draw_check(result, figure)
    with any_letters(), drawing(font_size_pt=10), whole_file(path) as half_written:
        figure.savefig(half_written, dpi=120, format=path.suffix[1:].lower())


def draw_check(result: Analysis, figure: Figure) -> None:
    """Draw recording, speed and order spectrum into an empty figure; refuses as `save_picture`."""
    if result.features is None:
        raise ValueError("nothing was heard, so there is nothing to draw")
    with drawing(font_size_pt=10):
        top, middle, bottom = figure.subplots(3, 1, height_ratios=[1.0, 0.8, 1.5])
        figure.suptitle(
            f"{result.verdict.level.upper()}: {result.verdict.because[0]}\n"
            f"{result.recording.path.name}, bearing {result.bearing.designation}",
            x=0.01,
            ha="left",
            fontsize=12,
            parse_math=False,  # a file's name may hold dollar signs
        )
        draw_recording(top, result.recording, result.features.motion)
        draw_speed(middle, result.features.motion, duration_s=result.recording.duration_s)
        draw_orders(bottom, result.features, result.findings)


def draw_recording(axes: Axes, recording: Recording, motion: Motion | None, *, judged: bool = True) -> None:
    """Draw loudest and quietest sample of every column; mark the turning and still parts, where they are known."""
    sound = recording.heard
    columns = min(COLUMNS, sound.size)
    used = sound[: sound.size // columns * columns].reshape(columns, -1)
    times_s = (np.arange(columns) + 0.5) * used.shape[1] / recording.sample_rate_hz
    axes.fill_between(times_s, used.min(axis=1), used.max(axis=1), color=INK, linewidth=0)
    limit = float(np.abs(used).max()) * 1.25
    axes.set_ylim(-limit, limit)
    axes.set_xlim(0, recording.duration_s)
    if motion is not None:
        _stretch(axes, motion.start_s, motion.stop_s, "turning, judged" if judged else "turning", hatch="")
        for start_s, stop_s in motion.still:
            _stretch(axes, start_s, stop_s, "still: the room", hatch="///")
    axes.set_title("Recording", loc="left")
    axes.set_ylabel("sound, share\nof full scale")
    axes.set_xlabel("time [s]")


def _stretch(axes: Axes, start_s: float, stop_s: float, label: str, *, hatch: str) -> None:
    """Shade or hatch a stretch of time; a hatched one's label stands below, clear of its neighbour's."""
    axes.axvspan(start_s, stop_s, facecolor="none" if hatch else "#efeaf7", edgecolor=FAINT, hatch=hatch, zorder=0)
    middle_s, end_s = (start_s + stop_s) / 2, axes.get_xlim()[1]
    side: Literal["left", "center", "right"] = (
        "left" if middle_s < 0.1 * end_s else "right" if middle_s > 0.9 * end_s else "center"
    )
    axes.annotate(
        label,
        ({"left": start_s, "center": middle_s, "right": stop_s}[side], 0.03 if hatch else 0.97),
        xycoords=("data", "axes fraction"),
        ha=side,
        va="bottom" if hatch else "top",
        fontsize=8,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
    )


def draw_speed(axes: Axes, motion: Motion, *, duration_s: float) -> None:
    """Draw the crank's speed over the recording, and the speed marker's own clicks."""
    axes.plot(motion.times_s, motion.speed_hz * 60, color=INK)
    if motion.own_clicks_s.size:
        axes.plot(motion.own_clicks_s, np.zeros(motion.own_clicks_s.size), "|", color=ACCENT, markersize=12)
        axes.annotate("ticks", (motion.own_clicks_s[0], 0), xytext=(4, 8), textcoords="offset points", fontsize=8)
    axes.set_xlim(0, duration_s)
    axes.set_ylim(0, float(motion.speed_hz.max()) * 60 * 1.15)
    axes.set_title(f"Crank speed, from {motion.label}: {motion.total_turns:.1f} turns", loc="left")
    axes.set_ylabel("turns a minute")
    axes.set_xlabel("time [s]")


def draw_orders(axes: Axes, features: Features, findings: tuple[Finding, ...]) -> None:
    """Draw the order spectrum of the run of bands that the surest finding rests on."""
    row = _telling_row(features, findings)
    spectra = features.spectra
    balls = next((f.evidence.balls for f in findings if f.detected and f.evidence.balls), None)
    geometry = next((g for g in features.bearing.candidates if g.balls == balls), features.bearing.geometry)
    orders = defect_orders(geometry)
    top = SHOWN_TURNS_HARMONICS * max(orders.inner_raceway, orders.ball)
    shown = spectra.orders <= top
    heights = np.sqrt(spectra.power[row, shown])
    axes.plot(spectra.orders[shown], heights, color=INK, linewidth=0.9)
    axes.set_xlim(0, top)
    axes.set_ylim(0, max(6.0, float(heights[spectra.orders[shown] > 0.3].max())) * 1.45)
    found = {finding.condition: finding for finding in findings if finding.evidence.expected_order}
    for level, (part, style) in enumerate(STYLES.items()):
        _expected(axes, part, getattr(orders, part), style, level, found.get(part), top)
    low_hz, high_hz = features.bank.edges_hz(*spectra.groups[row])
    axes.set_title(f"Rhythm of the sound from {low_hz:.0f} to {high_hz:.0f} Hz", loc="left")
    axes.set_xlabel("events a crank turn")
    axes.set_ylabel("height over the noise\nfloor (1 = noise)")


def _expected(
    axes: Axes, part: str, order: float, style: str, level: int, finding: Finding | None, top: float
) -> None:
    """Mark where a part's lines are expected, named in words; a detected one heavier, and where it was heard."""
    detected = finding is not None and finding.detected
    color = ACCENT if detected else FAINT
    base = finding.evidence.order if detected and finding is not None and finding.evidence.order else order
    most = 1 if base < 1.0 else int(top / base)  # of what keeps the cage's pace the others would hide everything
    for harmonic in range(1, most + 1):
        axes.axvline(harmonic * base, color=color, linestyle=style, linewidth=1.8 if detected else 1.0, zorder=0)
    text = f"{table().conditions[part].name} {base:.2f}" + (" heard" if detected else "")
    axes.annotate(
        text,
        (base, 0.97 - 0.075 * level),
        xycoords=("data", "axes fraction"),
        xytext=(3, 0),
        textcoords="offset points",
        va="top",
        fontsize=9,
        fontweight="bold" if detected else "normal",
        color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
    )


def _telling_row(features: Features, findings: tuple[Finding, ...]) -> int:
    detected = {finding.condition for finding in findings if finding.detected}
    telling = [part for part in features.parts if part.part in detected] or list(features.parts)
    return max(telling, key=lambda part: (part.posterior, -part.chance)).group
