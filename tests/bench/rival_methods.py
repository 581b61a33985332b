"""Published ways from a sound to an order spectrum of its events, written from their definitions.

None serves the check; `bench_evidence.py` sets them beside it. All get the turning part, the crank's angle, and
a range of frequencies in which every simulated phone carries sound: up to the check's own limit the kurtogram
mostly picked what a codec left above its cut, and whitening raised it. Where a paper works in time, its envelope
is read in crank angle here, since a coasting crank has no steady rate.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from acoustic.dsp.orders.spectrum import HIGHEST_ORDER, OrderSpectra
from acoustic.dsp.orders.tracking import BINS_A_TURN, bin_means
from acoustic.dsp.quality import bandwidth_hz

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LOWEST_HZ, TOP_HZ = 500.0, 11_000.0
NARROWEST_HZ = 375.0  # narrower bands are slower than the fastest strikes' eighth harmonic
WINDOW_S = 0.004
FINEST = 16  # parts that the coherence's bands are split into at most
PADDING = 4
# Middle, and median distance from it, of an exponential law of mean 1.
EXPONENTIAL_MIDDLE, EXPONENTIAL_SPREAD = math.log(2), 0.4812


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """The turning part of a recording, with the crank's angle.

    Attributes
    ----------
    spectrum : ndarray, shape (m,)
        One-sided FFT of the part.
    sound : ndarray, shape (n,)
    length : int
        Samples transformed, >= n.
    sample_rate_hz, first_s : float
        And the time of the first sample [s].
    times_s, turns : ndarray, shape (k,)
        Crank angle [turns] against time [s].
    top_hz : float
        Highest frequency that carries sound [Hz].
    frame_rate_hz : float
        Short-time spectra wanted a second.
    """

    spectrum: Complexes
    sound: Floats
    length: int
    sample_rate_hz: float
    first_s: float
    times_s: Floats
    turns: Floats
    top_hz: float
    frame_rate_hz: float


def take(sound: Floats, sample_rate_hz: float, times_s: Floats, turns: Floats) -> Take:
    """Cut out the turning part and transform it once."""
    first = max(0, math.ceil(float(times_s[0]) * sample_rate_hz))
    part = sound[first : int(float(times_s[-1]) * sample_rate_hz)]
    length = scipy.fft.next_fast_len(part.size, real=True)
    fastest_hz = float(np.gradient(turns, times_s).max())
    return Take(
        spectrum=scipy.fft.rfft(part, length),
        sound=part,
        length=length,
        sample_rate_hz=sample_rate_hz,
        first_s=first / sample_rate_hz,
        times_s=times_s,
        turns=turns,
        top_hz=min(TOP_HZ, bandwidth_hz(sound, sample_rate_hz)),
        frame_rate_hz=float(np.clip(140 * fastest_hz, 1000.0, 8000.0)),
    )


def kurtogram(part: Take) -> OrderSpectra:
    """Squared envelope of the band whose complex envelope is the most impulsive.

    Parameters
    ----------
    part : Take

    Returns
    -------
    OrderSpectra
        One row.

    Notes
    -----
    A 1/3-binary tree: the range is split into 1, 2, 3, 4, 6, 8, 12, ... equal bands; the
    kurtosis is mean |x|^4 over (mean |x|^2)^2, less 2. The bands are cut out of one FFT rather than by
    the paper's short filters.

    References
    ----------
    J. Antoni, Mechanical Systems and Signal Processing 20 (2006) 282-307 and 21 (2007) 108-124
    (from memory): spectral kurtosis and its fast kurtogram.
    """
    low, high = LOWEST_HZ, part.top_hz
    best, chosen = -math.inf, (low, high)
    for count in _tree(int((high - low) / NARROWEST_HZ)):
        for edges in pairwise(np.linspace(low, high, count + 1)):
            power = _squared_envelope(part, part.spectrum, edges, oversampled=1)
            kurtosis = float(np.mean(power**2) / np.mean(power) ** 2) - 2
            if kurtosis > best:
                best, chosen = kurtosis, edges
    return _order_spectrum(part, _squared_envelope(part, part.spectrum, chosen))


def prewhitened(part: Take) -> OrderSpectra:
    """Squared envelope after cepstrum prewhitening: every line of the spectrum gets magnitude 1.

    References
    ----------
    N. Sawalhi and R. B. Randall, and P. Borghesani et al., Mechanical Systems and Signal
    Processing 36 (2013) 370-384 (from memory): the real cepstrum set to zero.
    """
    return _order_spectrum(part, _prewhitened_envelope(part))


def log_envelope(part: Take) -> OrderSpectra:
    """Log of the squared envelope over the whole range, prewhitened.

    References
    ----------
    P. Borghesani and J. Antoni, Mechanical Systems and Signal Processing 90 (2017) 378-398
    (from memory): the log envelope holds out against lone bangs. Prewhitening by the cepstrum, as above,
    stands for the paper's assumption of a white background.
    """
    power = _prewhitened_envelope(part)
    return _order_spectrum(part, np.log(np.maximum(power, 1e-12 * power.mean())))


def coherence_whole(part: Take) -> OrderSpectra:
    """Squared cyclic spectral coherence, summed over the whole range: the enhanced envelope spectrum.

    References
    ----------
    J. Antoni, G. Xin and N. Hamzaoui, Mechanical Systems and Signal Processing 92 (2017) 248-277, and
    D. Abboud and J. Antoni, the same 87 (2017) (both from memory): the fast spectral correlation is read off
    short-time spectra; in angle, it becomes order-frequency. Only its first term is
    kept, the transform of the short-time powers, which holds for rates far below the window's width: strikes
    come 3 to 30 times a second, the window is 250 Hz wide.
    """
    powers, edges_s = _short_time_powers(part)
    return _coherence(part, powers / powers.mean(axis=1, keepdims=True), edges_s, finest=1)


def coherence_band(part: Take) -> OrderSpectra:
    """The same summed over each band of a 1/3-binary tree: the improved envelope spectrum; the best band counts.

    References
    ----------
    As `coherence_whole`; choosing the band by the lines wanted follows A. Mauricio et al., Mechanical Systems
    and Signal Processing 144 (2020) 106891 (from memory).
    """
    powers, edges_s = _short_time_powers(part)
    return _coherence(part, powers / powers.mean(axis=1, keepdims=True), edges_s, finest=FINEST)


def log_coherence_band(part: Take) -> OrderSpectra:
    """The same of the log of the short-time powers: the two ideas taken together."""
    powers, edges_s = _short_time_powers(part)
    logs = np.log(np.maximum(powers, 1e-9 * powers.mean(axis=1, keepdims=True)))
    return _coherence(part, logs, edges_s, finest=FINEST)


RIVALS: Mapping[str, Callable[[Take], OrderSpectra]] = {
    "kurtogram": kurtogram,
    "prewhitening": prewhitened,
    "log envelope": log_envelope,
    "coherence": coherence_whole,
    "coherence, band": coherence_band,
    "coherence, log": log_coherence_band,
}


def _tree(most: int) -> list[int]:
    """1, 2, 3, 4, 6, 8, 12, ...: into how many bands each level splits the range."""
    halves = [1 << k for k in range(most.bit_length())]
    return sorted(count for count in (*halves, *(3 * half for half in halves)) if count <= max(1, most))


def _squared_envelope(
    part: Take, spectrum: Complexes, edges_hz: tuple[float, float], *, oversampled: int = 2
) -> Floats:
    """Squared magnitude of a band's analytic signal, at its own low rate."""
    low, high = (round(edge * part.length / part.sample_rate_hz) for edge in edges_hz)
    bins = spectrum[low : min(high, spectrum.size - 1)]
    analytic = scipy.fft.ifft(bins, scipy.fft.next_fast_len(oversampled * bins.size))
    power: Floats = analytic.real**2 + analytic.imag**2
    return power


def _prewhitened_envelope(part: Take) -> Floats:
    magnitude = np.abs(part.spectrum)
    white = part.spectrum / np.maximum(magnitude, 1e-12 * magnitude.max())
    return _squared_envelope(part, white, (LOWEST_HZ, part.top_hz))


def _order_spectrum(part: Take, envelope: Floats) -> OrderSpectra:
    """Order spectrum of an envelope that spans the whole transform."""
    step_s = part.length / part.sample_rate_hz / envelope.size
    heard = int(part.sound.size / part.sample_rate_hz / step_s)
    edges_s = part.first_s + step_s * (np.arange(heard + 1) - 0.5)
    orders, lines = _lines(part, envelope[np.newaxis, :heard], edges_s)
    return _read(orders, np.abs(lines) ** 2, part)


def _short_time_powers(part: Take) -> tuple[Floats, Floats]:
    """Squared short-time spectra, shape (bins, frames), and the frames' edges [s]."""
    hop = round(part.sample_rate_hz / part.frame_rate_hz)
    window = np.hanning(max(round(WINDOW_S * part.sample_rate_hz), 4 * hop) + 1)[:-1]
    frames = np.lib.stride_tricks.sliding_window_view(part.sound, window.size)[::hop]
    spectra = scipy.fft.rfft(frames * window, axis=1)
    frequency_hz = scipy.fft.rfftfreq(window.size, 1 / part.sample_rate_hz)
    kept = spectra[:, (frequency_hz >= LOWEST_HZ) & (frequency_hz <= part.top_hz)]
    first_s = part.first_s + window.size / 2 / part.sample_rate_hz
    edges_s = first_s + hop / part.sample_rate_hz * (np.arange(len(frames) + 1) - 0.5)
    return np.ascontiguousarray((kept.real**2 + kept.imag**2).T), edges_s


def _coherence(part: Take, levels: Floats, edges_s: Floats, *, finest: int) -> OrderSpectra:
    """Squared coherence of every frequency, summed over the bands of a tree; a row each."""
    orders, lines = _lines(part, levels, edges_s)
    running = np.pad(np.cumsum(np.abs(lines) ** 2, axis=0), ((1, 0), (0, 0)))
    bands = {
        (int(low), int(high))
        for count in _tree(min(finest, len(lines)))
        for low, high in pairwise(np.linspace(0, len(lines), count + 1).round())
    }
    summed = np.stack([running[high] - running[low] for low, high in sorted(bands)])
    return _read(orders, summed, part)


def _lines(part: Take, levels: Floats, edges_s: Floats) -> tuple[Floats, Complexes]:
    """Orders, and Fourier lines over crank angle of levels in equal steps of time, shape (rows, orders)."""
    angle = np.interp(edges_s, part.times_s, part.turns)
    covered = float(angle[-1] - angle[0])
    count = int(covered * BINS_A_TURN)
    cells = bin_means(levels, angle, cells=count)
    cells = (cells - cells.mean(axis=1, keepdims=True)) * np.kaiser(count, 3.5)
    length = scipy.fft.next_fast_len(PADDING * count, real=True)
    # Past this order neither the cells nor the frames at full speed can carry a line.
    step_s, fastest_hz = float(edges_s[1] - edges_s[0]), float(np.gradient(part.turns, part.times_s).max())
    highest = min(HIGHEST_ORDER, 0.45 / step_s / fastest_hz)
    keep = min(length // 2, int(highest * covered * length / count)) + 1
    orders = np.arange(keep) * count / (length * covered)
    return orders, scipy.fft.rfft(cells, length, axis=1)[:, :keep]


def _read(orders: Floats, power: Floats, part: Take) -> OrderSpectra:
    """Put order spectra over their floor and on the scale of an exponential law of mean 1.

    One law for all: what is summed over many frequencies scatters less than a single spectrum, and would else
    be read as if nothing stood out.
    """
    ratio = power / _floor(power, orders)
    middle = np.median(ratio[:, orders > 2], axis=1, keepdims=True)
    spread = np.median(np.abs(ratio[:, orders > 2] - middle), axis=1, keepdims=True)
    scaled = np.maximum(0.0, EXPONENTIAL_MIDDLE + (ratio - middle) * EXPONENTIAL_SPREAD / spread)
    rows = tuple((row, row) for row in range(len(scaled)))
    return OrderSpectra(orders, scaled, rows, float(part.turns[-1] - part.turns[0]))


def _floor(power: Floats, orders: Floats) -> Floats:
    """Median of stretches of orders that widen upwards, joined smoothly."""
    edges = np.concatenate([[0.15, 0.6, 1.3, 2.3], np.geomspace(3.6, orders[-1], 12)])
    spots, levels = [], []
    for low, high in pairwise(edges):
        inside = (orders >= low) & (orders < high)
        if np.count_nonzero(inside) >= 4:
            spots.append(math.log((low + high) / 2))
            levels.append(np.log(np.median(power[:, inside], axis=1) + 1e-300))
    at = np.log(np.maximum(orders, 1e-3))
    floor: Floats = np.exp(np.stack([np.interp(at, spots, row) for row in np.array(levels).T]))
    return floor
