"""A clock, and a motion that is given, set against trains made by hand and spins of both generators."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import BandBank, band_bank
from acoustic.dsp.tacholess.agreement import agreement
from acoustic.dsp.tacholess.alignment import align_clock, bends_along, impact_places
from acoustic.dsp.tacholess.coast_down import coast_angle, coast_speed
from acoustic.dsp.tacholess.impact_levels import impact_levels
from acoustic.simulator import Spin, simulate

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
from pieced import piece_together
from pieces import Pieces
from spins import draw

Floats = NDArray[np.float64]
TIMES_S = np.arange(1.5, 11.5, 0.01)
REAL = os.environ.get("ACOUSTIC_REAL_RECORDINGS")
GENERATORS = [
    "physical",
    pytest.param(
        "pieced",
        marks=pytest.mark.skipif(
            REAL is None, reason="ACOUSTIC_REAL_RECORDINGS names no folder of real recordings"
        ),
    ),
]


def spun(stop_s: float) -> tuple[Floats, Floats]:
    """Turns and speed at `TIMES_S` of a crank let go at 2 turns/s at 1.5 s."""
    share = 2 / float(coast_speed(TIMES_S[:1], stop_s, 0.1)[0])
    return coast_angle(TIMES_S, stop_s, 0.1) * share, coast_speed(TIMES_S, stop_s, 0.1) * share


def impacts_s(turns: Floats) -> Floats:
    return np.interp(np.arange(0.3, turns[-1] * 8.9) / 8.9, turns, TIMES_S)


def curve_of(speed_hz: Floats, offset_s: float) -> tuple[Floats, Floats, list[tuple[float, float]]]:
    """The curve by a clock of its own: at rest until 1.1 s, at its fastest from 1.5 s on."""
    curve_s = np.concatenate([[1.1], TIMES_S]) - offset_s
    return curve_s, np.concatenate([[0.0], speed_hz]), [(float(curve_s[0]), float(curve_s[-1]))]


@pytest.mark.parametrize("offset_s", [-1.3, 0.4])
def test_a_clock_is_set_by_impacts_alone(offset_s: float, train_bank: Callable[..., Any]) -> None:
    """The push makes 0.4 turns, 3.6 impacts; the usual interval at its end is 56 ms."""
    turns, speed_hz = spun(11.5)
    pushed_s = 1.1 + 0.4 * np.sqrt(np.arange(0.3, 0.4 * 8.9) / (0.4 * 8.9))  # evenly hastened
    coasting_s = np.interp(np.arange(4.3 - 0.4 * 8.9, turns[-1] * 8.9) / 8.9, turns, TIMES_S)
    levels = impact_levels(train_bank(np.concatenate([pushed_s, coasting_s])))
    place = impact_places(levels, *curve_of(speed_hz, offset_s))[0]
    assert place.chance < 1e-6
    assert float(place.offsets_s[place.nats.argmax()]) == pytest.approx(offset_s, abs=0.06)
    assert place.order == pytest.approx(8.9, rel=0.01)


def test_backward_and_louder_are_the_same(train_bank: Callable[..., Any]) -> None:
    turns, speed_hz = spun(11.5)
    bank = train_bank(impacts_s(turns))
    curve_s, curve_hz, stretches = curve_of(speed_hz, 0.2)
    forward = align_clock(bank, curve_s, curve_hz, stretches)
    assert forward is not None
    assert forward.sure
    assert align_clock(bank, curve_s, -curve_hz, stretches) == forward
    louder = align_clock(replace(bank, power=bank.power * 100), curve_s, curve_hz, stretches)
    assert louder is not None
    assert louder.offset_s == pytest.approx(forward.offset_s, abs=1e-3)


def test_noise_sets_no_clock(train_bank: Callable[..., Any]) -> None:
    _, speed_hz = spun(11.5)
    assert align_clock(train_bank(np.empty(0)), *curve_of(speed_hz, 0.0)) is None


def test_a_steady_wobble_twice_a_turn_is_no_bend() -> None:
    """1.25 turns/s, a tenth up and down twice a turn: over half a segment, 1.25 s, the mean stays to some 3 %."""
    times_s = np.arange(0, 20, 0.01)
    speed_hz = 1.25 * (1 + 0.1 * np.sin(2 * np.pi * 2.5 * times_s))
    speed, bends, used = bends_along(np.arange(2, 18, 0.37), times_s, speed_hz)
    assert used.size == speed.size
    assert np.all(np.abs(speed / 1.25 - 1) < 0.03)
    assert np.all(np.abs(bends) < 0.06)


def test_its_own_motion_is_confirmed_and_another_is_not(train_bank: Callable[..., Any]) -> None:
    turns, _ = spun(11.5)
    bank = train_bank(impacts_s(turns))
    assert agreement(bank, TIMES_S, turns, coasting=True).verdict == "confirmed"
    other, _ = spun(25.0)
    assert agreement(bank, TIMES_S, other, coasting=True).verdict == "contradicted"


def test_noise_confirms_nothing(train_bank: Callable[..., Any]) -> None:
    turns, _ = spun(11.5)
    assert agreement(train_bank(np.empty(0)), TIMES_S, turns, coasting=True).verdict == "open"


@cache
def damaged(generator: str, *, pedalled: bool = False) -> tuple[Spin, BandBank]:
    """A damaged outer ring 3 dB under the room, talk twice as loud; let go, or pedalled with a wobble of 4 %."""
    changes: dict[str, Any] = {
        "defects": (("outer_raceway", -3.0),),
        "turns": 12.0,
        "talk_db": 2.0,
        "push_db": None,
        "cut_s": (0.0, 0.0),
    }
    if pedalled:
        changes |= {"spin": "pedal", "start_hz": 1.25, "wobble": 0.04, "duration_s": 14.0, "still_s": (1.5, 1.5)}
    plan = draw(400, **changes)
    spin = (
        simulate(plan) if generator == "physical" else piece_together(plan, Pieces.load(Path(str(REAL)), "build"))
    )
    return spin, band_bank(spin.samples, sample_rate_hz=spin.sample_rate_hz)


def course_of(spin: Spin) -> tuple[Floats, Floats]:
    """Speed every 10 ms."""
    times_s = np.arange(0, spin.times_s[-1], 0.01)
    return times_s, np.interp(times_s, spin.times_s, np.gradient(spin.turns, spin.times_s))


@pytest.mark.parametrize("pedalled", [False, True], ids=["let go", "pedalled"])
@pytest.mark.parametrize("generator", GENERATORS)
class TestBothGenerators:
    def test_the_clock(self, generator: str, pedalled: bool) -> None:
        """40 ms at 2 turns a second are what 0.03 turn of the angle's spread allow."""
        spin, bank = damaged(generator, pedalled=pedalled)
        times_s, speed_hz = course_of(spin)
        found = align_clock(bank, times_s + 5.0, speed_hz, [(spin.start_s + 5.0, spin.stop_s + 5.0)])
        assert found is not None
        assert found.sure
        assert found.offset_s == pytest.approx(-5.0, abs=0.04)
        assert found.half_width_s < 0.15

    def test_its_own_motion_is_never_contradicted(self, generator: str, pedalled: bool) -> None:
        """As a gyro gives it, every wobble in it."""
        spin, bank = damaged(generator, pedalled=pedalled)
        turning = (spin.times_s > spin.start_s) & (spin.times_s < spin.stop_s)
        times_s, turns = spin.times_s[turning][::8], spin.turns[turning][::8]
        assert agreement(bank, times_s, turns, coasting=not pedalled).verdict == "confirmed"

    def test_another_motion_is_noticed(self, generator: str, pedalled: bool) -> None:
        """A quarter slower at the end than at the start: it is another spin."""
        spin, bank = damaged(generator, pedalled=pedalled)
        times_s = np.arange(spin.start_s, spin.stop_s, 0.01)
        share = (times_s - spin.start_s) / (spin.stop_s - spin.start_s)
        speed = np.interp(times_s, *course_of(spin)) * (1 + 0.8 * share) + 0.02
        turns = np.cumsum(speed) * 0.01
        assert agreement(bank, times_s, turns, coasting=not pedalled).verdict == "contradicted"
