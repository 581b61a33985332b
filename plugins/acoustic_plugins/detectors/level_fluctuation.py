"""Level fluctuation: how much a band flickers over what smooth hiss does, and whether the crank makes it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acoustic.api import BandBank

Floats = NDArray[np.float64]

BLOCK_S = 0.008
QUANTILE = 0.3  # what clicks are left move the upper quantiles, a rough ring moves all of them
FEWEST_BLOCKS = 30
NEIGHBOURS = 3  # bands averaged
# Below, hum and handling are loudest; above, codecs leave holes that flicker by themselves.
LOWEST_HZ, HIGHEST_HZ = 450.0, 5600.0
USUAL_SPREAD = 0.1  # of the log ratio from one healthy bearing to the next, bands and blocks without number
FOLLOW_S = 0.5  # levels so far apart are nearly independent of each other
FEWEST_LEVELS = 6
LEAST_RANGE = 1.5  # fastest over slowest speed: less, and no level can follow


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
        How surely the crank makes it, in standard deviations: the level rises with the crank's speed,
        or the still parts flicker less. None where neither can be told.
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


def fluctuation(
    bank: BandBank,
    times_s: Floats,
    turns: Floats,
    still: Sequence[tuple[float, float]],
    *,
    leave_out: NDArray[np.bool_],
) -> Fluctuation | None:
    """Find the bands whose level flickers most, and ask whether that is the crank's.

    Parameters
    ----------
    bank : BandBank
    times_s, turns : ndarray, shape (k,)
        The crank's angle [turns] against time [s].
    still : sequence of (float, float)
        Parts without motion [s].
    leave_out : ndarray of bool, shape (frames,)
        Frames in or near clicks.

    Returns
    -------
    Fluctuation or None
        None where too little is left between the clicks.
    """
    turning = flicker(bank, float(times_s[0]), float(times_s[-1]), leave_out=leave_out)
    if not np.isfinite(turning).any():
        return None
    log_ratio = np.log(np.maximum(turning, 1e-6))
    first = bank.first_band(LOWEST_HZ)
    stop = max(first + 1, int(np.searchsorted(bank.mid_hz, HIGHEST_HZ)))
    width = min(NEIGHBOURS, stop - first)
    runs = [(float(log_ratio[k : k + width].mean()), k) for k in range(first, stop - width + 1)]
    rough, first = max(runs)
    bands = slice(first, first + width)
    error = _error(bank, float(times_s[0]), float(times_s[-1]), leave_out)
    told = [follows_speed(bank, bands, times_s, turns, leave_out=leave_out)]
    for start_s, stop_s in still:
        quiet = flicker(bank, start_s, stop_s, leave_out=leave_out)[bands]
        if np.isfinite(quiet).all():
            less = rough - float(np.log(np.maximum(quiet, 1e-6)).mean())
            told.append(less / math.hypot(error, _error(bank, start_s, stop_s, leave_out)))
    known = [one for one in told if one is not None]
    return Fluctuation(
        ratio=math.exp(rough),
        stands_out=rough / math.hypot(USUAL_SPREAD, error),
        of_crank=max(known) if known else None,
        first_band=first,
        last_band=first + width - 1,
    )


def _error(bank: BandBank, start_s: float, stop_s: float, leave_out: NDArray[np.bool_]) -> float:
    """Standard error of the mean log ratio of three bands.

    The square of the quantile q = 0.3 of |x| of n normal values has a log of variance 4 q (1 - q) /
    (0.3853 * 0.7408)^2 / n (by hand: the quantile and twice the density there); differences two blocks
    apart share blocks, which makes n about a third less.
    """
    inside = bank.frames_between(start_s, stop_s)
    kept = float(np.count_nonzero(inside & ~leave_out)) * bank.frame_s / BLOCK_S
    return math.sqrt(4 * QUANTILE * (1 - QUANTILE) / (0.3853 * 0.7408) ** 2 * 1.5 / max(kept, 1.0) / NEIGHBOURS)


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
    from scipy.special import betaincinv

    shape = width_hz * block_s + 0.5
    # G1 / (G1 + G2) of two gamma laws of one shape is beta distributed; the log of G1 / G2 is its logit.
    share = betaincinv(shape, shape, (1 + QUANTILE) / 2)
    alike = np.sinc(2 * block_s * width_hz) ** 2
    change: Floats = np.log(share / (1 - share)) * np.sqrt(1 - alike)
    return change


def follows_speed(
    bank: BandBank, bands: slice, times_s: Floats, turns: Floats, *, leave_out: NDArray[np.bool_]
) -> float | None:
    """Student's t of the rise of a level with the crank's speed.

    Parameters
    ----------
    bank : BandBank
    bands : slice
        Whose levels [dB] are averaged.
    times_s, turns : ndarray, shape (k,)
        The crank's angle [turns] against time [s].
    leave_out : ndarray of bool, shape (frames,)

    Returns
    -------
    float or None
        Of the correlation of level and log speed over stretches of half a second; None where
        the speed hardly changes, or fewer than six stretches are left.
    """
    speed_hz = np.gradient(turns, times_s)
    if float(speed_hz.max()) < LEAST_RANGE * float(speed_hz.min()):
        return None
    frame_s = bank.times_s
    edges = np.searchsorted(frame_s, np.arange(times_s[0], times_s[-1], FOLLOW_S))
    levels, speeds = [], []
    for first, last in pairwise(edges):
        kept = np.flatnonzero(~leave_out[first:last]) + first
        if kept.size * bank.frame_s >= FOLLOW_S / 4:
            levels.append(float(np.log(np.median(bank.power[bands][:, kept], axis=1) + 1e-30).mean()))
            speeds.append(math.log(float(np.interp(frame_s[kept].mean(), times_s, speed_hz))))
    if len(levels) < FEWEST_LEVELS:
        return None
    r = float(np.corrcoef(levels, speeds)[0, 1])
    return r * math.sqrt((len(levels) - 2) / max(1e-9, 1 - r * r))
