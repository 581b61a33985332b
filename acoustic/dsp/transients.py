"""Short clicks: where they are, whether they keep a rhythm, whether they follow the crank."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import BandBank, running_level

Floats = NDArray[np.float64]

WIDTHS = (3, 6)  # bands taken together, besides all
ALONE = 0.4  # of a click's height: what it must fall to before and after
LEAST_HEIGHT = 7.0  # robust standard deviations: of those below, talk and running noise make as many
FEWEST_BANDS, BAND_NATS = 2, 0.7  # a strike rings in more than one third-octave band, a codec's hole may not


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
    usual = np.median(loudness, axis=1, keepdims=True)
    return Clicks(bank.times_s[kept], height[kept], energy, (loudness[:, kept] - usual).T)


def plain_clicks(clicks: Clicks) -> Clicks:
    """Keep the clicks that are high and broad enough to be strikes."""
    broad = np.count_nonzero(clicks.spectrum > BAND_NATS, axis=1) >= FEWEST_BANDS
    return _chosen(clicks, broad & (clicks.strength >= LEAST_HEIGHT))


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
    ratio = (bank.power / running_level(bank))[rows]
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
            middle = float(np.median(group))
            spread = 1.4826 * float(np.median(np.abs(group - middle)))
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


def rhythm(turns: Floats, *, highest_order: float = 16.0) -> tuple[float, float, Floats]:
    """Find the steadiest rhythm in a set of crank angles.

    Parameters
    ----------
    turns : ndarray, shape (k,)
        Crank angles of the clicks [turns].
    highest_order : float
        Highest rhythm to look for, events a turn.

    Returns
    -------
    order : float
    chance : float
        Chance that angles at random keep any rhythm as well (Rayleigh's test,
        all orders searched counted in).
    offset : ndarray, shape (k,)
        How far each click is from the beat, over the interval, 0 to 0.5.

    References
    ----------
    K. V. Mardia and P. E. Jupp, Directional Statistics (2000), section 6.3 (from
    memory): P(R^2 / n > z) is near exp(-z).
    """
    if turns.size < 6:
        return 0.0, 1.0, np.full(turns.size, 0.5)
    span = float(turns.max() - turns.min())
    orders = np.arange(0.8, highest_order, 0.2 / max(span, 1.0))
    vectors = np.exp(2j * np.pi * np.outer(orders, turns)).sum(axis=1)
    z = np.abs(vectors) ** 2 / turns.size
    best = int(z.argmax())
    tried = max(1.0, span * highest_order * 1.5)
    chance = -math.expm1(-tried * math.exp(-float(z[best])))
    return float(orders[best]), chance, off_beat(turns, float(orders[best]))


def off_beat(turns: Floats, order: float) -> Floats:
    """Measure how far each click is from a beat that they keep.

    Parameters
    ----------
    turns : ndarray, shape (k,)
        Crank angles of the clicks [turns].
    order : float
        Beats a turn, > 0.

    Returns
    -------
    ndarray, shape (k,)
        Share of the interval, 0 to 0.5; the beat falls where the clicks do on the whole.
    """
    phase = (turns * order - np.angle(np.exp(2j * np.pi * order * turns).sum()) / (2 * np.pi)) % 1
    offset: Floats = np.minimum(phase, 1 - phase)
    return offset


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
    from scipy.special import betainc

    if times_s.size < 8:
        return 1.0
    ratio = np.abs(np.diff(np.log(np.diff(times_s))))
    even, tried = int((ratio < math.log(1.25)).sum()) // 2, ratio.size // 2
    share = 2 * 1.25 / 2.25 - 1
    return float(betainc(even, tried - even + 1, share)) if even else 1.0


def without(clicks: Clicks, times_s: Floats, *, reach_s: float = 0.05) -> Clicks:
    """Leave out the clicks near given times, such as a speed marker's own."""
    if times_s.size == 0 or clicks.times_s.size == 0:
        return clicks
    far = np.min(np.abs(clicks.times_s[:, np.newaxis] - times_s), axis=1) > reach_s
    return _chosen(clicks, far)


def follows_crank(times_s: Floats, motion_times_s: Floats, motion_turns: Floats) -> float:
    """Log odds that clicks come evenly in crank angle rather than evenly in time.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
        Clicks within the turning part [s].
    motion_times_s, motion_turns : ndarray, shape (m,)
        Crank angle against time.

    Returns
    -------
    float
        Natural log of the likelihood ratio; 0 at constant speed.
    """
    if times_s.size == 0:
        return 0.0
    speed = np.gradient(motion_turns, motion_times_s)
    mean = (motion_turns[-1] - motion_turns[0]) / (motion_times_s[-1] - motion_times_s[0])
    return float(np.sum(np.log(np.maximum(np.interp(times_s, motion_times_s, speed), 1e-3) / mean)))


def more_than_expected(count: float, duration_s: float, quiet_count: int, quiet_s: float) -> float:
    """Chance of so many clicks, if they came no faster than in the still parts.

    Parameters
    ----------
    count : float
        Clicks in the turning part.
    duration_s : float
        Its length [s], > 0.
    quiet_count, quiet_s : int, float
        The same for the still parts; `quiet_s` may be 0, which tells nothing.

    Returns
    -------
    float
        Of all clicks at one rate, how many fall into the turning part is binomial with its share of the time
        (the conditional test of two Poisson rates: Przyborowski and Wilenski, Biometrika 31 (1940) 313-323,
        from memory); a binomial tail is an incomplete beta function.
    """
    from scipy.special import betainc

    if count < 1 or quiet_s <= 0:
        return 1.0
    return float(betainc(math.floor(count), quiet_count + 1, duration_s / (duration_s + quiet_s)))
