"""Dense roughness: how much the level of a band flickers over what smooth hiss does."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic.core.envelope import BandBank

Floats = NDArray[np.float64]

BLOCK_S = 0.008
QUANTILE = 0.3  # what clicks are left move the upper quantiles, a rough ring moves all of them
FEWEST_BLOCKS = 30


def flicker(bank: BandBank, start_s: float, stop_s: float, *, leave_out: NDArray[np.bool_]) -> Floats:
    """Spread of each band's level from block to block, over that of smooth hiss.

    Parameters
    ----------
    bank : BandBank
    start_s, stop_s : float
        Stretch to look at [s].
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
