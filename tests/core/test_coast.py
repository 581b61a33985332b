"""The run-down's law against its closed form by hand and an ODE solver; the search against simulated spins."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from acoustic.core.beat import beat_levels
from acoustic.core.coast import PUSH_S, TIME, coast_angle, coast_shapes, coast_speed, find_coast
from acoustic.core.geometry import defect_orders
from acoustic.core.sound_bearing import DETECTION_CHANCE, chance_of_coast
from acoustic.core.turning import find_turning, nats_of_coasts


def test_dry_drag_alone_by_hand() -> None:
    """A flywheel under dry drag slows evenly: after half its time half the speed and three quarters of the way."""
    half = np.array([0.0, 0.5, 1.0])
    speed = coast_speed(half, np.array([1.0]), np.array([0.0]))[0]
    assert speed == pytest.approx([1.0, 0.5, 0.0], abs=1e-4)
    assert coast_angle(half, np.array([1.0]), np.array([0.0]))[0] == pytest.approx([0.0, 0.75, 1.0], abs=1e-4)


def test_viscous_drag_by_hand() -> None:
    """w0 = 2, c = 0.1, b = 0.2: w(t) = 2.5 exp(-0.2 t) - 0.5, w(3) = 0.872029, it stands at 5 ln 5 s."""
    stand_s = 5 * math.log(5)
    speed = 2 * coast_speed(np.array([3.0 / 8.0]), np.array([8.0 / stand_s]), np.array([0.2 * 8.0]))[0, 0]
    assert speed == pytest.approx(2.5 * math.exp(-0.6) - 0.5, rel=1e-9)
    assert speed == pytest.approx(0.872029, abs=1e-6)


@pytest.mark.parametrize(("dry", "viscous"), [(0.02, 0.3), (0.15, 0.05), (0.1, 0.1)])
def test_angle_against_an_ode_solver(dry: float, viscous: float) -> None:
    """dw/dt = -c - b w by scipy's Runge-Kutta, over the first five seconds from 1.5 turns a second."""
    solved = solve_ivp(lambda t, y: [y[1], -dry - viscous * y[1]], (0, 5), [0, 1.5], rtol=1e-10, dense_output=True)
    stand_s = math.log(1 + 1.5 * viscous / dry) / viscous
    share = np.linspace(0, 1, 21)
    angle = coast_angle(share, np.array([5 / stand_s]), np.array([5 * viscous]))[0]
    turns = solved.sol(5 * share)[0]
    assert angle == pytest.approx(turns / turns[-1], abs=1e-6)


def test_it_stands_where_the_stop_comes_before_the_end() -> None:
    angle = coast_angle(np.array([0.0, 0.8, 0.9, 1.0]), np.array([1.25]), np.array([1.0]))[0]
    assert angle == pytest.approx([0.0, 1.0, 1.0, 1.0], abs=1e-12)


@pytest.mark.parametrize("step", [0.02, 0.005])
def test_every_run_down_is_near_a_shape(step: float) -> None:
    stop, drag = coast_shapes(step)
    share = np.linspace(0, 1, 33)
    shapes = coast_angle(share, stop, drag)
    rng = np.random.default_rng(4)
    any_one = coast_angle(share, rng.uniform(0.1, 1.1, 60), rng.uniform(0, 4.5, 60))
    nearest = np.abs(any_one[:, np.newaxis] - shapes).max(axis=2).min(axis=1)
    assert nearest.max() < 1.2 * step


def found_in(recording: Any) -> Any:
    from acoustic.core.envelope import band_bank

    bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz, top_hz=20_000.0)
    turning = find_turning(bank)
    assert turning is not None
    levels = beat_levels(bank, turning.start_s + PUSH_S + 0.05, turning.stop_s)
    return levels, find_coast(levels, partial(nats_of_coasts, bank, levels.start_s, levels.stop_s))


@pytest.mark.parametrize(("case", "part"), [("outer", "outer_raceway"), ("inner", "inner_raceway")])
def test_a_damaged_ring_s_beat_gives_the_course(
    case: str, part: str, recording_of: Any, spin_of: Any, commonest: Any
) -> None:
    """Speed within 3 % of the true one in shape, and the ring's beats counted to 2 %."""
    spin = spin_of(case, duration_s=15.0)
    levels, course = found_in(recording_of(case, duration_s=15.0))
    true = np.interp(levels.start_s + TIME * levels.duration_s, spin.times_s, spin.turns)
    speed, found = np.diff(true[::16]), np.diff(course.angle[::16])
    fast = speed > 0.2 * speed.max()
    ratio = found[fast] / speed[fast]
    assert np.std(ratio / ratio.mean()) < 0.03
    beats = (true[-1] - true[0]) * getattr(defect_orders(commonest), part)
    assert course.beat.beats == pytest.approx(beats, rel=0.02)
    assert chance_of_coast(course.beat.surprise) < 1e-9


def test_no_beat_is_found_where_there_is_none(recording_of: Any) -> None:
    _, course = found_in(recording_of("sound", waviness=0.0, talk_db=0.0, knocks=2))
    assert chance_of_coast(course.beat.surprise) > DETECTION_CHANCE
