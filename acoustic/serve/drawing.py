"""Pictures drawn in the server itself, one at a time: the drawing library's settings are the process's own."""

from __future__ import annotations

import threading

from acoustic.lifetimes.kinds import Lifetimes
from acoustic.report.lifetimes_picture import lifetimes_figure
from acoustic.report.page.embed import picture_uri, svg_of

ONE_AT_A_TIME = threading.Lock()


def picture(told: Lifetimes) -> str:
    """The curves of lifetimes as the address of a picture."""
    with ONE_AT_A_TIME:
        return picture_uri(svg_of(lifetimes_figure(told, title="Bearings still good")))
