"""Level fluctuation: how much a band's level varies beyond smooth hiss, and whether the crank makes it.

A phone's distance changes a level, not how much it fluctuates. Clicks are left out first, since a deep pit and
grit make the level fluctuate too. Rain does as well: so the level must rise with the crank's speed, or the
still parts must fluctuate less. Both are read off the turning part where that is possible, so that the verdict
is the same whichever source gives the speed.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.api import BandBank

Floats = NDArray[np.float64]

# Judgement: short beside the 22 ms between the fastest regular strikes that are judged (rumble.py).
BLOCK_S = 0.008
QUANTILE = 0.3  # what clicks are left move the upper quantiles, a rough ring moves all of them
# By hand, from the variance in _log_ratio: thirty blocks leave an error of 0.4 in the log ratio of three bands.
FEWEST_BLOCKS = 30
NEIGHBOURS = 3  # bands averaged
# Below, hum and handling are loudest; above, codecs leave holes that flicker by themselves.
LOWEST_HZ, HIGHEST_HZ = 450.0, 5600.0
USUAL_SPREAD = 0.1  # of the log ratio from one healthy bearing to the next, bands and blocks without number
SMOOTHEST = -0.3  # log ratio of hiss in narrow bands; what is smoother is digital silence, which tells nothing
LARGEST_ERROR = 0.3  # of the log ratio: half a second of stillness or less tells nothing


@dataclass(frozen=True, slots=True, eq=False)
class Listened:
    """A part of a recording.

    Attributes
    ----------
    bank : BandBank
    start_s, stop_s : float
    leave_out : ndarray of bool, shape (frames,)
        Frames of the bank in or near clicks, which flicker for reasons of their own.
    """

    bank: BandBank
    start_s: float
    stop_s: float
    leave_out: NDArray[np.bool_]

    def flicker(self) -> Floats:
        """Of each band, over that of smooth hiss."""
        return flicker(self.bank, self.start_s, self.stop_s, leave_out=self.leave_out)

    @property
    def kept_s(self) -> float:
        """How long it lasts, without what is left out [s]."""
        inside = self.bank.frames_between(self.start_s, self.stop_s)
        return float(np.count_nonzero(inside & ~self.leave_out)) * self.bank.frame_s


@dataclass(frozen=True, slots=True)
class Fluctuation:
    """The roughest neighbouring bands of a turning crank.

    Attributes
    ----------
    ratio : float
        Variance of the level over that of smooth hiss, geometric mean over the bands.
    stands_out : float
        Its logarithm in standard deviations.
    of_crank : float or None
        How surely the crank makes it, in standard deviations: how much less the still parts flicker.
        None where there are none: a level that rises with the speed tells nothing, since a smooth running
        noise does, over rain that flickers.
    first_band, last_band : int
    """

    ratio: float
    stands_out: float
    of_crank: float | None
    first_band: int
    last_band: int

    @property
    def score(self) -> float:
        """The weaker of the two: it must be rough, and the crank must make it so."""
        return self.stands_out if self.of_crank is None else min(self.stands_out, self.of_crank)


def fluctuation(turning: Listened, still: Sequence[Listened]) -> Fluctuation | None:
    """Find the bands whose level flickers most, and ask whether that is the crank's.

    Parameters
    ----------
    turning : Listened
        The turning part.
    still : sequence of Listened
        Parts without motion, or the room recorded apart, in the same bands.

    Returns
    -------
    Fluctuation or None
        None where too little is left between the clicks.
    """
    bank, ratio = turning.bank, turning.flicker()
    if not np.isfinite(ratio).any():
        return None
    log_ratio = np.log(np.maximum(ratio, 1e-6))
    first = bank.first_band(LOWEST_HZ)
    stop = max(first + 1, int(np.searchsorted(bank.mid_hz, HIGHEST_HZ)))
    width = min(NEIGHBOURS, stop - first)
    runs = [(float(log_ratio[k : k + width].mean()), k) for k in range(first, stop - width + 1)]
    rough, first = max(runs)
    bands = slice(first, first + width)
    turning_log, error = _log_ratio([turning], bands)
    quiet_log, quiet_error = _log_ratio(still, bands)
    told = quiet_error <= LARGEST_ERROR
    return Fluctuation(
        ratio=math.exp(rough),
        stands_out=rough / math.hypot(USUAL_SPREAD, error),
        of_crank=(turning_log - quiet_log) / math.hypot(error, quiet_error) if told else None,
        first_band=first,
        last_band=first + width - 1,
    )


def _log_ratio(parts: Sequence[Listened], bands: slice) -> tuple[float, float]:
    """Mean log ratio of neighbouring bands over parts of the recording, and its standard error.

    The square of the quantile q = 0.3 of |x| of n normal values has a log of variance 4 q (1 - q) /
    (0.3853 * 0.7408)^2 / n (by hand: the quantile and twice the density there); differences two blocks
    apart share blocks, which makes n about a third less.
    """
    total, counted = 0.0, 0.0
    for part in parts:
        ratio = part.flicker()[bands]
        if np.isfinite(ratio).all():
            blocks = part.kept_s / BLOCK_S
            log_ratio = max(SMOOTHEST, float(np.log(np.maximum(ratio, 1e-6)).mean()))
            total, counted = total + blocks * log_ratio, counted + blocks
    if not counted:
        return 0.0, math.inf
    variance = 4 * QUANTILE * (1 - QUANTILE) / (0.3853 * 0.7408) ** 2 * 1.5 / counted
    return total / counted, math.sqrt(variance / (bands.stop - bands.start))


def flicker(bank: BandBank, start_s: float, stop_s: float, *, leave_out: NDArray[np.bool_]) -> Floats:
    """Spread of each band's level from block to block, over that of smooth hiss.

    Parameters
    ----------
    bank : BandBank
    start_s, stop_s : float
        Part to look at [s].
    leave_out : ndarray of bool, shape (frames,)
        Frames in or near clicks, which flicker for reasons of their own.

    Returns
    -------
    ndarray, shape (bands,)
        Ratio of variances: 1 for Gaussian noise, more where the noise is made of
        many small impacts. NaN where fewer than 30 blocks are left.

    Notes
    -----
    Levels are natural logs of mean power in blocks of 8 ms, differenced two
    blocks apart, so that slow changes of speed or gain cancel. The power of
    Gaussian noise in a band B over a time T follows a gamma law of shape about
    B T + 1/2; blocks that the band is too narrow to part are allowed for.
    """
    size = max(1, round(BLOCK_S / bank.frame_s))
    inside = bank.frames_between(start_s, stop_s)
    blocks = int(inside.sum()) // size
    if blocks < FEWEST_BLOCKS:
        return np.full(bank.mid_hz.size, np.nan)
    power = bank.power[:, inside][:, : blocks * size].reshape(-1, blocks, size).mean(axis=2)
    out = np.asarray(leave_out[inside][: blocks * size].reshape(blocks, size).any(axis=1))
    kept = np.logical_not(out[2:] | out[:-2])
    if kept.sum() < FEWEST_BLOCKS:
        return np.full(bank.mid_hz.size, np.nan)
    level = np.log(power + 1e-30)
    change = np.abs(level[:, 2:] - level[:, :-2])[:, kept]
    flickers: Floats = (
        np.quantile(change, QUANTILE, axis=1) / _smooth_change(bank.width_hz, size * bank.frame_s)
    ) ** 2
    return flickers


def _smooth_change(width_hz: Floats, block_s: float) -> Floats:
    """Quantile of the change of level of Gaussian noise from one block to the next but one."""
    alike = np.sinc(2 * block_s * width_hz) ** 2
    change: Floats = np.array([_gamma_log_ratio(each) for each in width_hz * block_s + 0.5]) * np.sqrt(1 - alike)
    return change


@functools.cache
def _gamma_log_ratio(shape: float) -> float:
    """Quantile of the log of the ratio of two gamma laws of one shape, its density summed over a fine axis.

    G1 / (G1 + G2) is beta distributed, and the log of G1 / G2 is its logit.
    """
    logs = np.linspace(0.0, 25.0, 8193) / math.sqrt(shape)
    density = np.cosh(logs / 2) ** (-2 * shape)
    within = np.cumsum(density) - (density + density[0]) / 2
    return float(np.interp(QUANTILE * within[-1], within, logs))
