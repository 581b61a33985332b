"""Rooms for spins pieced together: noise, talk, bangs and engines of real recordings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pieces import RATE_HZ, Pieces
from scipy import fft, signal

from acoustic.simulator import SpinPlan

Floats = NDArray[np.float64]
REFERENCE_HZ = (700.0, 7500.0)


def power(sound: Floats) -> float:
    """Mean power in the reference band."""
    length = fft.next_fast_len(sound.size, real=True)
    size = np.abs(fft.rfft(sound, length)) ** 2
    frequency_hz = fft.rfftfreq(length, 1 / RATE_HZ)
    inside = (frequency_hz >= REFERENCE_HZ[0]) & (frequency_hz <= REFERENCE_HZ[1])
    return float(2 * size[inside].sum() / sound.size / length)


def looped(clip: Floats, n: int, rng: np.random.Generator, fade_s: float = 0.1) -> Floats:
    """A clip from a random place on, repeated with cross-fades to a length."""
    fade = int(fade_s * RATE_HZ)
    rise = np.sin(np.linspace(0, np.pi / 2, fade))
    out = np.zeros(n + 2 * clip.size)
    first = int(rng.integers(clip.size // 2))
    piece, at = clip[first:].copy(), 0
    while at < n:
        faded = piece.copy()
        if at:
            faded[:fade] *= rise
        faded[-fade:] *= rise[::-1]
        out[at : at + faded.size] += faded
        at += faded.size - fade
        piece = clip
    return out[:n]


def shuffled(clip: Floats, n: int, rng: np.random.Generator) -> Floats:
    """A noise cut into blocks of 60 to 200 ms, laid in another order with cross-fades of equal power.

    What came back at the rig's own pace does not come back here; what is loud or faint for a while stays so.
    """
    out = np.zeros(n + RATE_HZ)
    fade = int(0.02 * RATE_HZ)
    rise = np.sin(np.linspace(0, np.pi / 2, fade))
    at = 0
    while at < n:
        length = int(rng.uniform(0.06, 0.2) * RATE_HZ)
        first = int(rng.integers(clip.size - length))
        block = clip[first : first + length].copy()
        block[:fade] *= rise
        block[-fade:] *= rise[::-1]
        out[at : at + length] += block
        at += length - fade
    return out[:n]


def room_noise(n: int, pieces: Pieces, rng: np.random.Generator) -> Floats:
    """Steady noise with the spectrum of the quietest moments of a real room."""
    kinds = [kind for kind in ("rain", "fire", "person", "clock", "chainsaw") if pieces.rooms.get(kind)]
    clips = pieces.rooms[kinds[int(rng.integers(len(kinds)))]]
    clip = clips[int(rng.integers(len(clips)))]
    _, _, levels = signal.stft(clip, RATE_HZ, nperseg=2048)
    power = np.abs(levels) ** 2
    quiet = power[:, np.argsort(power.sum(axis=0))[power.shape[1] // 20 : power.shape[1] // 4]].mean(axis=1)
    # A silent clip or a codec's cut leaves holes that no room has.
    quiet = np.maximum(quiet, 1e-5 * quiet.max())
    length = fft.next_fast_len(n, real=True)
    frequency_hz = fft.rfftfreq(length, 1 / RATE_HZ)
    shape = np.interp(frequency_hz, np.linspace(0, RATE_HZ / 2, quiet.size), np.sqrt(quiet))
    noise = fft.irfft(fft.rfft(rng.standard_normal(length)) * shape, length)[:n]
    return signal.sosfilt(signal.butter(2, 60, "highpass", fs=RATE_HZ, output="sos"), noise)


def bystanders(plan: SpinPlan, n: int, pieces: Pieces, rng: np.random.Generator) -> Floats:
    """Talk, engines, cries and bangs of real rooms."""
    sound = np.zeros(n)

    def add(kind: str, level_db: float | None) -> None:
        if level_db is None:
            return
        clips = (pieces.talk,) if kind == "talk" else pieces.rooms[kind]
        clip = looped(clips[int(rng.integers(len(clips)))], n, rng)
        sound[:] += clip * np.sqrt(10 ** (level_db / 10) / max(_loud_power(clip), 1e-30))

    add("talk", plan.talk_db)
    add("baby", plan.squeal_db)
    add("chainsaw", plan.compressor_db)
    if plan.hum_db is not None:
        t = np.arange(n) / RATE_HZ
        tones = sum(np.sin(2 * np.pi * 50 * k * t + rng.uniform(0, 6.28)) / k for k in range(1, 15))
        sound += tones * np.sqrt(2 * 10 ** (plan.hum_db / 10))
    if plan.surroundings_db is not None:
        kinds = sorted(pieces.rooms)
        clips = pieces.rooms[kinds[int(rng.integers(len(kinds)))]]
        clip = looped(clips[int(rng.integers(len(clips)))], n, rng)
        sound += clip * np.sqrt(10 ** (plan.surroundings_db / 10) / max(power(clip), 1e-30))
    for _ in range(plan.knocks):
        bang = _bang(pieces, rng) * 10 ** (rng.uniform(12, 28) / 20)
        at = int(rng.uniform(0, n - 1))
        sound[at : at + bang.size] += bang[: n - at]
    if plan.push_db is not None:
        at = max(0, int((plan.still_s[0] - rng.uniform(0, 0.3)) * RATE_HZ))
        first = int(rng.integers(pieces.talk.size - RATE_HZ))
        word = pieces.talk[first : first + int(0.7 * RATE_HZ)] * np.hanning(int(0.7 * RATE_HZ))
        word = word if rng.random() < 0.5 else _bang(pieces, rng)
        loud = np.sqrt(10 ** (plan.push_db / 10) / max(_loud_power(word), 1e-30))
        sound[at : at + word.size] += loud * word[: n - at]
    return sound


def _bang(pieces: Pieces, rng: np.random.Generator) -> Floats:
    """The loudest third of a second of a bark, a sneeze or a crackle; unit peak."""
    clips = [clip for kind in ("dog", "person", "fire") for clip in pieces.rooms.get(kind, ())]
    clip = clips[int(rng.integers(len(clips)))]
    top = int(np.argmax(np.abs(clip)))
    bang = clip[max(0, top - RATE_HZ // 50) : top + RATE_HZ // 3].copy()
    fade = RATE_HZ // 10
    bang[-fade:] *= np.linspace(1, 0, fade)
    unit: Floats = bang / np.max(np.abs(bang))
    return unit


def _loud_power(clip: Floats) -> float:
    """Power in the reference band of those 50 ms blocks that are within 20 dB of the loudest: while it lasts."""
    hop = RATE_HZ // 20
    sections = signal.butter(4, REFERENCE_HZ, "bandpass", fs=RATE_HZ, output="sos")
    power = (signal.sosfilt(sections, clip)[: clip.size // hop * hop].reshape(-1, hop) ** 2).mean(axis=1)
    return float(power[power > 0.01 * power.max()].mean()) if power.max() > 0 else 0.0
