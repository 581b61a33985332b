"""Recordings spoilt in ways that files and recorders spoil them: none of them lets a bearing be called clean."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

Floats = NDArray[np.float64]
KINDS = ("wild sample", "byte lost", "noise", "cut off", "held", "drowned")


def spoil(sound: Floats, rate_hz: int, seed: int, folder: Path) -> tuple[Path, str]:
    """Write a recording spoilt in one of six ways, by seed.

    Parameters
    ----------
    sound : ndarray, shape (n,)
    rate_hz : int
    seed : int
    folder : Path

    Returns
    -------
    path : Path
    how : str
    """
    rng = np.random.default_rng(600_000 + seed)
    kind = KINDS[seed % len(KINDS)]
    path = folder / "spin.wav"
    if kind == "wild sample":
        power = float(rng.uniform(6, 300))
        sound = sound.copy()
        sound[int(rng.integers(sound.size))] = rng.choice([-1, 1]) * 10**power
        soundfile.write(path, sound, rate_hz, subtype="DOUBLE" if power > 38 else "FLOAT")
        return path, f"a sample at 1e{power:.0f}"
    if kind == "byte lost":
        soundfile.write(path, sound, rate_hz, subtype="PCM_16")
        held = path.read_bytes()
        at = int(rng.uniform(100, len(held) * 0.5))
        path.write_bytes(held[:at] + held[at + 1 :])
        return path, f"a byte lost at {at / len(held):.0%}"
    spoilt, how = _spoilt(sound, kind, rate_hz, rng)
    soundfile.write(path, np.clip(spoilt, -1, 1), rate_hz, subtype="PCM_16")
    return path, how


def _spoilt(sound: Floats, kind: str, rate_hz: int, rng: np.random.Generator) -> tuple[Floats, str]:
    n = sound.size
    level = float(np.std(sound))
    if kind == "noise":
        first, last = np.sort(rng.uniform(0, 1, 2))
        if last - first < 0.3:  # shorter ones leave a spin that can be judged
            first, last = 0.1, 1.0
        loud = float(10 ** rng.uniform(0.5, 1.5))
        noise = np.zeros(n)
        noise[int(first * n) : int(last * n)] = loud * level
        return sound + noise * rng.standard_normal(n), f"noise {loud:.0f} times as loud, {first:.0%} to {last:.0%}"
    if kind == "cut off":
        share = rng.uniform(0.05, 0.3)
        return sound[: int(share * n)], f"cut off at {share:.0%}"
    if kind == "held":
        hold = int(rng.uniform(0.02, 1.0) * rate_hz)
        held = sound.copy()
        for first in rng.integers(n, size=int(0.5 * n / hold) + 1):
            held[first : first + hold] = held[first]
        return held, f"held for {hold / rate_hz:.2f} s again and again"
    loud = float(10 ** rng.uniform(1.3, 2.0))
    return (sound + loud * level * rng.standard_normal(n)) / loud, f"drowned {20 * np.log10(loud):.0f} dB"
