"""What a phone does to a spin pieced together: band limits, automatic gain, gate, whole numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pieces import RATE_HZ
from scipy import signal

from acoustic.simulator import SpinPlan

Floats = NDArray[np.float64]
HOP = RATE_HZ // 100


def heard_by_phone(sound: Floats, plan: SpinPlan, rng: np.random.Generator) -> Floats:
    """Band limits, the plan's automatic gain, level, 16 bits.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        At `RATE_HZ`, the room's noise of unit power.
    plan : SpinPlan
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (n,)
        Within +-1.
    """
    low = signal.butter(2, plan.low_hz, "highpass", fs=RATE_HZ, output="sos")
    high = signal.cheby1(8, 0.5, min(plan.high_hz, 0.49 * RATE_HZ), fs=RATE_HZ, output="sos")
    sound = signal.sosfilt(high, signal.sosfilt(low, sound))
    if plan.gain_strength:
        attack_s, release_s = np.exp(rng.uniform(np.log([0.005, 0.25]), np.log([0.4, 2.5])))
        # Most recorders begin wide open, so that a recording begins too loud.
        open_db = float(rng.uniform(5, 25)) if rng.random() < 0.7 else 0.0
        sound = automatic_gain(sound, plan.gain_strength, attack_s=attack_s, release_s=release_s, open_db=open_db)
    step = 2.0**-15
    return np.clip(np.rint(sound * plan.level / step) * step, -1, 1 - step)


def automatic_gain(
    sound: Floats, strength: float, *, attack_s: float, release_s: float, open_db: float = 0.0
) -> Floats:
    """Hold the level, in decibels: a peak follower in 10 ms steps, at most 20 dB either way.

    Parameters
    ----------
    sound : ndarray, shape (n,)
    strength : float
        Share of each decibel's change that is taken back, 0 to 1.
    attack_s, release_s : float
        Time constants for louder and for fainter [s].
    open_db : float
        How much fainter than the first block the follower believes the sound to be at first.

    Returns
    -------
    ndarray, shape (n,)
    """
    blocks = [np.max(np.abs(block)) for block in np.array_split(sound, max(1, sound.size // HOP))]
    level_db = 20 * np.log10(np.maximum(blocks, 1e-9))
    usual_db = float(np.median(level_db))
    followed = np.empty(level_db.size)
    now = level_db[0] - open_db
    for k, value in enumerate(level_db):
        constant_s = attack_s if value > now else release_s
        now += (value - now) * min(1.0, HOP / RATE_HZ / constant_s)
        followed[k] = now
    gain_db = np.clip(-strength * (followed - usual_db), -20, 20)
    at = (np.arange(level_db.size) + 0.5) * sound.size / level_db.size
    held: Floats = sound * 10 ** (np.interp(np.arange(sound.size), at, gain_db) / 20)
    return held


def noise_gate(sound: Floats, *, open_db: float = 3.0, floor_db: float = -14.0, hold_s: float = 0.12) -> Floats:
    """Turn down what stays near the usual level, opening at once and closing after a while.

    Parameters
    ----------
    sound : ndarray, shape (n,)
    open_db : float
        Over the median block's level, where it opens.
    floor_db : float
        Gain when closed.
    hold_s : float
        Time it stays open.

    Returns
    -------
    ndarray, shape (n,)
    """
    blocks = np.array([np.mean(block**2) for block in np.array_split(sound, max(1, sound.size // HOP))])
    level_db = 10 * np.log10(np.maximum(blocks, 1e-18))
    opened = level_db > np.median(level_db) + open_db
    hold = int(hold_s * RATE_HZ / HOP)
    opened = np.convolve(opened, np.ones(hold + 1))[: opened.size] > 0
    gain_db = signal.lfilter([0.4], [1, -0.6], np.where(opened, 0.0, floor_db))
    at = (np.arange(opened.size) + 0.5) * sound.size / opened.size
    gated: Floats = sound * 10 ** (np.interp(np.arange(sound.size), at, gain_db) / 20)
    return gated
