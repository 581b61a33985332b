"""How strong regular strikes are, whatever the recording's gain."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from acoustic.core.angle import AngleLevels
from acoustic.core.lines import SMEAR

Floats = NDArray[np.float64]
NOTHING: Floats = np.empty(0)
FALLING_OFF = 1.8


def strike_power(levels: AngleLevels, run: tuple[int, int], order: float, *, leave_out: Floats = NOTHING) -> float:
    """Mean power of regular strikes in a run of bands, over the level beneath them.

    Parameters
    ----------
    levels : AngleLevels
    run : (int, int)
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
    Loud strikes are measured on the plain levels. Faint ones drown there in what
    talk and codecs leave, but stand in the compressed ones: there a small power x
    adds E[x / (1 + N)], 0.6 x for the power N of Gaussian noise (by hand: the mean
    of 1 / (1 + N) for exponential N of mean 1 is e E1(1) = 0.596).
    """
    bands = slice(run[0], run[1] + 1)
    plain, compressed = (
        event_power(kind[bands].mean(axis=0), order, turns=levels.turns, leave_out=leave_out)
        for kind in (levels.plain, levels.compressed)
    )
    return max(plain, compressed / 0.596)


def event_power(levels: Floats, order: float, *, turns: float, leave_out: Floats = NOTHING) -> float:
    """Mean power of regular events, over the level beneath them.

    Parameters
    ----------
    levels : ndarray, shape (n,)
        Power over the running level, in equal cells of crank angle.
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
    every low harmonic; a smooth modulation of a sound bearing's hiss has one or two. So
    the strongest two of six are dropped, and the result is the root of 1.8 times the
    mean of the others' squares, which is about P for the trains heard on cranks, whose
    coefficients fall off. Of strikes so frequent that not all six are in sight none is
    dropped: no ball passes that often.
    """
    n = levels.size
    taper = np.kaiser(n, 3.5)
    weight = float(np.sum(taper**2))
    length = 1 << math.ceil(math.log2(4 * n))
    spectrum = np.abs(np.fft.rfft((levels - levels.mean()) * taper, length)) ** 2 / (length * weight)
    step = n / (length * turns)
    squares = []
    for harmonic in range(1, 7):
        line = harmonic * order
        half = 1.5 / turns + 0.002 * line
        inside = slice(round((line - half) / step), round((line + half) / step) + 1)
        around = slice(max(1, round((line - 6 * half) / step)), round((line + 6 * half) / step) + 1)
        if inside.stop > spectrum.size:
            break
        if leave_out.size and float(np.abs(leave_out - line).min()) < half + 1.2 / turns + SMEAR * line:
            continue
        floor = float(np.median(spectrum[around])) / math.log(2)
        # What grit or talk leaves in a line by luck must not read as events, a chain's uneven links still less.
        luck = (3 if leave_out.size else 2) * floor * (inside.stop - inside.start)
        squares.append(max(0.0, float(np.sum(spectrum[inside])) - luck))
    all_in_sight = 6 * order < levels.size / 2 / turns
    rest = sorted(squares)[: len(squares) - len(squares) // 3] if all_in_sight else squares
    return math.sqrt(FALLING_OFF * sum(rest) / len(rest)) if rest else 0.0
