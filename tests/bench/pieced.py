"""A spin put together from pieces of real recordings, for the same plans that the physical simulator takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pieced_phone import heard_by_phone
from pieced_timing import crank_motion, damage_passes
from pieces import RATE_HZ, Pieces, Train
from scipy import fft, signal

from acoustic.simulator import Spin, SpinPlan

Floats = NDArray[np.float64]
REFERENCE_HZ = (700.0, 7500.0)


def piece_together(plan: SpinPlan, pieces: Pieces) -> Spin:
    """Make one recording from a plan and real pieces.

    Parameters
    ----------
    plan : SpinPlan
        As for `acoustic.simulator.simulate`, with levels of the same meaning: mean power from 0.7 to 7.5 kHz
        while turning, over the room's noise.
    pieces : Pieces

    Returns
    -------
    Spin
    """
    rng = np.random.default_rng([20_221, plan.seed])
    times_s, turns, speed_hz = crank_motion(plan, rng)
    n = int(plan.duration_s * RATE_HZ)
    clock_s = np.arange(n) / RATE_HZ
    pace = np.interp(clock_s, times_s, speed_hz) / max(float(speed_hz.max()), 1e-9)
    angle = np.interp(clock_s, times_s, turns)
    turning = pace > 0

    def laid(sound: Floats, level_db: float) -> Floats:
        power = _power(sound) * n / max(1, np.count_nonzero(turning))
        return sound * np.sqrt(10 ** (level_db / 10) / power) if power > 0 else sound

    background = _room_noise(n, pieces, rng)
    sound = background / np.sqrt(_power(background))
    sound = sound + laid(_running(plan, n, pace, angle, pieces, rng), plan.running_db)
    moving = np.flatnonzero(speed_hz > 0)
    inside = slice(int(moving[0]), int(moving[-1]) + 1)
    for part, level_db in plan.defects:
        events = _defect(plan, part, (times_s[inside], turns[inside], speed_hz[inside]), n, pieces, rng)
        sound = sound + laid(events, level_db)
    sound = sound + _bystanders(plan, n, pieces, rng)
    marks = np.arange(1, int(np.ceil(turns[-1])))
    marks_s = np.interp(marks, turns[inside], times_s[inside])
    if plan.ticks_db is not None:
        sound = sound + _ticks(marks_s, plan.ticks_db, n, pieces, rng)
    return Spin(
        samples=heard_by_phone(sound, plan, rng),
        sample_rate_hz=RATE_HZ,
        times_s=times_s,
        turns=turns,
        start_s=float(times_s[inside.start]),
        stop_s=float(times_s[inside.stop - 1]),
        marks_s=marks_s,
    )


def _power(sound: Floats) -> float:
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


def _room_noise(n: int, pieces: Pieces, rng: np.random.Generator) -> Floats:
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


def _running(
    plan: SpinPlan, n: int, pace: Floats, angle: Floats, pieces: Pieces, rng: np.random.Generator
) -> Floats:
    """Running noise of a real healthy bearing that follows the crank, with the plan's own waviness and swell."""
    clip = pieces.running[int(rng.integers(len(pieces.running)))]
    noise = shuffled(clip, n, rng)
    orders = (
        plan.geometry.balls
        * (1 + np.array([-1, 1]) * plan.geometry.ball_diameter_mm / plan.geometry.pitch_diameter_mm)
        / 2
    )
    swell_db = np.zeros(n)
    for k in range(1, plan.waviness_lines + 1):
        for order, share in zip(orders, (1.0, 0.5), strict=True):
            swell_db += 8.7 * plan.waviness * share / k * np.cos(2 * np.pi * (k * order * angle + rng.uniform()))
    notch = 1 + plan.notch[1] * np.cos(2 * np.pi * (plan.notch[0] * angle + rng.uniform()))
    return noise * pace ** rng.uniform(0.8, 1.4) * 10 ** (swell_db / 20) * notch


def _lay(waves: list[Floats], at_s: Floats, n: int) -> Floats:
    """Sum sounds that begin 1 ms before given times."""
    out = np.zeros(n)
    for wave, time_s in zip(waves, at_s, strict=True):
        first = round((time_s - 0.001) * RATE_HZ)
        if 0 <= first < n:
            part = wave[: n - first]
            out[first : first + part.size] += part
    return out


def _chosen(pieces: Pieces, part: str, rng: np.random.Generator) -> Train:
    """One real train for a part; half of the time from a phone where there is one."""
    trains = pieces.strikes[part if part in pieces.strikes else "outer_raceway"]
    phones = [train for train in trains if train.source.startswith("motor2")]
    some = phones if phones and rng.uniform() < 0.5 else trains
    return some[int(rng.integers(len(some)))]


def _defect(
    plan: SpinPlan,
    part: str,
    course: tuple[Floats, Floats, Floats],
    n: int,
    pieces: Pieces,
    rng: np.random.Generator,
) -> Floats:
    """The sound of one defect."""
    times_s, turns, speed_hz = course
    total, first = float(turns[-1]), float(turns[0])
    train = _chosen(pieces, part, rng)
    if part == "creak":
        return _creaks(plan, course, n, pieces, rng)
    if part == "grit":
        at = np.sort(rng.uniform(first, total, rng.poisson(total * plan.grit_per_turn)))
        picked = rng.integers(len(train.waves), size=at.size)
        heights = np.exp(0.7 * rng.standard_normal(at.size)) / train.heights[picked]
    elif part == "pitted":
        both = [
            _defect(plan, ring, course, n, pieces, rng) * np.exp(0.5 * rng.standard_normal())
            for ring in ("outer_raceway", "inner_raceway")
            for _ in range(max(1, plan.pits // 2))
        ]
        return np.sum(both, axis=0)
    elif part in ("chain", "jockey"):
        order = plan.chainring / (plan.jockey if part == "jockey" else 1)
        at = np.sort(
            (np.arange(1, int(total * order)) + 0.03 * rng.standard_normal(int(total * order) - 1)) / order
        )
        picked = rng.integers(len(train.waves), size=at.size)
        swing = plan.runout if part == "chain" else 0.0
        heights = (1 + swing * np.cos(2 * np.pi * at)) / train.heights[picked]
    else:
        at, ball, load = damage_passes(plan, part, total, rng)
        picked = _in_order(train, ball, plan.geometry.balls, rng)
        heights = load
    at_s = np.interp(at, turns, times_s)
    pace = np.interp(at_s, times_s, speed_hz) / float(speed_hz.max())
    waves = [train.waves[k] * h for k, h in zip(picked, heights * pace ** rng.uniform(0.8, 1.6), strict=True)]
    return _lay(waves, at_s, n)


def _in_order(train: Train, ball: NDArray[np.intp], balls: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Which real strike is laid at each pass: each ball has one real ball's strikes, round after round."""
    likeness = rng.permutation(np.resize(rng.permutation(train.balls), balls))
    rounds = len(train.waves) // train.balls
    begun = int(rng.integers(rounds))
    round_of = np.concatenate([[0], np.cumsum(np.diff(ball) < 0)])
    if np.mean(np.diff(ball) < 0) > 0.5:  # the balls pass in falling order
        round_of = np.concatenate([[0], np.cumsum(np.diff(ball) > 0)])
    picked: NDArray[np.intp] = ((round_of + begun) % rounds) * train.balls + likeness[ball]
    return picked


def _creaks(
    plan: SpinPlan, course: tuple[Floats, Floats, Floats], n: int, pieces: Pieces, rng: np.random.Generator
) -> Floats:
    """Stick-slip bursts at one or two angles of the crank, rung through real strikes; one in eight stays away."""
    times_s, turns, _ = course
    train = _chosen(pieces, "outer_raceway", rng)
    strongest = train.waves[int(np.argmax(train.heights))]
    answer = strongest[: int(0.02 * RATE_HZ)]
    begin = np.arange(turns[0] + rng.uniform(0, 1 / plan.creaks_per_turn), turns[-1], 1 / plan.creaks_per_turn)
    begin = begin[rng.random(begin.size) > 1 / 8]
    pitch_hz, glide = rng.uniform(120, 500), rng.uniform(-0.4, 0.4)
    usual_s = rng.uniform(0.03, 0.09)
    waves = []
    for _ in begin:
        length = int(np.clip(usual_s * np.exp(0.2 * rng.standard_normal()), 0.03, 0.1) * RATE_HZ)
        u = np.linspace(0, 1, length)
        phase = np.cumsum(pitch_hz * np.exp(0.05 * rng.standard_normal() + glide * (u - 0.5))) / RATE_HZ
        slips = np.diff(np.floor(phase), prepend=0.0) * rng.uniform(0.6, 1.4, length)
        burst = np.convolve(slips * np.sin(np.pi * u) ** 0.5, answer)
        waves.append(burst * np.exp(0.35 * rng.standard_normal()))
    at_s = np.interp(begin + 0.012 * rng.standard_normal(begin.size), turns, times_s)
    return _lay(waves, at_s, n)


def _ticks(marks_s: Floats, level_db: float, n: int, pieces: Pieces, rng: np.random.Generator) -> Floats:
    """A card that clicks: one real strike at every mark, its peak at a level."""
    train = _chosen(pieces, "inner_raceway", rng)
    wave = train.waves[int(np.argmax(train.heights))]
    wave = wave / np.max(np.abs(wave)) * 10 ** (level_db / 20)
    return _lay([wave * rng.uniform(0.7, 1.0) for _ in marks_s], marks_s, n)


def _bystanders(plan: SpinPlan, n: int, pieces: Pieces, rng: np.random.Generator) -> Floats:
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
    bangs = [clip for kind in ("dog", "person", "fire") for clip in pieces.rooms.get(kind, ())]
    for _ in range(plan.knocks):
        clip = bangs[int(rng.integers(len(bangs)))]
        top = int(np.argmax(np.abs(clip)))
        bang = clip[max(0, top - RATE_HZ // 50) : top + RATE_HZ // 3].copy()
        bang[-RATE_HZ // 10 :] *= np.linspace(1, 0, bang[-RATE_HZ // 10 :].size)
        bang *= 10 ** (rng.uniform(12, 28) / 20) / np.max(np.abs(bang))
        at = int(rng.uniform(0, n - 1))
        sound[at : at + bang.size] += bang[: n - at]
    return sound


def _loud_power(clip: Floats) -> float:
    """Power in the reference band of those 50 ms blocks that are within 20 dB of the loudest: while it lasts."""
    hop = RATE_HZ // 20
    sections = signal.butter(4, REFERENCE_HZ, "bandpass", fs=RATE_HZ, output="sos")
    power = (signal.sosfilt(sections, clip)[: clip.size // hop * hop].reshape(-1, hop) ** 2).mean(axis=1)
    return float(power[power > 0.01 * power.max()].mean()) if power.max() > 0 else 0.0
