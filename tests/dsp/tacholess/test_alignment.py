"""A speed curve's clock, and a motion that is given, set against trains of impacts made by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.tacholess.agreement import agreement
from acoustic.dsp.tacholess.alignment import align
from acoustic.dsp.tacholess.coast_down import coast_angle, coast_speed
from acoustic.dsp.tacholess.impact_levels import impact_levels

Floats = NDArray[np.float64]
TIMES_S = np.arange(1.5, 11.5, 0.01)


def spun(stop_s: float) -> tuple[Floats, Floats]:
    """Turns and speed at `TIMES_S` of a crank let go at 2 turns/s at 1.5 s."""
    share = 2 / float(coast_speed(TIMES_S[:1], stop_s, 0.1)[0])
    return coast_angle(TIMES_S, stop_s, 0.1) * share, coast_speed(TIMES_S, stop_s, 0.1) * share


def impacts_s(turns: Floats) -> Floats:
    return np.interp(np.arange(0.3, turns[-1] * 8.9) / 8.9, turns, TIMES_S)


@pytest.mark.parametrize("offset_s", [-1.3, 0.4])
def test_a_clock_is_set_by_impacts_alone(offset_s: float, train_bank: Callable[..., Any]) -> None:
    turns, speed_hz = spun(11.5)
    curve_s = np.concatenate([[1.1], TIMES_S]) - offset_s
    found = align(
        impact_levels(train_bank(impacts_s(turns))),
        curve_s,
        np.concatenate([[0.0], speed_hz]),
        [(float(curve_s[0]), float(curve_s[-1]))],
    )
    assert found is not None
    assert found.chance < 1e-6
    assert found.offset_s == pytest.approx(offset_s, abs=0.12)
    assert found.order == pytest.approx(8.9, rel=0.02)


def test_its_own_motion_is_confirmed_and_another_is_not(train_bank: Callable[..., Any]) -> None:
    turns, _ = spun(11.5)
    bank = train_bank(impacts_s(turns))
    assert agreement(bank, TIMES_S, turns, coasting=True).verdict == "confirmed"
    other, _ = spun(25.0)
    assert agreement(bank, TIMES_S, other, coasting=True).verdict == "contradicted"


def test_noise_confirms_nothing(train_bank: Callable[..., Any]) -> None:
    turns, _ = spun(11.5)
    assert agreement(train_bank(np.empty(0)), TIMES_S, turns, coasting=True).verdict == "open"
