"""What limits a recording: silence, clipping, gaps, a cut-off top."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import HIGHEST_SHARE

Floats = NDArray[np.float64]

QUIETEST = 10 ** (-90 / 20)  # about one step of 16 bits
# Judgement: a microphone is never flat for as long; a lost packet leaves five times as much.
GAP_S = 0.004
FEWEST_STEPS = 40  # coarser sound is flat everywhere
# A float file may overshoot full scale by a few dB; 12 dB over is no recorder's sound (judgement).
HIGHEST = 4.0
# Of full scale 2: only what overflows jumps three quarters of the range between two samples (judgement).
WRAPPED_JUMP = 1.5


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


def wrapped_share(sound: Floats) -> float:
    """Share of neighbouring samples that lie at opposite ends of the scale, 1.5 of full scale apart or more.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Shares of full scale.

    Returns
    -------
    float
        A file of whole numbers that has lost a byte, or a gain that overflowed, leaves samples spread evenly from
        -1 to 1, each for itself: two such differ by 1.5 or more in (0.5 / 2)^2, one pair of 16. What a
        microphone hears swings so far between two samples only near half their rate and at full scale.
    """
    return float(np.mean(np.abs(np.diff(sound)) > WRAPPED_JUMP)) if sound.size > 1 else 0.0


def can_be_heard(samples: Floats) -> bool:
    """Whether all samples are numbers within a recorder's range."""
    return bool(np.isfinite(samples).all()) and out_of_range(samples) == 0


def sounding_level(sound: Floats) -> float:
    """Standard deviation about the mean over full scale: 0 for silence and for a constant."""
    return float(np.std(sound)) if sound.size else 0.0


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


def clipped_share(sound: Floats) -> float:
    """Share of samples that sit in flat tops at the recording's extreme value.

    Parameters
    ----------
    sound : ndarray, shape (n,)

    Returns
    -------
    float
        0 to 1. Only runs of three or more equal samples at the extreme count,
        and only where the extreme is at a fixed limit reached again and again.
    """
    top = float(np.max(np.abs(sound))) if sound.size else 0.0
    if top == 0:
        return 0.0
    size = np.abs(sound)
    at_top = size >= top * (1 - 1e-4)
    # A rounded tone has flat tops too, but thins out towards them; cut sound piles up at the limit.
    just_below = (size >= top * 0.99) & ~at_top
    few_steps = np.unique(size[:: max(1, size.size // 4096)]).size < FEWEST_STEPS
    if few_steps or at_top.sum() <= just_below.sum() / 2:
        return 0.0
    inner = at_top[1:-1] & at_top[:-2] & at_top[2:]
    return float(inner.sum() / sound.size) if inner.sum() >= 5 else 0.0


def gaps(sound: Floats, sample_rate_hz: float) -> list[tuple[float, float]]:
    """Find stretches where the samples stand still: dropouts, and what a noise gate leaves.

    Parameters
    ----------
    sound : ndarray, shape (n,)
    sample_rate_hz : float

    Returns
    -------
    list of (float, float)
        Start and stop of every constant stretch of 4 ms or more [s].
    """
    still = np.concatenate([[False], np.diff(sound) == 0, [False]])
    change = np.flatnonzero(np.diff(still.astype(np.int8)))
    starts, stops = change[::2], change[1::2]
    long = stops - starts >= max(8, GAP_S * sample_rate_hz)
    return [
        (float(a / sample_rate_hz), float(b / sample_rate_hz))
        for a, b in zip(starts[long], stops[long], strict=True)
    ]


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
    level = 10 * np.log10(np.median(power[: count * per_step].reshape(count, per_step), axis=1) + 1e-30)
    above = np.maximum.accumulate(level[::-1])[::-1]
    for step in range(count - 2, 2, -1):
        below = float(np.median(level[max(0, step - 10) : step]))
        # Low down, even sound that falls steadily loses much in 1.2 kHz, so less room is given.
        foot = above[min(step + (5 if step >= 10 else 2), count - 1)]
        if level[step - 1] - foot > 15 and below - foot > 15:
            return min(nyquist_hz, step * step_hz)
    return nyquist_hz
