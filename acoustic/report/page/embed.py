"""Pictures and sounds as data: URIs, so that a page is one file."""

from __future__ import annotations

import base64
import io

import matplotlib
import numpy as np
import soundfile
from matplotlib.figure import Figure
from numpy.typing import NDArray

from acoustic.report.glyphs import any_letters

BLOCK = 65_536  # samples; the Vorbis encoder puts a whole write on the stack


def svg_of(figure: Figure) -> str:
    """Draw a figure as an SVG document whose text stays text."""
    svg = io.StringIO()
    with any_letters(), matplotlib.rc_context({"svg.fonttype": "none"}):
        figure.savefig(svg, format="svg", metadata={"Date": None})
    return svg.getvalue()


def picture_uri(svg: str) -> str:
    """An SVG document for an <img>: there its styles and names stay its own, and scripts in it never run."""
    return _uri("image/svg+xml", svg.encode("utf-8"))


def sound_uri(sound: NDArray[np.float64], *, sample_rate_hz: int) -> str:
    """Code a sound as Ogg Vorbis.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Full scale is 1.0.
    sample_rate_hz : int

    Returns
    -------
    str
    """
    file = io.BytesIO()
    with soundfile.SoundFile(
        file, "w", samplerate=sample_rate_hz, channels=1, format="OGG", subtype="VORBIS"
    ) as coder:
        for start in range(0, sound.size, BLOCK):
            coder.write(sound[start : start + BLOCK])
    return _uri("audio/ogg", file.getvalue())


def _uri(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"
