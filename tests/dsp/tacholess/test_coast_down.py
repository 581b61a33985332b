"""The run-down found from impacts alone, against textbook mechanics and trains made by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.dsp.tacholess.coast_down import coast_angle, coast_speed, find_coast, sharpened
from acoustic.dsp.tacholess.impact_levels import impact_levels
from acoustic.dsp.tacholess.periodicity import segment_scores
from acoustic.dsp.tacholess.train_search import find_train

Floats = NDArray[np.float64]
ORDER = 7.1
# 2 turns/s from 1.5 s on, viscous 0.1 1/s, dry 0.116 turns/s^2: stands ln(1 + 2 x 0.1 / 0.116) / 0.1 = 10.02 s on.
START_S, STOP_S, DRAG = 1.5, 11.52, 0.1


def impacts_s(*, order: float = ORDER, jitter: float = 0.0, seed: int = 3) -> Floats:
    times_s = np.arange(START_S, STOP_S, 0.001)
    turns = coast_angle(times_s, STOP_S, DRAG) * 2 / float(coast_speed(times_s[:1], STOP_S, DRAG)[0])
    at = np.arange(0.3, turns[-1] * order)
    at += jitter * np.random.default_rng(seed).standard_normal(at.size).cumsum()
    return np.interp(at / order, turns, times_s)


def test_speed_obeys_the_equation_of_motion() -> None:
    """dw/dt = -b w - c: the derivative of the speed is a straight line of the speed, slope -b."""
    times_s = np.linspace(0, 9, 901)
    speed = coast_speed(times_s, 10.0, 0.2)
    slope, dry = np.polyfit(speed[1:-1], np.gradient(speed, times_s)[1:-1], 1)
    assert slope == pytest.approx(-0.2, rel=1e-3)
    assert dry == pytest.approx(-1.0, rel=1e-3)  # (exp(b u) - 1) / b begins with slope 1
    assert coast_speed(np.array([10.0, 12.0]), 10.0, 0.2) == pytest.approx([0, 0])


def test_angle_is_the_integral_of_the_speed() -> None:
    times_s = np.linspace(0, 12, 2401)
    speed = coast_speed(times_s, 10.0, 0.15)
    whole = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2) * 0.005])
    assert coast_angle(times_s, 10.0, 0.15) == pytest.approx(whole, abs=1e-4)


@pytest.mark.parametrize("order", [5.1, 7.1, 10.9])
def test_a_run_down_is_found_with_no_level_to_tell_it(order: float, train_bank: Callable[..., Any]) -> None:
    """The noise never changes; only the impacts slow down. Its speed comes right within one per cent."""
    levels = impact_levels(train_bank(impacts_s(order=order, jitter=0.005)))
    coast = find_coast(segment_scores(levels), until_s=levels.stop_s)
    assert coast is not None
    assert coast.score > 40
    coast = sharpened(levels, coast)
    times_s = np.linspace(2.5, 9.5, 50)
    found = coast_speed(times_s, coast.stop_s, coast.drag_per_s)
    true = coast_speed(times_s, STOP_S, DRAG)
    ratio = found / true
    assert np.std(ratio) / np.mean(ratio) < 0.01
    rate_hz = coast.rate_hz * found[0] / coast_speed(np.array([coast.start_s]), coast.stop_s, coast.drag_per_s)[0]
    true_hz = order * 2 * true[0] / coast_speed(np.array([START_S]), STOP_S, DRAG)[0]
    assert rate_hz == pytest.approx(true_hz, rel=0.01)


def test_the_whole_motion_is_told_from_push_to_stand(train_bank: Callable[..., Any]) -> None:
    train = find_train(impact_levels(train_bank(impacts_s())), coasting=None)
    assert train is not None
    assert train.coasting
    assert train.chance < 1e-9
    assert train.times_s[0] == pytest.approx(START_S - 0.32, abs=0.2)
    assert train.times_s[-1] == pytest.approx(STOP_S, abs=0.4)
    # 10.1 turns by the closed form, and 0.32 turns of the push before.
    made = float(coast_angle(np.array([START_S, STOP_S]), STOP_S, DRAG)[-1])
    turns = made * 2 / float(coast_speed(np.array([START_S]), STOP_S, DRAG)[0])
    assert train.impacts[-1] / ORDER == pytest.approx(turns + 0.32, abs=0.3)


@pytest.mark.parametrize("seed", range(6))
def test_noise_holds_no_train(seed: int, train_bank: Callable[..., Any]) -> None:
    train = find_train(impact_levels(train_bank(np.empty(0), seed=seed)), coasting=None)
    assert train is None or train.chance > DETECTION_CHANCE


@pytest.mark.parametrize("seed", range(4))
def test_impacts_at_any_times_are_no_train(seed: int, train_bank: Callable[..., Any]) -> None:
    """Grit: as many impacts as a damaged ring makes, at times that mean nothing."""
    at_s = np.sort(np.random.default_rng(seed).uniform(1.5, 11.5, 75))
    train = find_train(impact_levels(train_bank(at_s, seed=seed)), coasting=None)
    assert train is None or train.chance > DETECTION_CHANCE


def test_too_short_for_any_train(train_bank: Callable[..., Any]) -> None:
    assert find_train(impact_levels(train_bank(np.empty(0), seconds=2.0)), coasting=None) is None
