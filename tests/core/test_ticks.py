"""The once-a-turn tick: found among knocks and fainter clicks, and not made up from a defect's strikes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acoustic.core.clicks import Clicks, find_clicks
from acoustic.core.envelope import band_bank
from acoustic.core.geometry import BearingGeometry
from acoustic.core.ticks import tick_train
from acoustic.simulator import Spin, SpinPlan

Floats = NDArray[np.float64]
Simulated = Callable[[SpinPlan], Spin]
CARD = np.array([1.0, 2.0, 3.0, 1.0])
TOOL = np.array([3.0, 0.5, 0.2, 2.0])
STRIKE = np.array([2.0, 2.0, 0.5, 0.5])


def run_down_s(turns: int, *, start_hz: float = 1.6, slowing: float = 0.08, first_s: float = 1.0) -> Floats:
    """Times of whole turns under constant deceleration, by hand: t = (w0 - sqrt(w0^2 - 2 a k))/a."""
    return first_s + (start_hz - np.sqrt(start_hz**2 - 2 * slowing * np.arange(turns))) / slowing


def heard(*groups: tuple[Floats, float, Floats]) -> Clicks:
    """Clicks from groups of (times, strength, spectrum), in order of time."""
    times_s = np.concatenate([times for times, _, _ in groups])
    strength = np.concatenate([np.full(times.size, height) for times, height, _ in groups])
    spectrum = np.concatenate([np.tile(shape, (times.size, 1)) for times, _, shape in groups])
    order = np.argsort(times_s)
    return Clicks(times_s[order], strength[order], strength[order] * 0.01, spectrum[order])


class TestTrain:
    def test_alone(self) -> None:
        marks_s = run_down_s(10)
        assert np.array_equal(tick_train(heard((marks_s, 20.0, CARD))), marks_s)

    def test_among_knocks_and_fainter_clicks(self) -> None:
        """Two tools dropped, twice as loud and of another sound, and a defect's strikes a third as loud."""
        marks_s = run_down_s(10)
        knocks_s = np.array([2.2, 4.9])
        strikes_s = run_down_s(70, start_hz=11.3, slowing=0.57, first_s=1.05)
        clicks = heard((marks_s, 20.0, CARD), (knocks_s, 40.0, TOOL), (strikes_s, 7.0, STRIKE))
        assert np.array_equal(tick_train(clicks), marks_s)

    @given(
        turns=st.integers(5, 20),
        start_hz=st.floats(0.8, 2.4),
        share=st.floats(0.0, 0.7),
        seed=st.integers(0, 1000),
    )
    @settings(max_examples=25, deadline=None, derandomize=True)
    def test_any_run_down(self, turns: int, start_hz: float, share: float, seed: int) -> None:
        """Ticks as unlike as a card's: strengths from 0.7 to 1, and seldom a knock.

        `share` of the energy is gone at the last mark, so the speed there is sqrt(1 - share) of the first.
        """
        rng = np.random.default_rng(seed)
        slowing = share * start_hz**2 / (2 * turns)
        marks_s = run_down_s(turns, start_hz=start_hz, slowing=max(slowing, 1e-6))
        clicks = heard((marks_s, 20.0, CARD), (rng.uniform(1, marks_s[-1], 1), 30.0, TOOL))
        loudness = np.where(clicks.spectrum[:, 0] == TOOL[0], 1.0, rng.uniform(0.7, 1.0, clicks.times_s.size))
        clicks = Clicks(clicks.times_s, clicks.strength * loudness, clicks.power, clicks.spectrum)
        assert np.array_equal(tick_train(clicks), marks_s)

    @given(late_s=st.floats(0.0, 100.0), gain=st.floats(0.5, 20.0))
    @settings(max_examples=15, deadline=None, derandomize=True)
    def test_later_and_louder(self, late_s: float, gain: float) -> None:
        """Only intervals and strengths against each other count."""
        marks_s = run_down_s(8)
        clicks = heard((marks_s + late_s, 20.0 * gain, CARD), (np.array([3.3 + late_s]), 9.0 * gain, STRIKE))
        assert np.array_equal(tick_train(clicks), marks_s + late_s)


class TestRefusal:
    @pytest.mark.parametrize("count", [0, 1, 3])
    def test_fewer_than_four(self, count: int) -> None:
        assert tick_train(heard((run_down_s(count), 20.0, CARD))).size == 0

    @pytest.mark.parametrize("order", [7.1, 8.9])
    def test_strikes_of_a_defect_without_a_card(self, order: float) -> None:
        """Every strike sounds the same, so a train picked from them leaves as many others behind."""
        strikes_s = run_down_s(round(8 * order), start_hz=1.6 * order, slowing=0.08 * order)
        assert tick_train(heard((strikes_s, 15.0, STRIKE))).size == 0

    def test_clicks_faster_than_any_crank(self) -> None:
        """Five turns a second is the limit: clicks 0.15 s apart are no turns, and every second one leaves
        as many behind."""
        assert tick_train(heard((1 + 0.15 * np.arange(40), 20.0, CARD))).size == 0

    def test_clicks_too_far_apart(self) -> None:
        assert tick_train(heard((6.0 * np.arange(6), 20.0, CARD))).size == 0

    def test_clicks_at_random(self) -> None:
        """Alike and without rhythm, forty in ten seconds: too many are left out of any train."""
        found = []
        for seed in range(10):
            times_s = np.sort(np.random.default_rng(seed).uniform(0, 10, 40))
            found.append(tick_train(heard((times_s, 20.0, CARD))).size)
        assert found == [0] * 10


class TestSimulated:
    @staticmethod
    def clicks(spin: Spin) -> Clicks:
        bank = band_bank(spin.samples, sample_rate_hz=float(spin.sample_rate_hz), top_hz=18000.0)
        return find_clicks(bank, least_height=6.0)

    @pytest.mark.parametrize(
        "more",
        [
            {"seed": 1},
            {"seed": 2, "knocks": 2},
            {"seed": 3, "defects": (("outer_raceway", -3.0),)},
            {"seed": 4, "defects": (("grit", -6.0),), "talk_db": 6.0},
        ],
        ids=["alone", "knocks", "outer ring", "grit and talk"],
    )
    def test_a_card_on_the_crank(
        self, more: dict[str, Any], commonest: BearingGeometry, simulated: Simulated
    ) -> None:
        """Every true mark, to 4 ms: a frame, and a ring that peaks a few ms after its start.

        4 ms are half a per cent of a turn at 1.2 turns a second, a twentieth of a ball pass.
        """
        spin = simulated(SpinPlan(geometry=commonest, ticks_db=30.0, duration_s=11.0, turns=10.0, **more))
        found_s = tick_train(self.clicks(spin))
        assert found_s.size == spin.marks_s.size
        assert found_s == pytest.approx(spin.marks_s, abs=0.004)

    @pytest.mark.parametrize("part", ["outer_raceway", "inner_raceway", "ball"])
    def test_no_card(self, part: str, commonest: BearingGeometry, simulated: Simulated) -> None:
        spin = simulated(SpinPlan(geometry=commonest, defects=((part, 8.0),), duration_s=11.0, turns=10.0, seed=1))
        clicks = self.clicks(spin)
        assert clicks.times_s.size > 8
        assert tick_train(clicks).size == 0
