"""Simulated spins as files, the way phones write them: coded, gained, gated, clipped, at lower rates."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from acoustic.simulator import SpinPlan, simulate

Floats = NDArray[np.float64]
USUAL = ("plain", "AAC 64", "plain", "gain")
WIDE = ("plain", "AAC 64", "gain", "Opus 32", "16 kHz", "clipped", "gate", "AAC 64 and gain")


def record(plan: SpinPlan, seed: int, folder: Path, *, widely: bool) -> tuple[Path, str, Floats]:
    """Simulate a plan and write it as a phone might.

    Returns
    -------
    path : Path
    how : str
        What the phone did.
    marks_s : ndarray, shape (k,)
        True times of the crank's mark.
    """
    how = (WIDE if widely else USUAL)[seed % (len(WIDE) if widely else len(USUAL))]
    rng = np.random.default_rng(500_000 + seed)
    if "gain" in how:
        plan = replace(plan, gain_strength=float(rng.uniform(0.4, 1.0)))
    if how == "16 kHz":
        plan = replace(plan, high_hz=7200.0)
    spin = simulate(plan)
    sound, rate_hz = spin.samples, spin.sample_rate_hz
    if how == "16 kHz":
        from scipy.signal import resample_poly

        sound, rate_hz = resample_poly(sound, 1, 3), rate_hz // 3
    if how == "clipped":
        top = float(np.quantile(np.abs(sound), 0.9997))
        sound = np.clip(sound, -top, top)
    if how == "gate":
        sound = gated(sound, rate_hz)
    if "AAC" in how:
        return coded(folder / "spin.m4a", sound, rate_hz, "aac", 64_000), how, spin.marks_s
    if how == "Opus 32":
        return coded(folder / "spin.ogg", sound, rate_hz, "libopus", 32_000), how, spin.marks_s
    path = folder / "spin.wav"
    soundfile.write(path, sound, rate_hz, subtype="PCM_16")
    return path, how, spin.marks_s


def gated(sound: Floats, rate_hz: int) -> Floats:
    """What is no louder than the usual level turned down by 12 dB, as noise suppression does."""
    hop = rate_hz // 50
    blocks = sound.size // hop
    power = np.mean(sound[: blocks * hop].reshape(blocks, hop) ** 2, axis=1)
    gain = np.where(power > 1.5 * np.median(power), 1.0, 0.25)
    gain = np.convolve(gain, np.ones(3) / 3, mode="same")
    open_share: Floats = np.interp(np.arange(sound.size), (np.arange(blocks) + 0.5) * hop, gain)
    return sound * open_share


def coded(path: Path, sound: Floats, rate_hz: int, codec: str, bits_a_second: int) -> Path:
    """Encode, mono."""
    import av

    with av.open(str(path), "w") as out:
        stream: Any = out.add_stream(codec, rate=rate_hz)
        stream.bit_rate, stream.layout = bits_a_second, "mono"
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(sound[np.newaxis, :], dtype=np.float32), format="fltp", layout="mono"
        )
        frame.sample_rate = rate_hz
        resampler = av.AudioResampler(format=stream.format, layout="mono", rate=rate_hz)
        for part in resampler.resample(frame):
            out.mux(stream.encode(part))
        out.mux(stream.encode(None))
    return path
