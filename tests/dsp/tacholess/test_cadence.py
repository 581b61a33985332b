"""A wandering cadence found from impacts alone, and what keeps time too well for legs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.tacholess.impact_levels import impact_levels
from acoustic.dsp.tacholess.train_search import find_train

Floats = NDArray[np.float64]


def pedalled_s(order: float, drift: float, seconds: float = 13.0) -> tuple[Floats, Floats, Floats]:
    """Times of impacts, and times and turns: 1.2 turns/s that swing slowly."""
    times_s = np.arange(0, seconds, 0.001)
    speed_hz = 1.2 * (1 + drift * np.sin(2 * np.pi * times_s / 7))
    turns = np.cumsum(speed_hz) * 0.001
    return np.interp(np.arange(0.4, turns[-1] * order) / order, turns, times_s), times_s, turns


@pytest.mark.parametrize("drift", [0.015, 0.04])
def test_a_cadence_is_followed(drift: float, train_bank: Callable[..., Any]) -> None:
    at_s, times_s, turns = pedalled_s(7.1, drift)
    train = find_train(impact_levels(train_bank(at_s)), coasting=None)
    assert train is not None
    assert not train.coasting
    assert not train.even
    assert train.chance < 1e-9
    inside = (train.times_s > 1) & (train.times_s < 12)
    true = np.interp(train.times_s[inside], times_s, turns)
    off = train.impacts[inside] / 7.1 - true
    assert np.std(off) < 0.03


def test_a_clock_is_even(train_bank: Callable[..., Any]) -> None:
    train = find_train(impact_levels(train_bank(np.arange(0.2, 12.9, 0.125))), coasting=None)
    assert train is not None
    assert train.chance < 1e-6
    assert not train.coasting
    assert train.even


def test_a_clock_is_no_coasting_crank(train_bank: Callable[..., Any]) -> None:
    train = find_train(impact_levels(train_bank(np.arange(0.2, 12.9, 0.125))), coasting=True)
    assert train is None or train.chance > 0.002
