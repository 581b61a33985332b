"""Short-time levels of a bank of third-octave bands: one FFT in, one short inverse FFT a band.

By `numpy.fft`, tested against `scipy.signal`, which takes 0.6 s to import: more than the whole check.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from bottleneck import median
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats, lock_fields, locked

# IEC 61260-1:2014: octave ratio G and the exact third-octave mid-band frequencies 1000 G^(x/3).
OCTAVE_RATIO = 10 ** (3 / 10)
LOWEST_BAND = -10  # 100 Hz; below, a phone hears next to nothing
HIGHEST_BAND = 12  # 16 kHz
# Judgement: longer than a strike rings, shorter than a crank changes its speed in.
LEVEL_WINDOW_S = 0.3
HIGHEST_SHARE = 0.47  # of the sample rate: past it, converters let nothing through


@dataclass(frozen=True, eq=False)  # no slots: a background is kept once it was asked for
class BandBank:
    """Mean power of every band in every frame.

    Attributes
    ----------
    mid_hz : ndarray, shape (bands,)
        Exact mid-band frequencies [Hz].
    power : ndarray, shape (bands, frames)
        Mean square of the band's sound in the frame; read-only.
    frame_s : float
        Frame length and step [s].
    first_s : float
        Time of the first frame's middle [s].
    """

    mid_hz: Floats
    power: Floats
    frame_s: float
    first_s: float

    def __post_init__(self) -> None:
        lock_fields(self, "mid_hz", "power")

    @property
    def times_s(self) -> Floats:
        """Middles of the frames [s], shape (frames,)."""
        return self.first_s + self.frame_s * np.arange(self.power.shape[1], dtype=np.float64)

    @property
    def duration_s(self) -> float:
        """Length of all frames together [s]."""
        return float(self.power.shape[1] * self.frame_s)

    @property
    def width_hz(self) -> Floats:
        """Widths of the bands [Hz], shape (bands,)."""
        width: Floats = self.mid_hz * (OCTAVE_RATIO ** (1 / 6) - OCTAVE_RATIO ** (-1 / 6))
        return width

    @functools.cached_property
    def background(self) -> Floats:
        """Its `background_level` over the usual window, shape (bands, frames): several look at it."""
        return locked(background_level(self))

    def edges_hz(self, first: int, last: int) -> tuple[float, float]:
        """Outer edges [Hz] of a run of bands, both ends counted in."""
        half = OCTAVE_RATIO ** (1 / 6)
        return float(self.mid_hz[first] / half), float(self.mid_hz[last] * half)

    def first_band(self, low_hz: float) -> int:
        """Lowest band whose middle is at a frequency [Hz] or above; the highest band where none is."""
        return min(int(np.searchsorted(self.mid_hz, low_hz)), self.mid_hz.size - 1)

    def frames_between(self, start_s: float, stop_s: float) -> NDArray[np.bool_]:
        """Which frames lie in a stretch of time, shape (frames,)."""
        times = self.times_s
        inside: NDArray[np.bool_] = (times >= start_s) & (times < stop_s)
        return inside


def band_bank(
    sound: Floats, *, sample_rate_hz: float, top_hz: float | None = None, frame_rate_hz: float = 1000.0
) -> BandBank:
    """Split a sound into third-octave bands and measure each band's power in short frames.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Finite samples.
    sample_rate_hz : float
        > 0.
    top_hz : float or None
        Highest frequency that carries sound [Hz]; bands reaching past it are left out. 0.47 of
        the sample rate if None.
    frame_rate_hz : float
        Wanted frames a second; the true rate is the nearest that divides the samples evenly.

    Returns
    -------
    BandBank

    Raises
    ------
    ValueError
        The sound is not one-dimensional, or has no room for a single band.

    Notes
    -----
    Each band's stretch of the spectrum is moved to zero frequency and inverted
    at a rate just wide enough for it; the squared magnitude, averaged over the
    frame, is half the mean square of the analytic signal and so the band's power.

    References
    ----------
    IEC 61260-1:2014 for the mid-band frequencies and edges. The band shape here
    is a flat top with raised-cosine flanks an eighth of the band wide, narrower
    than the standard's class 1 skirts.
    """
    if sound.ndim != 1:
        raise ValueError(f"a one-dimensional sound is needed, got shape {sound.shape}")
    hop = max(1, round(sample_rate_hz / frame_rate_hz))
    frames = _fast_length(-(-sound.size // hop))
    spectrum = np.fft.rfft(sound, frames * hop)
    step_hz = sample_rate_hz / (frames * hop)
    half = OCTAVE_RATIO ** (1 / 6)
    exact = 1000.0 * OCTAVE_RATIO ** (np.arange(LOWEST_BAND, HIGHEST_BAND + 1) / 3)
    top_hz = HIGHEST_SHARE * sample_rate_hz if top_hz is None else top_hz
    mid_hz = exact[exact * half <= top_hz]
    if mid_hz.size == 0:
        raise ValueError(f"no third-octave band fits below {top_hz} Hz")
    power = np.empty((mid_hz.size, frames))
    for row, middle in enumerate(mid_hz):
        power[row] = _band_power(spectrum, middle / half / step_hz, middle * half / step_hz, frames)
    power *= 2.0 / (frames * hop) ** 2
    heard = -(-sound.size // hop)
    # All bands share one frame grid; the middle of the fine samples in a frame is its time.
    return BandBank(mid_hz, power[:, :heard].copy(), hop / sample_rate_hz, 0.5 * hop / sample_rate_hz)


def _band_power(spectrum: NDArray[np.complex128], low: float, high: float, frames: int) -> Floats:
    """Frame-averaged squared magnitude of the band between two (fractional) bins."""
    flank = max(1.0, (high - low) / 8)
    first, last = max(1, math.ceil(low - flank)), min(spectrum.size - 1, math.floor(high + flank))
    bins = np.arange(first, last + 1)
    distance = np.minimum(bins - (low - flank / 2), (high + flank / 2) - bins) / flank
    weight = np.sin(np.pi / 2 * np.clip(distance, 0, 1))
    fine = -(-bins.size // frames)
    shifted = np.zeros(frames * fine, dtype=np.complex128)
    shifted[: bins.size] = spectrum[bins] * weight
    # Delay by half a fine sample so that the fine samples sit symmetrically in their frame.
    shifted[: bins.size] *= np.exp(1j * np.pi * np.arange(bins.size) / shifted.size)
    analytic = np.fft.ifft(shifted) * shifted.size
    magnitude = analytic.real**2 + analytic.imag**2
    mean: Floats = magnitude.reshape(frames, fine).mean(axis=1)
    return mean


def _fast_length(least: int) -> int:
    """Smallest 5-smooth number at or above `least`."""
    best = 1 << math.ceil(math.log2(max(least, 1)))
    fives = 1
    while fives < best:
        threes = fives
        while threes < best:
            twos = threes << max(0, math.ceil(math.log2(least / threes)))
            if least <= twos < best:
                best = twos
            threes *= 3
        fives *= 5
    return best


@functools.cache
def _mean_to_median(shape: float) -> float:
    """Mean over median of a gamma law: read off the law of the logarithm, to a millionth."""
    logs = np.linspace(-20.0, 4.0, 8193)
    density = np.exp(shape * (logs + 1 - np.exp(logs)))
    below = np.cumsum(density) - density / 2
    return float(np.exp(-np.interp(below[-1] / 2, below, logs)))


def background_level(bank: BandBank, *, window_s: float = LEVEL_WINDOW_S) -> Floats:
    """Level of the quieter half of each stretch of time: events do not lift it.

    Parameters
    ----------
    bank : BandBank
    window_s : float
        Width of the running median [s], 8 frames at least.

    Returns
    -------
    ndarray, shape (bands, frames)
        Positive, smooth; for Gaussian noise it is the mean power.

    Raises
    ------
    ValueError
        The window is shorter than 8 frames.

    Notes
    -----
    The power of Gaussian noise in a band B, averaged over a frame T, follows a
    gamma law of shape B T or somewhat more, 1 at least; its median is scaled to
    its mean.
    """
    power, window = bank.power, round(window_s / bank.frame_s)
    if window < 8:
        raise ValueError(f"a window of 8 frames or more is needed, got {window}")
    block = min(window // 8, power.shape[1])
    blocks = power.shape[1] // block
    coarse = median(power[:, : blocks * block].reshape(power.shape[0], blocks, block), axis=2)
    reach = min(4, blocks // 2)
    padded = np.pad(coarse, ((0, 0), (reach, reach)), mode="edge")
    stacked = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=1)
    shape = np.maximum(1.0, bank.width_hz * bank.frame_s + 0.5)
    level = median(stacked, axis=2) * np.array([_mean_to_median(each) for each in shape])[:, np.newaxis]
    at = (np.arange(blocks) + 0.5) * block
    frames = np.arange(power.shape[1]) + 0.5
    smooth = np.stack([np.interp(frames, at, row) for row in level])
    floor = 1e-6 * np.maximum(smooth.max(axis=1, keepdims=True), 1e-30)
    raised: Floats = np.maximum(smooth, floor)
    return raised
