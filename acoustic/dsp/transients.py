"""Short clicks: where they are, and whether they follow each other evenly."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from bottleneck import median
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats, binomial_tail
from acoustic.dsp.levels.filterbank import BandBank

WIDTHS = (3, 6)  # bands taken together, besides all
ALONE = 0.4  # of a click's height: what it must fall to before and after


@dataclass(frozen=True, slots=True, eq=False)
class Clicks:
    """Short, broad clicks.

    Attributes
    ----------
    times_s : ndarray, shape (k,)
    strength : ndarray, shape (k,)
        Height of the peak over the usual level, in robust standard deviations.
    power : ndarray, shape (k,)
        Energy over the background level [s]: mean power ratio less 1, times its duration.
    spectrum : ndarray, shape (k, bands)
        ln(1 + power / background level) of each band about the peak, less its usual value.
    """

    times_s: Floats
    strength: Floats
    power: Floats
    spectrum: Floats

    def __post_init__(self) -> None:
        for array in (self.times_s, self.strength, self.power, self.spectrum):
            array.flags.writeable = False


def find_clicks(bank: BandBank, *, least_height: float = 5.0, low_hz: float = 900.0) -> Clicks:
    """Find clicks that rise at once and ring for a few hundredths of a second.

    Parameters
    ----------
    bank : BandBank
    least_height : float
        Height over the usual level, in robust standard deviations.
    low_hz : float
        Lowest band to look at [Hz].

    Returns
    -------
    Clicks
        Speech rises and lasts too slowly to count; a dropped tool counts as one
        click or a few.
    """
    ratio, loudness = _over_running_level(bank, low_hz)
    height = standing_out(loudness, WIDTHS)
    peaks = peaks_of(height, max(1, round(0.012 / bank.frame_s)))
    peaks = peaks[height[peaks] > least_height]
    after = _mean_between(height, peaks, bank.frame_s, 0.025, 0.045)
    before = _mean_between(height, peaks, bank.frame_s, -0.030, -0.008)
    kept = peaks[(after < ALONE * height[peaks]) & (before < ALONE * height[peaks])]
    excess = ratio.mean(axis=0) - 1
    reach = max(1, round(0.015 / bank.frame_s))
    energy = np.array([excess[max(0, p - 2) : p + reach].sum() * bank.frame_s for p in kept])
    usual = median(loudness, axis=1)[:, np.newaxis]
    return Clicks(bank.times_s[kept], height[kept], energy, (loudness[:, kept] - usual).T)


def _chosen(clicks: Clicks, which: NDArray[np.bool_]) -> Clicks:
    return Clicks(clicks.times_s[which], clicks.strength[which], clicks.power[which], clicks.spectrum[which])


def near_clicks(bank: BandBank, *, least_height: float = 4.0, reach_s: float = 0.015) -> NDArray[np.bool_]:
    """Mark the frames in or near anything that stands out, click or not.

    Parameters
    ----------
    bank : BandBank
    least_height : float
        Height over the usual level, in robust standard deviations.
    reach_s : float
        Reach either side [s].

    Returns
    -------
    ndarray of bool, shape (frames,)
    """
    loud = standing_out(_over_running_level(bank, 400.0)[1], WIDTHS) > least_height
    reach = round(reach_s / bank.frame_s)
    marked: NDArray[np.bool_] = np.convolve(loud, np.ones(2 * reach + 1), mode="same") > 0.5
    return marked


def _over_running_level(bank: BandBank, low_hz: float) -> tuple[Floats, Floats]:
    """Power over the background level, and ln(1 + it) over about a click's length; both (bands, frames)."""
    rows = bank.mid_hz >= min(low_hz, float(bank.mid_hz[-1]))
    ratio = (bank.power / bank.background)[rows]
    # A click lasts some milliseconds: frames are joined so that it fills about one.
    joined = max(1, round(0.005 / bank.frame_s))
    kernel = np.full(joined, 1 / joined)
    return ratio, np.log1p(np.stack([np.convolve(row, kernel, mode="same") for row in ratio]))


def standing_out(loudness: Floats, widths: Sequence[int]) -> Floats:
    """Measure how far every frame stands out, in the group of bands where it does so most.

    Parameters
    ----------
    loudness : ndarray, shape (bands, frames)
    widths : sequence of int
        Sizes of the groups of neighbouring bands; all bands together are one more.

    Returns
    -------
    ndarray, shape (frames,)
        Robust standard deviations over the usual frame.
    """
    whole = np.concatenate([np.zeros((1, loudness.shape[1])), np.cumsum(loudness, axis=0)])
    best = np.full(loudness.shape[1], -np.inf)
    bands = loudness.shape[0]
    for width in sorted({*(min(width, bands) for width in widths), bands}):
        for first in range(0, bands - width + 1, 2):
            group = (whole[first + width] - whole[first]) / width
            middle = float(median(group))
            spread = 1.4826 * float(median(np.abs(group - middle)))
            best = np.maximum(best, (group - middle) / max(spread, 1e-6))
    return best


def peaks_of(values: Floats, reach: int) -> NDArray[np.intp]:
    """List where finite values are the highest within a reach of so many either side."""
    padded = np.pad(values, reach, constant_values=-np.inf)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=1)
    return np.flatnonzero((values == around) & np.isfinite(values))


def _mean_between(values: Floats, at: NDArray[np.intp], frame_s: float, start_s: float, stop_s: float) -> Floats:
    """Mean of a stretch set off from each frame."""
    whole = np.concatenate([[0.0], np.cumsum(values)])
    first = np.clip(at + round(start_s / frame_s), 0, values.size - 1)
    last = np.clip(at + round(stop_s / frame_s), first + 1, values.size)
    means: Floats = (whole[last] - whole[first]) / (last - first)
    return means


def regularity(times_s: Floats) -> float:
    """Chance that clicks at random follow each other as evenly.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
        Clicks in order of time [s].

    Returns
    -------
    float
        1 for fewer than eight clicks.

    Notes
    -----
    The ratio r of two neighbouring intervals of random clicks has P(r < x) =
    x / (1 + x), so that 12 % lie within a quarter of each other; those of a
    beat, at whatever speed it slows or quickens, nearly all do. Neighbouring ratios
    share an interval, so only every second counts.
    """
    if times_s.size < 8:
        return 1.0
    ratio = np.abs(np.diff(np.log(np.diff(times_s))))
    even, tried = int((ratio < math.log(1.25)).sum()) // 2, ratio.size // 2
    share = 2 * 1.25 / 2.25 - 1
    return binomial_tail(even, tried, share)


def without(clicks: Clicks, times_s: Floats, *, reach_s: float = 0.05) -> Clicks:
    """Leave out the clicks near given times, such as a speed marker's own."""
    if times_s.size == 0 or clicks.times_s.size == 0:
        return clicks
    far = np.min(np.abs(clicks.times_s[:, np.newaxis] - times_s), axis=1) > reach_s
    return _chosen(clicks, far)
