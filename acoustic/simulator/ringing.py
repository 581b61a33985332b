"""What one strike sounds like: the shell and the frame ring."""

from __future__ import annotations

import numpy as np

from acoustic.dsp.arrays import Floats


def frame_response(
    sample_rate_hz: float,
    rng: np.random.Generator,
    *,
    low_hz: float = 500.0,
    high_hz: float = 9000.0,
    modes: int = 6,
) -> Floats:
    """Draw the answer of a shell and frame to a unit strike.

    Parameters
    ----------
    sample_rate_hz : float
    rng : numpy.random.Generator
    low_hz, high_hz : float
        Range of the resonances [Hz].
    modes : int
        How many resonances.

    Returns
    -------
    ndarray, shape (n,)
        40 ms long, unit energy.
    """
    top_hz = min(high_hz, 0.45 * sample_rate_hz)
    t = np.arange(int(0.04 * sample_rate_hz)) / sample_rate_hz
    answer = np.zeros_like(t)
    for _ in range(modes):
        frequency_hz = low_hz * (top_hz / low_hz) ** rng.uniform()
        damping = rng.uniform(0.015, 0.06)
        decay = np.exp(-2 * np.pi * damping * frequency_hz * t)
        answer += rng.lognormal(0, 0.5) * decay * np.sin(2 * np.pi * frequency_hz * t + rng.uniform(0, 2 * np.pi))
    return answer / float(np.sqrt(np.sum(answer**2)))


def ring(times_s: Floats, strength: Floats, response: Floats, *, samples: int, sample_rate_hz: float) -> Floats:
    """Sum the answers to a train of strikes.

    Parameters
    ----------
    times_s, strength : ndarray, shape (k,)
        When [s] and how hard.
    response : ndarray, shape (m,)
        Answer to a unit strike.
    samples : int
        Length of the result.
    sample_rate_hz : float

    Returns
    -------
    ndarray, shape (samples,)
    """
    at = np.round(times_s * sample_rate_hz).astype(int)
    inside = (at >= 0) & (at < samples)
    train = np.bincount(at[inside], weights=strength[inside], minlength=samples)
    length = samples + response.size
    spectrum = np.fft.rfft(train, length) * np.fft.rfft(response, length)
    return np.fft.irfft(spectrum, length)[:samples]


def ring_in_turn(
    times_s: Floats,
    strength: Floats,
    responses: list[Floats],
    *,
    samples: int,
    sample_rate_hz: float,
    rng: np.random.Generator,
) -> Floats:
    """Sum the answers to a train of strikes, each a mixture of its own: no two balls strike one place alike.

    Parameters
    ----------
    times_s, strength : ndarray, shape (k,)
        When [s] and how hard.
    responses : list of ndarray
        Answers to a unit strike, of which each strike takes random shares whose squares sum to one.
    samples : int
    sample_rate_hz : float
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (samples,)
    """
    shares = rng.standard_normal((len(responses), times_s.size))
    shares[0] += 1.5
    shares /= np.sqrt(np.sum(shares**2, axis=0))
    sound = np.zeros(samples)
    for response, share in zip(responses, shares, strict=True):
        sound += ring(times_s, strength * share, response, samples=samples, sample_rate_hz=sample_rate_hz)
    return sound
