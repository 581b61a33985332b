"""The gyro's numerics against closed forms, scipy, and rotations made by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from acoustic_plugins.speed.gyro.rotation import (
    Rotation,
    Stretch,
    gyro_limit_deg,
    longest_gap_s,
    rotation_about_axis,
    share_off_axis,
    still_within,
    turning_stretches,
    turns_made,
)
from numpy.typing import NDArray
from scipy.integrate import cumulative_trapezoid
from scipy.spatial.transform import Rotation as Turn

from acoustic.speed.kind import kind_of_spin

Floats = NDArray[np.float64]
NOISE_HZ = 0.7 / 360
DRY, VISCOUS, START_HZ = 0.1, 0.08, 2.0
RATIO = DRY / VISCOUS
STOP_S = float(np.log(1 + START_HZ / RATIO) / VISCOUS)
TURNS = (START_HZ + RATIO) * (1 - np.exp(-VISCOUS * STOP_S)) / VISCOUS - RATIO * STOP_S


def run_down(times_s: Floats) -> Floats:
    """w = (w0 + c/b) exp(-b t) - c/b until it stands: dry and viscous drag, textbook mechanics."""
    return np.where(times_s < 0, 0.0, np.maximum((START_HZ + RATIO) * np.exp(-VISCOUS * times_s) - RATIO, 0))


def spun(times_s: Floats) -> Floats:
    """Still to 1.2 s, pushed to 1.6 s, let go."""
    return np.where(times_s < 1.6, START_HZ * np.clip((times_s - 1.2) / 0.4, 0, 1), run_down(times_s - 1.6))


TIMES_S = np.arange(0, 1.6 + STOP_S + 2.5, 0.01)


def noisy(speed_hz: Floats, *, bias_hz: float = 0.0, noise_hz: float = NOISE_HZ, seed: int = 1) -> Floats:
    rng = np.random.default_rng(seed)
    return (speed_hz + bias_hz + noise_hz * rng.standard_normal(speed_hz.shape))[:, np.newaxis]


def seen(speed_hz: Floats, times_s: Floats = TIMES_S, **given: Any) -> Rotation:
    return rotation_about_axis(times_s, noisy(speed_hz, **given))


# The angle.


def test_the_run_down_s_closed_form() -> None:
    """The integral of w over the run-down, by hand: (w0 + c/b)(1 - exp(-b t))/b - c t/b, here 9.63 turns.

    Trapezoids of 10 ms err by h^2/12 times the change of slope: 1e-6 turns.
    """
    times_s = np.linspace(0, STOP_S, 1500)
    rotation = Rotation(times_s, run_down(times_s), np.zeros(1500), 0.0, 0.0)
    found_s, turns = turns_made(rotation, 0.0, 8.0)
    exact = (START_HZ + RATIO) * (1 - np.exp(-VISCOUS * found_s)) / VISCOUS - RATIO * found_s
    assert turns == pytest.approx(exact, abs=1e-5)
    assert turns_made(rotation, 0.0, STOP_S - 1e-9)[1][-1] == pytest.approx(TURNS, abs=1e-5)


def test_scipy_integrates_alike() -> None:
    """At the samples of an uneven clock; between them the angle is read off a line."""
    rng = np.random.default_rng(2)
    times_s = np.cumsum(rng.uniform(0.004, 0.03, 400))
    speed_hz = 1.5 + 0.2 * np.sin(times_s) + 0.05 * rng.standard_normal(400)
    found_s, turns = turns_made(
        Rotation(times_s, speed_hz, np.zeros(400), 0.0, 0.0), float(times_s[0]), float(times_s[-1])
    )
    expected = cumulative_trapezoid(speed_hz, times_s, initial=0)
    assert turns[-1] == pytest.approx(expected[-1], abs=1e-9)
    assert np.interp(times_s, found_s, turns) == pytest.approx(expected, abs=5e-4)
    assert np.all(np.diff(turns) > 0) and turns[0] == 0
    assert np.diff(found_s) == pytest.approx(0.01, rel=0.05)


def test_the_angle_through_noise_and_offset() -> None:
    """White noise of s a sample adds s h sqrt(n) turns, 0.001 here; the value at rest, known to
    s/sqrt(250), adds 15 s of it, 0.002. Left in, an offset of 3 deg/s would add 0.11."""
    rotation = seen(spun(TIMES_S), bias_hz=3 / 360)
    (stretch,) = turning_stretches(rotation)
    times_s, turns = turns_made(rotation, float(TIMES_S[stretch.first]), float(TIMES_S[stretch.last]))
    truth = cumulative_trapezoid(spun(TIMES_S), TIMES_S, initial=0)
    error = turns - np.interp(times_s, TIMES_S, truth)
    assert np.ptp(error) < 0.008


# The value at rest.


@pytest.mark.parametrize("bias_deg", [-3.0, 0.0, 0.4, 8.0])
def test_the_value_at_rest(bias_deg: float) -> None:
    """250 still samples: known to 0.7/sqrt(250) = 0.044 deg/s; four of those."""
    rotation = seen(spun(TIMES_S), bias_hz=bias_deg / 360)
    still = TIMES_S < 1.1
    assert 360 * float(np.mean(rotation.speed_hz[still])) == pytest.approx(0, abs=0.2)
    assert rotation.noise_hz == pytest.approx(NOISE_HZ, rel=0.15)
    assert rotation.rest_hz is not None and rotation.rest_hz < NOISE_HZ / 5


def test_a_crank_that_creeps_to_a_stand_is_not_at_rest() -> None:
    """With viscous drag alone the speed fades for good: for 10 s it is below 0.05 turns/s. Still for 1.2 s."""
    times_s = np.arange(0, 22, 0.01)
    speed_hz = np.where(times_s < 1.2, 0, 2 * np.exp(-0.33 * (times_s - 1.2)))
    rotation = seen(speed_hz, times_s, bias_hz=2 / 360)
    assert 360 * float(np.mean(rotation.speed_hz[times_s < 1.1])) == pytest.approx(0, abs=0.2)


def test_a_drive_that_never_rests() -> None:
    times_s = np.arange(0, 10, 0.01)
    rotation = seen(np.full(1000, 1.25), times_s, bias_hz=0.005)
    assert rotation.rest_hz is None
    assert float(np.mean(rotation.speed_hz)) == pytest.approx(1.255, abs=0.001)
    assert rotation.noise_hz == pytest.approx(NOISE_HZ, rel=0.2)
    assert still_within(rotation, 0, 10, margin_s=0.0) == []


def test_a_magnitude_has_no_offset_to_take_off() -> None:
    """sqrt(x^2 + y^2 + z^2) with an offset across the axis: at rest 2 deg/s, at speed it vanishes."""
    across = np.hypot(360 * spun(TIMES_S), 2.0) / 360
    rotation = rotation_about_axis(TIMES_S, noisy(across), signed=False)
    fast = spun(TIMES_S) > 1
    assert rotation.speed_hz[fast] == pytest.approx(spun(TIMES_S)[fast], abs=5 * NOISE_HZ)
    assert rotation.rest_hz == pytest.approx((2 + 0.7) / 360, rel=0.1)
    (stretch,) = turning_stretches(rotation)
    assert stretch.turns == pytest.approx(TURNS + 0.4, rel=0.01)


# The axis.


@pytest.mark.parametrize("seed", range(4))
def test_any_axis_either_way(seed: int) -> None:
    """The phone may lie as it likes. scipy turns the axes; the noise stays 0.7 deg/s about any of them."""
    rng = np.random.default_rng(seed)
    axis = Turn.random(rng=rng).as_matrix()[0]
    rates_hz = spun(TIMES_S)[:, np.newaxis] * axis + rng.normal(0, NOISE_HZ, (TIMES_S.size, 3)) + 0.004
    rotation = rotation_about_axis(TIMES_S, rates_hz)
    assert rotation.speed_hz == pytest.approx(spun(TIMES_S), abs=6 * NOISE_HZ)
    (stretch,) = turning_stretches(rotation)
    assert share_off_axis(rotation, stretch) < 1e-3


def test_strapping_the_phone_on_does_not_tilt_the_axis() -> None:
    """Two seconds of handling at up to 1.5 turns/s about the other axes, before the spin about z."""
    times_s = np.arange(-6, 17, 0.01)
    rates_hz = np.random.default_rng(3).normal(0, NOISE_HZ, (times_s.size, 3))
    rates_hz[:, 2] += spun(times_s)
    handled = (times_s > -5) & (times_s < -3)
    rates_hz[handled, 0] += 1.5 * np.sin(9 * times_s[handled])
    rates_hz[handled, 1] += 1.2 * np.sin(7 * times_s[handled])
    rotation = rotation_about_axis(times_s - times_s[0], rates_hz)
    (stretch,) = turning_stretches(rotation)
    assert stretch.turns == pytest.approx(TURNS + 0.4, abs=0.01)
    assert share_off_axis(rotation, stretch) < 1e-3


def test_a_loose_phone_shows() -> None:
    """After 5 s it hangs by one strap and turns about another axis; none of that is stillness."""
    rates_hz = np.random.default_rng(3).normal(0, NOISE_HZ, (TIMES_S.size, 3))
    half = TIMES_S < 5
    rates_hz[half, 0] += spun(TIMES_S)[half]
    rates_hz[~half, 1] += spun(TIMES_S)[~half]
    rotation = rotation_about_axis(TIMES_S, rates_hz)
    longest = max(turning_stretches(rotation), key=lambda stretch: stretch.turns)
    assert share_off_axis(rotation, longest) > 0.2
    assert all(b < 1.3 or a > 10 for a, b in still_within(rotation, 0.0, 20.0, margin_s=0.0))


def test_nothing_turns() -> None:
    rotation = seen(np.zeros(TIMES_S.size))
    assert turning_stretches(rotation) == []


# The parts that turn.


def test_push_swing_and_stand() -> None:
    """A crank with a phone on it swings at the end; the swings are no turns, and no stillness either."""
    swing_s = TIMES_S - (1.6 + STOP_S)
    swing = np.where((swing_s > 0) & (swing_s < 1.0), -0.3 * np.sin(2 * np.pi * swing_s), 0)
    rotation = seen(spun(TIMES_S) + swing)
    (stretch,) = turning_stretches(rotation)
    assert TIMES_S[stretch.first] == pytest.approx(1.2, abs=0.02)
    assert TIMES_S[stretch.last] == pytest.approx(1.6 + STOP_S, abs=0.3)
    assert stretch.turns == pytest.approx(TURNS + 0.4, abs=0.01)
    before, after = still_within(rotation, -1.0, 99.0, margin_s=0.05)
    assert before == pytest.approx((0.05, 1.15), abs=0.13)
    assert after[0] > 1.6 + STOP_S + 1.0
    assert after[1] == pytest.approx(TIMES_S[-1] - 0.05, abs=1e-6)


def test_both_ways() -> None:
    speed_hz = np.where(TIMES_S < 6, 1.0, -1.5) * ((TIMES_S > 1) & (TIMES_S < 9))
    first, second = turning_stretches(seen(speed_hz))
    # The way round in which most turns are made without a stop is forward: 5 turns against 4.5.
    assert first.turns == pytest.approx(5, abs=0.03)
    assert second.turns == pytest.approx(-4.5, abs=0.03)


def test_no_stillness_where_samples_are_missing() -> None:
    kept = (TIMES_S < 0.4) | (TIMES_S > 1.0)
    rotation = rotation_about_axis(TIMES_S[kept], noisy(spun(TIMES_S))[kept])
    assert [part for part in still_within(rotation, 0.0, 1.2, margin_s=0.0) if part[1] > 0.5] == []


def test_the_longest_gap() -> None:
    kept = (TIMES_S < 4.0) | (TIMES_S > 4.255)
    rotation = rotation_about_axis(TIMES_S[kept], noisy(spun(TIMES_S))[kept])
    (stretch,) = turning_stretches(rotation)
    gap_s, at_s = longest_gap_s(rotation, stretch)
    assert (gap_s, at_s) == pytest.approx((0.27, 3.99), abs=1e-6)
    assert longest_gap_s(rotation, Stretch(0, 50, 0.0))[0] == pytest.approx(0.01)


# The gyro's limit.


@pytest.mark.parametrize(("limit_deg", "named"), [(500.0, 500.0), (573.4, 500.0), (250.0, 250.0)])
def test_a_speed_past_the_limit(limit_deg: float, named: float) -> None:
    """720 deg/s at the fastest. A raw 16-bit number of 0.0175 deg/s a step ends at 573.4."""
    rates_hz = np.clip(noisy(spun(TIMES_S)), -limit_deg / 360, limit_deg / 360)
    assert gyro_limit_deg(TIMES_S, rates_hz) == named


def test_no_limit_reached() -> None:
    assert gyro_limit_deg(TIMES_S, noisy(spun(TIMES_S))) is None
    drive = np.where((TIMES_S > 1) & (TIMES_S < 9), 500 / 360, 0.0)[:, np.newaxis]
    assert gyro_limit_deg(TIMES_S, drive) is None, "a drive's own speed, written as one number"


# How it turned.


def of_speed(speed_hz: Floats, times_s: Floats) -> tuple[Floats, Floats]:
    turning = speed_hz > 0.02
    turns = cumulative_trapezoid(speed_hz[turning], times_s[turning], initial=0)
    return times_s[turning], turns


def test_how_it_turned() -> None:
    times_s = np.arange(0, 12, 0.01)
    wobbling = 1.2 * (1 + 0.03 * np.sin(1.1 * times_s)) * (1 + 0.03 * np.sin(15 * times_s))
    assert kind_of_spin(*of_speed(spun(TIMES_S), TIMES_S)) == "hand"
    assert kind_of_spin(*of_speed(wobbling, times_s)) == "pedal"
    assert kind_of_spin(*of_speed(np.full(1200, 1.25), times_s)) == "steady"
    assert kind_of_spin(*of_speed(1.25 * (1 + 0.002 * np.sin(times_s)), times_s)) == "steady"
    assert kind_of_spin(*of_speed(spun(TIMES_S)[:700], TIMES_S[:700])) == "hand", "not recorded to the stop"
