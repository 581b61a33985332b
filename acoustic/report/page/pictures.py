"""The pictures of a check, each by itself, with what it shows in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from acoustic.dsp.quality import can_be_heard
from acoustic.model import Analysis, Motion, Recording
from acoustic.report import facts
from acoustic.report.page.embed import picture_uri, svg_of
from acoustic.report.page.spectrogram import draw_spectrogram, said_of, spectrogram
from acoustic.report.picture import ACCENT, draw_orders, draw_recording, draw_speed, drawing

WIDTH_INCHES = 4.8  # narrow, so that its text can still be read on a phone
SHADES_PER_INCH = 200  # of what is drawn in shades of grey; lines and text have no grain
TURNS_MARKED = "The numbers on the upper edge count whole turns of the crank."
TURNS_UNKNOWN = "How many turns the crank made is not known, so none are marked."


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture on the page.

    Attributes
    ----------
    uri : str
        SVG as a data: URI.
    alt : str
        What it shows, for those who do not see it.
    caption : str
        How to read it.
    """

    uri: str
    alt: str
    caption: str


def pictures(result: Analysis) -> tuple[Picture, ...]:
    """Draw what a check knows: the recording with the crank's speed, the order spectrum.

    Parameters
    ----------
    result : Analysis

    Returns
    -------
    tuple of Picture
        Of a recording that cannot be used, itself at most.
    """
    recording, motion, features = result.recording, result.motion, result.features
    made = []
    if can_be_heard(recording.heard) and float(np.ptp(recording.heard)) > 0:
        judged = result.quality.usable
        speed = features.motion if features is not None and judged else None
        draw = partial(_draw_spin, recording=recording, motion=motion, judged=judged, speed=speed)
        caption = "Shaded: the crank turns. Hatched: it is still, and the noise of the room is heard."
        if speed is not None:
            caption += " Line: the crank's speed."
        made.append(_picture(draw, 2.7, _recording_alt(recording, motion, speed), caption if motion else ""))
    if features is None or not result.quality.usable:
        return tuple(made)
    draw = partial(draw_orders, features=features, findings=result.findings)
    caption = (
        "A damaged part raises many peaks, at its mark and its multiples; a healthy one may raise a peak or two. "
        "A heavy mark says 'heard'; light ones show where the other parts would be."
    )
    made.append(_picture(draw, 2.7, _orders_alt(result), caption))
    return tuple(made)


def pitch_picture(result: Analysis) -> tuple[Picture, ...]:
    """Draw the spin as a spectrogram, which needs librosa.

    Parameters
    ----------
    result : Analysis

    Returns
    -------
    tuple of Picture
        One; none of a recording that cannot be used, or that is too short for it.
    """
    if result.features is None or not result.quality.usable:
        return ()
    motion = result.features.motion
    shown = spectrogram(result.recording, motion)
    if shown is None:
        return ()
    caption = (
        f"Darker is louder, by {-shown.white_db:.0f} dB from white to black. "
        f"Impacts stand upright, hum and tones lie level. {TURNS_MARKED if motion.scale_known else TURNS_UNKNOWN}"
    )
    draw = partial(draw_spectrogram, shown=shown, motion=motion)
    return (_picture(draw, 2.7, said_of(shown, motion), caption),)


def _draw_spin(
    axes: Axes, *, recording: Recording, motion: Motion | None, judged: bool, speed: Motion | None
) -> None:
    """Draw the recording, and over it the crank's speed, which alone would be a line in an empty frame."""
    draw_recording(axes, recording=recording, motion=motion, judged=judged)
    if speed is None:
        return
    beside = axes.twinx()
    draw_speed(beside, speed, duration_s=recording.duration_s)
    beside.lines[0].set(color=ACCENT, linewidth=2.2, path_effects=[withStroke(linewidth=4.5, foreground="white")])
    axes.set_title("", loc="left")
    beside.set_title("Recording and crank speed", loc="left")


def _picture(draw: Callable[[Axes], None], height_inches: float, alt: str, caption: str) -> Picture:
    with drawing(font_size_pt=9.5):
        size = (WIDTH_INCHES, height_inches)
        figure = Figure(figsize=size, layout="constrained", facecolor="white", dpi=SHADES_PER_INCH)
        draw(figure.subplots())
        return Picture(picture_uri(svg_of(figure)), alt, caption)


def _recording_alt(recording: Recording, motion: Motion | None, speed: Motion | None) -> str:
    alt = f"Sound of the recording against time, {recording.duration_s:.1f} s"
    if motion is None:
        return f"{alt}."
    alt += f"; the crank turns from {motion.start_s:.1f} to {motion.stop_s:.1f} s"
    still = " and ".join(f"{start_s:.1f} to {stop_s:.1f} s" for start_s, stop_s in motion.still)
    alt = f"{alt}; still from {still}." if still else f"{alt}; no still part."
    return alt if speed is None else f"{alt} Crank speed against time: {facts.crank(speed)}."


def _orders_alt(result: Analysis) -> str:
    alt = "Order spectrum: how strong the sound's rhythm is at each number of events a crank turn."
    heard = [f for f in facts.shown(result) if f.detected and f.evidence.order is not None]
    if not heard:
        return f"{alt} No part was heard."
    told = "; ".join(
        f"{result.condition(f).name} at {f.evidence.order:.2f} events a crank turn"
        + ("" if f.evidence.expected_order is None else f", {f.evidence.expected_order:.2f} computed")
        for f in heard
    )
    return f"{alt} Heard: {told}."
