"""What is wrong with samples, in numbers: silence, clipping, gaps, jumps from end to end of the scale."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

QUIETEST = 10 ** (-90 / 20)  # about one step of 16 bits
# Judgement: a microphone is never flat for as long; a lost packet leaves five times as much.
GAP_S = 0.004
FEWEST_STEPS = 40  # coarser sound is flat everywhere
# Of full scale 2: only what overflows jumps three quarters of the range between two samples (judgement).
WRAPPED_JUMP = 1.5


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


def sounding_level(sound: Floats) -> float:
    """Standard deviation about the mean over full scale: 0 for silence and for a constant."""
    return float(np.std(sound)) if sound.size else 0.0


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
