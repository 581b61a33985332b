"""A spin put together from pieces of real recordings, for the same plans that the physical simulator takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pieced_phone import heard_by_phone
from pieced_room import bystanders, power, room_noise, shuffled
from pieced_timing import Rolling, crank_motion, damage_passes, rolling
from pieces import RATE_HZ, Pieces, Train

from acoustic.simulator import Spin, SpinPlan

Floats = NDArray[np.float64]


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
    roll = rolling(plan, float(turns[-1]), rng)

    def laid(sound: Floats, level_db: float) -> Floats:
        now = power(sound) * n / max(1, np.count_nonzero(turning))
        return sound * np.sqrt(10 ** (level_db / 10) / now) if now > 0 else sound

    background = room_noise(n, pieces, rng)
    sound = background / np.sqrt(power(background))
    sound = sound + laid(_running(plan, roll, pace, angle, pieces, rng), plan.running_db)
    moving = np.flatnonzero(speed_hz > 0)
    inside = slice(int(moving[0]), int(moving[-1]) + 1)
    course = (times_s[inside], turns[inside], speed_hz[inside])
    for part, level_db in plan.defects:
        events = _defect(plan, part, roll, course, n, pieces, rng)
        sound = sound + laid(events, level_db)
    sound = sound + bystanders(plan, n, pieces, rng)
    marks = np.arange(1, int(np.ceil(turns[-1])))
    marks_s = np.interp(marks, turns[inside], times_s[inside])
    if plan.ticks_db is not None:
        sound = sound + _ticks(marks_s, plan.ticks_db, n, pieces, rng)
    spin = Spin(
        samples=heard_by_phone(sound, plan, rng),
        sample_rate_hz=RATE_HZ,
        times_s=times_s,
        turns=turns,
        start_s=float(times_s[inside.start]),
        stop_s=float(times_s[inside.stop - 1]),
        marks_s=marks_s,
    )
    return spin.without(*plan.cut_s)


def _running(
    plan: SpinPlan, roll: Rolling, pace: Floats, angle: Floats, pieces: Pieces, rng: np.random.Generator
) -> Floats:
    """Running noise of a real healthy bearing that follows the crank, with the plan's own waviness and swell."""
    clip = pieces.running[int(rng.integers(len(pieces.running)))]
    noise = shuffled(clip, pace.size, rng)
    swell_db = np.zeros(pace.size)
    for part, share in (("outer_raceway", 1.0), ("inner_raceway", 0.5)):
        passes = np.interp(angle, roll.crank, roll.phase(part))
        for k in range(1, plan.waviness_lines + 1):
            swell_db += 8.7 * plan.waviness * share / k * np.cos(2 * np.pi * (k * passes + rng.uniform()))
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
    roll: Rolling,
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
            _defect(plan, ring, roll, course, n, pieces, rng) * np.exp(0.5 * rng.standard_normal())
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
        at, ball, load = damage_passes(plan, part, roll, rng)
        picked = in_order(train, ball, plan.geometry.balls, rng)
        heights = load
        if part == "ball":
            # The one ring's contact answers louder than the other's, through another way to the microphone.
            heights = heights * np.where(ball == 0, 1.0, rng.uniform(0.4, 1.0))
        if plan.spall:
            # Rolled into and out of: what is heard at the exit is another strike, mostly the harder one.
            way = np.diff(at, append=2 * at[-1] - at[-2])
            at, picked = np.concatenate([at, at + plan.spall * way]), np.concatenate([picked, np.roll(picked, 1)])
            heights = np.concatenate([heights, rng.uniform(0.8, 1.8) * heights])
    at_s = np.interp(at, turns, times_s)
    pace = np.interp(at_s, times_s, speed_hz) / float(speed_hz.max())
    waves = [train.waves[k] * h for k, h in zip(picked, heights * pace ** rng.uniform(0.8, 2.0), strict=True)]
    return _lay(waves, at_s, n)


def in_order(train: Train, ball: NDArray[np.intp], balls: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Which real strike is laid at each pass: each ball has one real ball's strikes, round after round.

    Parameters
    ----------
    train : Train
    ball : ndarray of int, shape (k,)
        Which ball passes; they pass in rising order, or in falling.
    balls : int
    rng : numpy.random.Generator

    Returns
    -------
    ndarray of int, shape (k,)
        Places in the train.
    """
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
    lasting_s = plan.creak_s or (0.03, 0.1)
    usual_s = rng.uniform(*lasting_s)
    waves = []
    for _ in begin:
        length = int(np.clip(usual_s * np.exp(0.2 * rng.standard_normal()), *lasting_s) * RATE_HZ)
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
