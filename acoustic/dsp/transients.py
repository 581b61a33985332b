"""When a crank coasts, told by short clicks alone: dirt crackles as fast as the bearing turns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.core.clicks import regularity
from acoustic.dsp.tacholess.coast_down import coast_speed

Floats = NDArray[np.float64]

FEWEST = 8
SHORTEST_S, LEAST_QUIET_S = 2.0, 0.8
STOPS = 40
DRAGS_PER_S = (0.05, 0.4)  # nearly dry, nearly viscous
EVEN = 0.001  # chance of random clicks: more even, and they are a clock's or a ring's


@dataclass(frozen=True, slots=True)
class ClickingCoast:
    """A run-down whose speed the rate of clicks follows.

    Attributes
    ----------
    start_s, stop_s : float
        First click, and when the crank stands.
    drag_per_s : float
        As `coast_speed` takes it.
    nats : float
        Log likelihood over that of clicks that come at one rate all through the recording, the best of all
        run-downs tried.
    """

    start_s: float
    stop_s: float
    drag_per_s: float
    nats: float


def clicking_coast(times_s: Floats, duration_s: float) -> ClickingCoast | None:
    """Find the run-down that clicks follow best, over a rate of the room's own before and after.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
        Clicks in order of time [s].
    duration_s : float
        Length of the recording [s].

    Returns
    -------
    ClickingCoast or None
        None for fewer than eight clicks, or where they follow each other evenly.

    Notes
    -----
    Clicks are a Poisson process: the log likelihood of a rate is the sum of its logarithm at the
    clicks less its integral (textbook). Both rates are those that were counted, so that the integrals
    are the number of clicks and cancel.
    """
    count = times_s.size
    if count < FEWEST:
        return None
    grid_s = np.linspace(0.0, duration_s, 400)
    step_s = float(grid_s[1])
    found: ClickingCoast | None = None
    for start_s in times_s[: count - FEWEST + 1]:
        stops_s = np.linspace(start_s + SHORTEST_S, duration_s - LEAST_QUIET_S, STOPS)
        stop_s, drag = (each.reshape(-1, 1) for each in np.meshgrid(stops_s, DRAGS_PER_S, indexing="ij"))
        if stops_s[0] > stops_s[-1]:
            break
        inside = np.count_nonzero((times_s >= start_s) & (times_s <= stop_s), axis=1, keepdims=True)
        room_hz = (count - inside + 0.5) / (duration_s - (stop_s - start_s))
        speed = coast_speed(times_s, stop_s, drag) * (times_s >= start_s)
        whole = np.sum(coast_speed(grid_s, stop_s, drag) * (grid_s >= start_s), axis=1, keepdims=True) * step_s
        own = np.maximum(inside - room_hz * (stop_s - start_s), 0.0)
        rate_hz = room_hz + own * speed / np.maximum(whole, 1e-9)
        nats = np.sum(np.log(rate_hz), axis=1) - np.sum(room_hz * duration_s + own, axis=1)
        nats -= count * np.log(count / duration_s) - count
        best = int(nats.argmax())
        if found is None or nats[best] > found.nats:
            found = ClickingCoast(float(start_s), float(stop_s[best, 0]), float(drag[best, 0]), float(nats[best]))
    if found is None:
        return None
    heard_s = times_s[(times_s >= found.start_s) & (times_s <= found.stop_s)]
    return None if regularity(heard_s) < EVEN else found
