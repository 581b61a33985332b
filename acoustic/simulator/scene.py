"""One simulated recording, from a plan that says everything about it."""

from __future__ import annotations

from typing import Any

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.geometry import defect_orders
from acoustic.simulator import kinematics, phone, ringing, room, strikes
from acoustic.simulator.plan import Spin, SpinPlan

# Where shells ring and phones hear well (judgement); every level of a plan is told in it.
REFERENCE_BAND_HZ = (700.0, 7500.0)


def simulate(plan: SpinPlan) -> Spin:
    """Make one recording from a plan.

    Parameters
    ----------
    plan : SpinPlan

    Returns
    -------
    Spin
    """
    rng = np.random.default_rng(plan.seed)
    rate = float(plan.sample_rate_hz)
    n = int(plan.duration_s * rate)
    times, turns, speed = _motion(plan, rng)
    room_noise = room.coloured_noise(n, rate, tilt_db_per_octave=plan.room_tilt_db, rng=rng)
    room_noise /= np.sqrt(_reference_power(room_noise, rate))
    sound = room_noise
    turning = np.interp(np.arange(n) / rate, times, speed) > 0
    bearing = _running_noise(plan, times, turns, speed, n, rng)
    share = turning.mean()
    sound = sound + _at_level(bearing, plan.running_db, rate, share)
    response = ringing.frame_response(rate, rng)
    for part, level_db in plan.defects:
        sound = sound + _at_level(
            _defect(plan, part, times, turns, speed, n, response, rng), level_db, rate, share
        )
    marks_s, clicks = _marks(plan, times, turns, n, rng)
    sound = sound + clicks + _bystanders(plan, n, rate, rng)
    sound = phone.band_limit(sound, rate, low_hz=plan.low_hz, high_hz=min(plan.high_hz, 0.49 * rate))
    if plan.gain_strength:
        sound = phone.automatic_gain(
            sound,
            rate,
            attack_s=plan.gain_attack_s,
            release_s=0.6,
            strength=plan.gain_strength,
            opens_db=plan.gain_opens_db,
        )
    moving = np.flatnonzero(speed > 0)
    spin = Spin(
        samples=phone.whole_numbers(sound * plan.level),
        sample_rate_hz=plan.sample_rate_hz,
        times_s=times,
        turns=turns,
        start_s=float(times[moving[0]]),
        stop_s=float(times[moving[-1]]),
        marks_s=marks_s,
    )
    return spin.without(*plan.cut_s)


def _motion(plan: SpinPlan, rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Crank angle and speed on a 1 ms grid, with the still parts."""
    times = np.arange(int(plan.duration_s * 1000) + 1) / 1000
    before_s, after_s = plan.still_s
    if plan.spin != "hand":
        moving = (times >= before_s) & (times <= plan.duration_s - after_s)
        wobble, drift = (plan.wobble, plan.drift) if plan.spin == "pedal" else (0.0, 0.0)
        turns, speed = np.zeros(times.size), np.zeros(times.size)
        turns[moving], speed[moving] = kinematics.pedalled(
            times[moving], mean_hz=plan.start_hz, wobble=wobble, drift=drift, rng=rng
        )
        turns[times > plan.duration_s - after_s] = turns.max()
        return times, turns, speed
    available_s = plan.duration_s - before_s - after_s - 0.4
    coulomb, viscous = kinematics.coast_drag(
        start_hz=plan.start_hz, turns=plan.turns, viscous_share=plan.viscous_share
    )
    push = np.clip((times - before_s) / 0.4, 0, 1)
    coast_turns, coast_speed = kinematics.run_down(
        np.maximum(times - before_s - 0.4, 0),
        start_hz=plan.start_hz,
        coulomb_hz_per_s=coulomb,
        viscous_per_s=viscous,
    )
    cut = times > before_s + 0.4 + available_s
    hold = np.argmax(cut) if cut.any() else times.size
    coast_turns[hold:] = coast_turns[hold - 1]
    coast_speed[hold:] = 0
    speed = np.where(push < 1, plan.start_hz * push, coast_speed)
    turns = np.where(push < 1, plan.start_hz * push**2 * 0.2, plan.start_hz * 0.2 + coast_turns)
    return times, turns, speed


def _running_noise(
    plan: SpinPlan, times: Floats, turns: Floats, speed: Floats, n: int, rng: np.random.Generator
) -> Floats:
    """Smooth hiss of grease and seals that grows with speed, with a healthy bearing's weak ball-pass lines."""
    t = np.arange(n) / plan.sample_rate_hz
    angle = np.interp(t, times, turns)
    pace = np.interp(t, times, speed) / max(float(speed.max()), 1e-9)
    orders = defect_orders(plan.geometry)
    depth = np.zeros(n)
    for k in range(1, plan.waviness_lines + 1):
        for part, share in ((orders.outer_raceway, 1.0), (orders.inner_raceway, 0.5)):
            depth += share / k * plan.waviness * np.cos(2 * np.pi * k * part * angle + rng.uniform(0, 6.28))
    hiss = room.coloured_noise(n, plan.sample_rate_hz, tilt_db_per_octave=rng.uniform(-4, 0), rng=rng)
    notch = 1 + plan.notch[1] * np.cos(2 * np.pi * plan.notch[0] * angle)
    if plan.fluctuation:
        hiss = hiss * room.fluctuation(n, plan.sample_rate_hz, spread=plan.fluctuation, rng=rng)
    return hiss * pace * (1 + depth) * notch


def _defect(
    plan: SpinPlan,
    part: str,
    times: Floats,
    turns: Floats,
    speed: Floats,
    n: int,
    response: Floats,
    rng: np.random.Generator,
) -> Floats:
    """The sound of one defect."""
    total = float(turns[-1])
    if part == "pitted":
        train = strikes.pitted_strikes(plan.geometry, total_turns=total, pits=plan.pits, slip=plan.slip, rng=rng)
        response = ringing.frame_response(plan.sample_rate_hz, rng, low_hz=150, high_hz=4000, modes=10)
    elif part == "grit":
        train = strikes.grit_strikes(total_turns=total, per_turn=plan.grit_per_turn, rng=rng)
    elif part == "creak":
        train = strikes.creak_strikes(total_turns=total, per_turn=plan.creaks_per_turn, rng=rng)
    elif part in ("chain", "jockey"):
        order = plan.chainring / (plan.jockey if part == "jockey" else 1)
        runout = plan.runout if part == "chain" else 0.0
        train = strikes.geared_strikes(total_turns=total, order=order, runout=runout, rng=rng)
        # Chain and derailleur ring otherwise than the shell.
        response = ringing.frame_response(plan.sample_rate_hz, rng)
    else:
        train = _row_strikes(plan, part, total, plan.slip, rng)
        if plan.second_slip is not None:
            train = strikes.both(train, _row_strikes(plan, part, total, plan.second_slip, rng))
    moving = np.flatnonzero(speed > 0)
    inside = slice(moving[0], moving[-1] + 1)
    at_s = np.interp(train.turns, turns[inside], times[inside])
    # An impact's strength grows with the speed at which the ball meets the edge.
    pace = np.interp(at_s, times, speed) / float(speed.max())
    struck: dict[str, Any] = {"samples": n, "sample_rate_hz": float(plan.sample_rate_hz)}
    if part == "creak" and plan.creak_s is not None:
        begin_s = np.interp(_creak_angles(plan, total, rng), turns[inside], times[inside])
        return ringing.ring(*strikes.stick_slips(begin_s, lasting_s=plan.creak_s, rng=rng), response, **struck)
    if plan.shape_spread:
        others = [ringing.frame_response(plan.sample_rate_hz, rng) for _ in range(2)]
        return ringing.ring_in_turn(at_s, train.strength * pace, [response, *others], rng=rng, **struck)
    return ringing.ring(at_s, train.strength * pace, response, **struck)


def _row_strikes(
    plan: SpinPlan, part: str, total_turns: float, slip: float, rng: np.random.Generator
) -> strikes.Strikes:
    """Strikes of a damaged part of one row of balls."""
    train = strikes.ring_strikes(
        plan.geometry,
        part,
        total_turns=total_turns,
        slip=slip,
        jitter=plan.jitter,
        load_zone=plan.load_zone if part != "outer_raceway" else 0.0,
        rng=rng,
        spread=plan.strike_spread,
    )
    return _as_worn(plan, train, rng) if part in ("outer_raceway", "inner_raceway") else train


def _as_worn(plan: SpinPlan, train: strikes.Strikes, rng: np.random.Generator) -> strikes.Strikes:
    """A ring's strikes with what differs from ball to ball, over damage that has a length."""
    if plan.ball_spread:
        train = strikes.by_ball(train, balls=plan.geometry.balls, spread=plan.ball_spread, rng=rng)
    return strikes.over_spall(train, length=plan.spall, rng=rng) if plan.spall else train


def _creak_angles(plan: SpinPlan, total_turns: float, rng: np.random.Generator) -> Floats:
    """Where the load sets the joint off: once or more a turn, at nearly the same angle."""
    angles = np.arange(rng.uniform(0, 1 / plan.creaks_per_turn), total_turns, 1 / plan.creaks_per_turn)
    return np.sort(angles + 0.015 * rng.standard_normal(angles.size))


def _marks(
    plan: SpinPlan, times: Floats, turns: Floats, n: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Times of the once-a-turn mark, and the clicks of a card there if there is one."""
    moving = np.concatenate([[True], np.diff(turns) > 0])
    passes = np.arange(np.ceil(0.3), turns[-1])
    marks_s = np.interp(passes, turns[moving], times[moving])
    if plan.ticks_db is None:
        return marks_s, np.zeros(n)
    click = ringing.frame_response(plan.sample_rate_hz, rng, low_hz=1500, high_hz=9000)
    click = click / np.max(np.abs(click)) * 10 ** (plan.ticks_db / 20)
    strength = rng.uniform(0.7, 1.0, marks_s.size)
    return marks_s, ringing.ring(marks_s, strength, click, samples=n, sample_rate_hz=plan.sample_rate_hz)


def _bystanders(plan: SpinPlan, n: int, rate: float, rng: np.random.Generator) -> Floats:
    """Hum, talk, a brake, a compressor and dropped tools."""
    sound = np.zeros(n)
    if plan.hum_db is not None:
        sound += 10 ** (plan.hum_db / 20) * room.hum(n, rate, mains_hz=50.0, rng=rng)
    if plan.talk_db is not None:
        sound += 10 ** (plan.talk_db / 20) * room.talk(n, rate, rng=rng)
    if plan.squeal_db is not None:
        sound += 10 ** (plan.squeal_db / 20) * room.squeal(n, rate, rng=rng)
    if plan.compressor_db is not None:
        sound += 10 ** (plan.compressor_db / 20) * room.compressor(n, rate, rng=rng)
    if plan.surroundings_db is not None:
        around = room.surroundings(n, rate, rng=rng)
        sound += _at_level(around, plan.surroundings_db, rate, 1.0)
    if plan.push_db is not None:
        sound += _at_the_push(plan, n, rate, rng)
    for _ in range(plan.knocks):
        bang = room.knock(rate, rng) * 10 ** (rng.uniform(15, 30) / 20)
        at = int(rng.uniform(0, n - 1))
        sound[at : at + bang.size] += bang[: n - at]
    return sound


def _at_the_push(plan: SpinPlan, n: int, rate: float, rng: np.random.Generator) -> Floats:
    """Words, or a bang, from 0.3 s before the push until it is over."""
    assert plan.push_db is not None
    loud = 10 ** (plan.push_db / 20)
    sound = np.zeros(n)
    begin = max(0, int((plan.still_s[0] - rng.uniform(0, 0.3)) * rate))
    word = room.knock(rate, rng) if rng.random() < 0.5 else room.talk(int(0.8 * rate), rate, rng=rng, share=1.0)
    if not np.any(word):
        word = room.knock(rate, rng)
    word = word * loud / float(np.sqrt(np.mean(word[word != 0] ** 2)))
    sound[begin : begin + word.size] += word[: n - begin]
    return sound


def _reference_power(sound: Floats, rate: float) -> float:
    """Mean power in the reference band."""
    low_hz, high_hz = REFERENCE_BAND_HZ
    spectrum = np.fft.rfft(sound)
    frequency_hz = np.fft.rfftfreq(sound.size, 1 / rate)
    inside = (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
    return float(2 * np.sum(np.abs(spectrum[inside]) ** 2) / sound.size**2)


def _at_level(sound: Floats, level_db: float, rate: float, share: float) -> Floats:
    """Scale a sound that lasts a share of the time to a level while it lasts."""
    power = _reference_power(sound, rate) / share
    return sound * np.sqrt(10 ** (level_db / 10) / power) if power > 0 else sound
