"""What limits a recording: samples that no recorder writes, its running level, a cut-off top."""

from __future__ import annotations

import numpy as np
from bottleneck import median

from acoustic.dsp.arrays import Floats
from acoustic.dsp.levels.filterbank import HIGHEST_SHARE

# A float file may overshoot full scale by a few dB; 12 dB over is no recorder's sound (judgement).
HIGHEST = 4.0


def out_of_range(samples: Floats) -> int:
    """Count samples beyond 4 times full scale, which no recorder writes.

    Parameters
    ----------
    samples : ndarray, any shape
        Shares of full scale; may hold NaN, infinities and numbers whose square overflows.

    Returns
    -------
    int
        NaN and infinities are not counted.
    """
    return int(np.count_nonzero(np.isfinite(samples) & (np.abs(samples) > HIGHEST)))


def can_be_heard(samples: Floats) -> bool:
    """Whether all samples are numbers within a recorder's range."""
    return bool(np.isfinite(samples).all()) and out_of_range(samples) == 0


def running_rms(samples: Floats, sample_rate_hz: float, *, block_s: float = 0.05) -> Floats:
    """Level of each channel in the usual block of time: a pulse now and then does not count.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)
    sample_rate_hz : float
    block_s : float
        Block length [s].

    Returns
    -------
    ndarray, shape (channels,)
        Median over the blocks of the standard deviation within one; where that is
        nothing, a millionth of the whole channel's. What is no number or out of range
        counts as full scale.
    """
    samples = np.clip(np.nan_to_num(samples, nan=1.0, posinf=1.0, neginf=-1.0), -1.0, 1.0)
    size = max(1, min(len(samples), round(block_s * sample_rate_hz)))
    blocks = len(samples) // size
    spread = samples[: blocks * size].reshape(blocks, size, -1).std(axis=1)
    usual: Floats = np.maximum(np.median(spread, axis=0), 1e-6 * samples.std(axis=0))
    return usual


def bandwidth_hz(sound: Floats, sample_rate_hz: float) -> float:
    """Find the highest frequency that the recording really carries.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Finite samples.
    sample_rate_hz : float

    Returns
    -------
    float
        Foot of a codec's or converter's low pass [Hz]; 0.47 of the sample rate
        where there is none.

    Notes
    -----
    Median power in 200 Hz steps, from the top down: a cut is where the level
    rises by 15 dB within 1.2 kHz and everything above lies that far below
    the median of the 2 kHz under the cut.
    """
    nyquist_hz = HIGHEST_SHARE * sample_rate_hz
    if sound.size == 0:
        return nyquist_hz
    length = min(sound.size, 1 << 13)
    starts = np.linspace(0, sound.size - length, min(24, max(1, sound.size // length))).astype(np.intp)
    pieces = np.stack([sound[start : start + length] for start in starts]) * np.hanning(length)
    power = np.mean(np.abs(np.fft.rfft(pieces, axis=1)) ** 2, axis=0)
    step_hz = 200.0
    per_step = max(1, int(step_hz * length / sample_rate_hz))
    count = min(power.size // per_step, int(nyquist_hz / step_hz))
    if count < 12:
        return nyquist_hz
    level = 10 * np.log10(median(power[: count * per_step].reshape(count, per_step), axis=1) + 1e-30)
    above = np.maximum.accumulate(level[::-1])[::-1]
    for step in range(count - 2, 2, -1):
        below = float(median(level[max(0, step - 10) : step]))
        # Low down, even sound that falls steadily loses much in 1.2 kHz, so less room is given.
        foot = above[min(step + (5 if step >= 10 else 2), count - 1)]
        if level[step - 1] - foot > 15 and below - foot > 15:
            return min(nyquist_hz, step * step_hz)
    return nyquist_hz
