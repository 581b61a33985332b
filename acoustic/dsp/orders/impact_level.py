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
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.orders.residual import SMEAR
from acoustic.dsp.orders.tracking import AngleLevels

NOTHING: Floats = np.empty(0)  # no harmonics of others
MOST = 10  # harmonics looked at
WIDE_HZ = (700.0, 7500.0)  # where strikes ring cranks and frames
DROPPED = 0.3  # of them, the strongest
LINE_SMEAR = 0.002  # of the order, to either side: where slip leaves a line's power (judgement)
FALLING_OFF = 2.4  # judgement: as simulated strikes fall off; another value scales all ratios alike


class StrikeSpectra:
    """Spectra of a recording's levels in groups of bands, each computed once.

    Parameters
    ----------
    levels : AngleLevels
    row_spread : float
        How far the orders of two rows of balls lie apart, over the order: strikes of both count.
    """

    def __init__(self, levels: AngleLevels, *, row_spread: float = 0.0) -> None:
        self.levels = levels
        self._row_spread = row_spread
        self._made: dict[tuple[str, tuple[int, int]], Floats] = {}

    def powers(
        self,
        kind: Literal["plain", "compressed"],
        groups: Sequence[tuple[int, int]],
        order: float,
        leave_out: Floats,
    ) -> Floats:
        """`impact_power` of the mean of each group's bands."""
        every: Floats = getattr(self.levels, kind)
        for group in groups:
            if (kind, group) not in self._made:
                self._made[kind, group] = _spectrum(every[group[0] : group[1] + 1].mean(axis=0))
        made = [self._made[kind, group] for group in groups]
        smear = LINE_SMEAR + 2 * self._row_spread
        covered = {"bins": every.shape[1], "turns": self.levels.turns}
        return _powers_of_lines(made, order, smear=smear, leave_out=leave_out, **covered)


def strike_powers(
    spectra: StrikeSpectra, groups: Sequence[tuple[int, int]], order: float, *, leave_out: Floats = NOTHING
) -> Floats:
    """Mean power of regular strikes in groups of bands, over the level beneath them.

    Parameters
    ----------
    spectra : StrikeSpectra
    groups : sequence of (int, int)
        First and last band of each, both counted in.
    order : float
        Strikes a turn, > 0.
    leave_out : ndarray, shape (k,)
        Orders of another's lines: harmonics that fall on them are not counted.

    Returns
    -------
    ndarray, shape (groups,)
        Ratios of powers, >= 0.

    Notes
    -----
    Loud strikes are measured on the plain levels, faint ones on the compressed.
    """
    plain = plain_powers(spectra, groups, order, leave_out=leave_out)
    return np.maximum(plain, faint_powers(spectra, groups, order, leave_out=leave_out))


def plain_powers(
    spectra: StrikeSpectra, groups: Sequence[tuple[int, int]], order: float, *, leave_out: Floats = NOTHING
) -> Floats:
    """The same as the plain levels alone have it: true of loud strikes, led astray by grit."""
    return spectra.powers("plain", groups, order, leave_out)


def faint_powers(
    spectra: StrikeSpectra, groups: Sequence[tuple[int, int]], order: float, *, leave_out: Floats = NOTHING
) -> Floats:
    """The same of strikes so faint that talk, grit and codecs may leave as much in the plain levels.

    Parameters
    ----------
    spectra, groups, order, leave_out
        As of `strike_powers`.

    Returns
    -------
    ndarray, shape (groups,)
        Ratios of powers, >= 0; too low for loud strikes, but in the same order.

    Notes
    -----
    In the compressed levels a small power x adds E[x / (1 + N)], 0.6 x for the power N of
    Gaussian noise (by hand: the mean of 1 / (1 + N) for exponential N of mean 1 is
    e E1(1) = 0.596), and a bang little more.
    """
    return spectra.powers("compressed", groups, order, leave_out) / 0.596


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


def impact_power(levels: Floats, order: float, *, turns: float, leave_out: Floats = NOTHING) -> float:
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
    return float(
        _powers_of_lines(
            [_spectrum(levels)], order, bins=levels.size, turns=turns, smear=LINE_SMEAR, leave_out=leave_out
        )[0]
    )


def _spectrum(levels: Floats) -> Floats:
    """Power of the tapered levels at four times as many orders as are resolved."""
    length = 1 << math.ceil(math.log2(4 * levels.size))
    taper, weight = _taper(levels.size)
    spectrum: Floats = np.abs(np.fft.rfft((levels - levels.mean()) * taper, length)) ** 2 / (length * weight)
    return spectrum


@lru_cache(maxsize=4)
def _taper(bins: int) -> tuple[Floats, float]:
    """A Kaiser window, and the sum of its squares."""
    taper = np.kaiser(bins, 3.5)
    taper.flags.writeable = False
    return taper, float(np.sum(taper**2))


def _powers_of_lines(
    spectra: Sequence[Floats], order: float, *, bins: int, turns: float, smear: float, leave_out: Floats
) -> Floats:
    """`impact_power` of several, from their spectra, each of so many bins."""
    step = bins / ((1 << math.ceil(math.log2(4 * bins))) * turns)
    squares: list[Floats] = []
    for line in order * np.arange(1, MOST + 1):
        half = 1.5 / turns + smear * line
        inside = slice(round((line - half) / step), round((line + half) / step) + 1)
        around = slice(max(1, round((line - 6 * half) / step)), round((line + 6 * half) / step) + 1)
        if inside.stop > spectra[0].size:
            break
        if leave_out.size and float(np.abs(leave_out - line).min()) < half + 1.2 / turns + SMEAR * line:
            continue
        floor = _medians(np.stack([spectrum[around] for spectrum in spectra])) / math.log(2)
        # A chain's uneven links leave more than noise between its lines.
        luck = (2 if leave_out.size else 1) * floor * (inside.stop - inside.start)
        squares.append(np.stack([spectrum[inside] for spectrum in spectra]).sum(axis=1) - luck)
    if not squares:
        return np.zeros(len(spectra))
    all_in_sight = MOST * order < bins / 2 / turns
    kept = np.sort(squares, axis=0)[: len(squares) - int(DROPPED * len(squares)) if all_in_sight else None]
    powers: Floats = np.sqrt(FALLING_OFF * np.maximum(0.0, kept.mean(axis=0)))
    return powers


def _medians(rows: Floats) -> Floats:
    """numpy's medians of rows without its preparations, which take longer than the sorting of so few."""
    middle = rows.shape[1] // 2
    if rows.shape[1] % 2:
        odd: Floats = np.partition(rows, middle, axis=1)[:, middle]
        return odd
    around = np.partition(rows, (middle - 1, middle), axis=1)
    even: Floats = (around[:, middle - 1] + around[:, middle]) / 2
    return even
