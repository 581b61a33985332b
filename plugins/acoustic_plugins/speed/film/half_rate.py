"""Whether what was followed in a film goes round half as fast as it seems, about another place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic_plugins.speed.film.ellipse import Change, Floats, Round
from acoustic_plugins.speed.film.template import Curve

# Cost: every fourth pixel; an arm is wider.
STEP_PX = 4
RINGS = np.linspace(0.08, 0.6, 10)  # radii over the picture's shorter side
# Grid: twelve to each of the two windings looked for.
ANGLES = 24
RING = 0.3  # of the ellipse that is handed on: rings are laid about its centre alone
# Cost: a mean over some hundreds is as sure as is needed.
MOST_FRAMES = 400


def wound_twice(change: Change, times_s: Floats, curve: Curve) -> list[tuple[Round, Curve]]:
    """Find where a picture winds twice about a place while the angle followed makes one turn.

    Parameters
    ----------
    change : ndarray of int8, shape (n, height, width)
    times_s : ndarray, shape (n,)
        Of the frames [s].
    curve : callable
        Angle followed [turns], either way round, by time; its second argument asks for a derivative.

    Returns
    -------
    list of (Round, callable)
        For either sense of turning the likeliest place, and the angle about it at half the speed.

    Notes
    -----
    Of something rigid that goes round with the angle followed, every pixel's first harmonic in
    that angle has a phase that winds once about the spindle. A bar whose two ends look alike
    passes every place twice a turn: followed about one of these places, it seems to turn
    twice as fast, and then the phases wind twice about the true spindle.
    """
    field = _first_harmonic(change, times_s, curve)
    whole = np.eye(2) / (RING * min(change.shape[1:]))
    found = []
    for sense in (1.0, -1.0):
        winding = _winding(field, round(-2 * sense))
        row, column = np.unravel_index(int(winding.argmax()), winding.shape)
        centre = STEP_PX * np.array([column, row], dtype=float)
        found.append((Round(centre, whole), _halved(curve, sense)))
    return found


def _halved(curve: Curve, sense: float) -> Curve:
    def half(times_s: Floats, derivative: int = 0) -> Floats:
        angle: Floats = sense * curve(times_s, derivative) / 2
        return angle

    return half


def _first_harmonic(change: Change, times_s: Floats, curve: Curve) -> NDArray[np.complex64]:
    """Every fourth pixel's first harmonic in the angle, over the faster frames."""
    speed = np.abs(curve(times_s, 1))
    fast = np.flatnonzero(speed > 0.5 * np.quantile(speed, 0.9))
    fast = fast[:: 1 + fast.size // MOST_FRAMES]
    pixels = change[fast, ::STEP_PX, ::STEP_PX].astype(np.float32)
    back = np.exp(-2j * np.pi * curve(times_s[fast])).astype(np.complex64)
    field: NDArray[np.complex64] = np.tensordot(back, pixels - pixels.mean(axis=0), axes=1)
    return field


def _winding(field: NDArray[np.complex64], times_round: int) -> Floats:
    """How much of a field winds so many times about each of its points."""
    height, width = field.shape
    way = 2 * np.pi * np.arange(ANGLES) / ANGLES
    back = np.exp(-1j * times_round * way).astype(np.complex64)
    rows, columns = np.mgrid[:height, :width]
    total = np.zeros(field.shape)
    for radius in RINGS * min(field.shape):
        y = np.rint(rows[:, :, np.newaxis] + radius * np.sin(way)).astype(np.intp)
        x = np.rint(columns[:, :, np.newaxis] + radius * np.cos(way)).astype(np.intp)
        inside = (y >= 0) & (y < height) & (x >= 0) & (x < width)
        seen = np.where(inside, field[y.clip(0, height - 1), x.clip(0, width - 1)], 0)
        total += radius * np.abs(seen @ back) ** 2
    return total
