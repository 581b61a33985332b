"""Spins of either generator as files, the way phones write them: coded, gained, gated, clipped, at lower rates."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
import soundfile
from numpy.typing import NDArray
from pieced import piece_together
from pieced_phone import noise_gate
from pieces import Pieces

from acoustic.simulator import Spin, SpinPlan, simulate

Floats = NDArray[np.float64]
# A third with automatic gain.
USUAL = ("plain", "AAC 64", "gain", "plain", "AAC 64", "AAC 96 and gain")
WIDE = ("plain", "AAC 64", "gain", "Opus 32", "16 kHz", "clipped", "gate", "AAC 64 and gain")
# Of spins pieced together: phones write AAC, so most of them are.
PIECED = ("AAC 96", "AAC 64", "AAC 128 and gain", "plain", "Opus 48", "AAC 64 and gain")
PIECED_WIDE = (*PIECED, "AAC 64 and gate", "Opus 32 and gain", "16 kHz", "clipped", "gate and gain", "AAC 128")
Generator = Literal["physical", "pieced"]


def record(
    plan: SpinPlan,
    seed: int,
    folder: Path,
    *,
    widely: bool,
    generator: Generator = "physical",
    pieces: Pieces | None = None,
) -> tuple[Path, str, Floats]:
    """Simulate a plan, or piece it together, and write it as a phone might.

    Parameters
    ----------
    plan : SpinPlan
    seed : int
        Decides what the phone does.
    folder : Path
    widely : bool
        Gates, clipping and low rates too.
    generator : {'physical', 'pieced'}
    pieces : Pieces or None
        What to piece together, for 'pieced'.

    Returns
    -------
    path : Path
    how : str
        What the phone did.
    marks_s : ndarray, shape (k,)
        True times of the crank's mark.
    """
    path, how, spin = record_spin(plan, seed, folder, widely=widely, generator=generator, pieces=pieces)
    return path, how, spin.marks_s


def record_spin(
    plan: SpinPlan,
    seed: int,
    folder: Path,
    *,
    widely: bool,
    generator: Generator = "physical",
    pieces: Pieces | None = None,
) -> tuple[Path, str, Spin]:
    """As `record`, with the whole truth in place of the marks."""
    rng = np.random.default_rng(500_000 + seed)
    hows = {"physical": (USUAL, WIDE), "pieced": (PIECED, PIECED_WIDE)}[generator][widely]
    how = hows[seed % len(hows)]
    if "gain" in how:
        # Some take hold at once, some take a second, and most begin wide open.
        plan = replace(
            plan,
            gain_strength=float(rng.uniform(0.4, 1.0)),
            gain_attack_s=float(np.exp(rng.uniform(np.log(0.02), np.log(1.0)))),
            gain_opens_db=float(max(0.0, rng.uniform(-10, 25))),
        )
    if how == "16 kHz":
        plan = replace(plan, high_hz=7200.0)
    spin = made(plan, generator, pieces)
    sound, rate_hz = spin.samples, spin.sample_rate_hz
    if how == "16 kHz":
        from scipy.signal import resample_poly

        sound, rate_hz = resample_poly(sound, 1, 3), rate_hz // 3
    if how == "clipped":
        top = float(np.quantile(np.abs(sound), 0.9997))
        sound = np.clip(sound, -top, top)
    if "gate" in how:
        sound = noise_gate(sound) if generator == "pieced" else gated(sound, rate_hz)
    codec, *rate = how.split()
    if codec == "AAC":
        return coded(folder / "spin.m4a", sound, rate_hz, "aac", 1000 * int(rate[0])), how, spin
    if codec == "Opus":
        return coded(folder / "spin.ogg", sound, rate_hz, "libopus", 1000 * int(rate[0])), how, spin
    path = folder / "spin.wav"
    soundfile.write(path, sound, rate_hz, subtype="PCM_16")
    return path, how, spin


def made(plan: SpinPlan, generator: Generator, pieces: Pieces | None) -> Spin:
    """A spin from either generator."""
    if generator == "physical":
        return simulate(plan)
    if pieces is None:
        raise ValueError("no pieces to put together")
    return piece_together(plan, pieces)


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
