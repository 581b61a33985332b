"""A beat folded over itself: how far each stretch of it runs early or late."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.core.beat import BeatLevels

Floats = NDArray[np.float64]

PHASES = 32
HARMONICS = 8
STRETCH = 8  # beats looked at together
CLEAR = 2.5  # standard deviations of noise by which a stretch must be like the others
SMALLEST_ERROR = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Delays:
    """What stretches of a beat tell of its true course.

    Attributes
    ----------
    share : ndarray, shape (k,)
        Time of the stretch's middle, 0 to 1 over the part.
    beats : ndarray, shape (k,)
        Beats made until then.
    error : ndarray, shape (k,)
        Standard error of `beats`.
    """

    share: Floats
    beats: Floats
    error: Floats

    def __post_init__(self) -> None:
        for array in (self.share, self.beats, self.error):
            array.flags.writeable = False


def beat_delays(levels: BeatLevels, angle: Floats, *, beats: float, group: int) -> Delays:
    """Measure how far stretches of a beat run early or late against a guess of its course.

    Parameters
    ----------
    levels : BeatLevels
    angle : ndarray, shape (k,)
        Guessed angle from 0 to 1 over the part, at equal steps of time.
    beats : float
        Beats in the part.
    group : int
        Group of bands the beat is heard in.

    Returns
    -------
    Delays
        Of the stretches that are clearly like the rest; all where fewer than four are, and
        none but the two ends where there are fewer than sixteen beats.

    Notes
    -----
    The levels are folded into phases of the beat; the mean over all beats is the
    pattern, and each stretch's mean is shifted against it until it fits best. The
    error follows from the curvature at the best fit and the scatter of single beats.
    """
    if beats < 2 * STRETCH:
        return Delays(np.array([0.0, 1.0]), np.array([0.0, beats]), np.array([SMALLEST_ERROR, SMALLEST_ERROR]))
    profiles = _folded(levels, angle, beats, group)
    share = np.linspace(0, 1, angle.size)
    lines = np.fft.rfft(profiles, axis=1)[:, 1 : HARMONICS + 1]
    pattern = lines.mean(axis=0)
    noise = np.maximum(np.mean(np.abs(lines) ** 2, axis=0), 1e-12)
    harmonic = np.arange(1, HARMONICS + 1)
    shifts = np.linspace(-0.5, 0.5, 129)
    turn = np.exp(2j * np.pi * np.outer(shifts, harmonic))
    size = float((np.abs(pattern) ** 2 / noise).sum())
    bend = float(((2 * np.pi * harmonic) ** 2 * np.abs(pattern) ** 2 / noise).sum())
    found = []
    for first in range(0, len(lines) - STRETCH + 1, STRETCH // 2):
        part = lines[first : first + STRETCH].mean(axis=0) * np.conj(pattern) / noise
        fit = (turn @ part).real
        best = int(fit.argmax())
        clear = fit[best] / np.sqrt(size / 2 / STRETCH + 1e-12)
        share_here = max(fit[best] / max(size, 1e-12), 0.05)
        error = max(SMALLEST_ERROR, 1 / (np.sqrt(2 * STRETCH * bend + 1e-12) * share_here))
        middle = first + STRETCH / 2
        # The time of the middle beat, not the mean of the beats' times: the later ones take longer.
        found.append((np.interp(middle / beats, angle, share), middle - shifts[best], error, clear))
    rows = np.array(found)
    kept = rows[rows[:, 3] > CLEAR] if np.count_nonzero(rows[:, 3] > CLEAR) >= 4 else rows
    return Delays(kept[:, 0], kept[:, 1], kept[:, 2])


def _folded(levels: BeatLevels, angle: Floats, beats: float, group: int) -> Floats:
    """Levels of every beat in its phases, shape (beats, phases)."""
    frames = levels.integral.shape[1] - 1
    time = np.linspace(0, frames, angle.size)
    edges = np.interp(np.arange(int(beats) * PHASES + 1) / (PHASES * beats), angle, time)
    below = np.minimum(edges.astype(np.intp), frames - 1)
    row = levels.integral[group].astype(np.float64)
    integral = row[below] + (row[below + 1] - row[below]) * (edges - below)
    level = np.diff(integral) / np.maximum(np.diff(edges), 1e-9)
    profiles: Floats = level.reshape(-1, PHASES)
    return profiles
