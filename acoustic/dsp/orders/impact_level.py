"""How strong regular strikes are, whatever the recording's gain.

Of ten harmonics the strongest three are left out: the hiss of a healthy bearing may be modulated at a ball pass
and at twice its pace, while impacts raise all low harmonics alike.

The level is taken over all bands in which impacts ring, detection in the loudest: how narrow a resonance is
says nothing of the damage. The mean over 0.7 to 7.5 kHz followed the true level over all simulated bearings
(rank correlation 0.97 at equal running noise), the loudest group only within one bearing (0.93).

Faint impacts are measured on the log-limited levels. The plain ones are true of loud impacts, but grit leaves
lines in them by luck: judged on the larger of both, 2 of 100 gritty bearings had a damaged ring.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.orders.residual import SMEAR
from acoustic.dsp.orders.tracking import AngleLevels

Floats = NDArray[np.float64]
NOTHING: Floats = np.empty(0)
MOST = 10  # harmonics looked at
WIDE_HZ = (700.0, 7500.0)  # where strikes ring cranks and frames
DROPPED = 0.3  # of them, the strongest
FALLING_OFF = 2.4


def strike_power(
    levels: AngleLevels, group: tuple[int, int], order: float, *, leave_out: Floats = NOTHING
) -> float:
    """Mean power of regular strikes in a group of bands, over the level beneath them.

    Parameters
    ----------
    levels : AngleLevels
    group : (int, int)
        First and last band, both counted in.
    order : float
        Strikes a turn, > 0.
    leave_out : ndarray, shape (k,)
        Orders of another's lines: harmonics that fall on them are not counted.

    Returns
    -------
    float
        Ratio of powers, >= 0.

    Notes
    -----
    Loud strikes are measured on the plain levels, faint ones on the compressed.
    """
    plain = plain_power(levels, group, order, leave_out=leave_out)
    return max(plain, faint_power(levels, group, order, leave_out=leave_out))


def plain_power(
    levels: AngleLevels, group: tuple[int, int], order: float, *, leave_out: Floats = NOTHING
) -> float:
    """The same as the plain levels alone have it: true of loud strikes, led astray by grit."""
    plain = levels.plain[group[0] : group[1] + 1].mean(axis=0)
    return event_power(plain, order, turns=levels.turns, leave_out=leave_out)


def faint_power(
    levels: AngleLevels, group: tuple[int, int], order: float, *, leave_out: Floats = NOTHING
) -> float:
    """The same of strikes so faint that talk, grit and codecs may leave as much in the plain levels.

    Parameters
    ----------
    levels, group, order, leave_out
        As of `strike_power`.

    Returns
    -------
    float
        Ratio of powers, >= 0; too low for loud strikes, but in the same order.

    Notes
    -----
    In the compressed levels a small power x adds E[x / (1 + N)], 0.6 x for the power N of
    Gaussian noise (by hand: the mean of 1 / (1 + N) for exponential N of mean 1 is
    e E1(1) = 0.596), and a bang little more.
    """
    compressed = levels.compressed[group[0] : group[1] + 1].mean(axis=0)
    return event_power(compressed, order, turns=levels.turns, leave_out=leave_out) / 0.596


def wide_group(levels: AngleLevels) -> tuple[int, int]:
    """First and last band of those in which strikes ring cranks and frames, 0.7 to 7.5 kHz.

    Parameters
    ----------
    levels : AngleLevels

    Returns
    -------
    first, last : int
        Of all bands where none lies there.
    """
    inside = np.flatnonzero((levels.mid_hz >= WIDE_HZ[0]) & (levels.mid_hz <= WIDE_HZ[1]))
    return (int(inside[0]), int(inside[-1])) if inside.size else (0, levels.mid_hz.size - 1)


def event_power(levels: Floats, order: float, *, turns: float, leave_out: Floats = NOTHING) -> float:
    """Mean power of regular events, over the level beneath them.

    Parameters
    ----------
    levels : ndarray, shape (n,)
        Power over the background level, in equal bins of crank angle.
    order : float
        Events a turn, > 0.
    turns : float
        Turns covered.
    leave_out : ndarray, shape (k,)
        Orders of another's lines: harmonics that fall on them are not counted.

    Returns
    -------
    float
        Ratio of powers, >= 0.

    Notes
    -----
    A train of short events of mean power P has Fourier coefficients near P at
    every low harmonic; a smooth modulation of a healthy bearing's running noise has one to three. So
    the strongest three of ten are dropped, and the result is the root of 2.4 times the
    mean of the others' squares, which is about P for the trains heard on cranks, whose
    coefficients fall off. Of strikes so frequent that not all ten are in sight none is
    dropped: no ball passes that often.
    """
    n = levels.size
    taper = np.kaiser(n, 3.5)
    weight = float(np.sum(taper**2))
    length = 1 << math.ceil(math.log2(4 * n))
    spectrum = np.abs(np.fft.rfft((levels - levels.mean()) * taper, length)) ** 2 / (length * weight)
    step = n / (length * turns)
    squares = []
    for line in order * np.arange(1, MOST + 1):
        half = 1.5 / turns + 0.002 * line
        inside = slice(round((line - half) / step), round((line + half) / step) + 1)
        around = slice(max(1, round((line - 6 * half) / step)), round((line + 6 * half) / step) + 1)
        if inside.stop > spectrum.size:
            break
        if leave_out.size and float(np.abs(leave_out - line).min()) < half + 1.2 / turns + SMEAR * line:
            continue
        floor = _median(spectrum[around]) / math.log(2)
        # A chain's uneven links leave more than noise between its lines.
        luck = (2 if leave_out.size else 1) * floor * (inside.stop - inside.start)
        squares.append(float(np.sum(spectrum[inside])) - luck)
    all_in_sight = MOST * order < levels.size / 2 / turns
    kept = sorted(squares)[: len(squares) - int(DROPPED * len(squares)) if all_in_sight else None]
    return math.sqrt(FALLING_OFF * max(0.0, sum(kept) / len(kept))) if kept else 0.0


def _median(values: Floats) -> float:
    """numpy's median without its preparations, which take longer than the sorting of so few."""
    middle = values.size // 2
    if values.size % 2:
        return float(np.partition(values, middle)[middle])
    around = np.partition(values, (middle - 1, middle))
    return float(around[middle - 1] + around[middle]) / 2
