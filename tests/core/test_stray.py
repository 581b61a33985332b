"""Beats that fit no part: found where they are, absent where a part explains them, and never an echo's."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from acoustic.core.angle import CELLS_A_TURN, AngleLevels, without_fixed_angle
from acoustic.core.clicks import regularity, without
from acoustic.core.geometry import BearingGeometry, defect_orders
from acoustic.core.severity import event_power, strike_power
from acoustic.core.stray import stray_beat
from acoustic.simulator import SpinPlan

Hear = Callable[..., Any]


def strikes(balls: int, part: str, seed: int) -> SpinPlan:
    """A damaged bearing with another count than the catalogue's 16, well over the room."""
    geometry = BearingGeometry(balls=balls, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
    return SpinPlan(
        geometry=geometry, defects=((part, 6.0),), duration_s=12.0, running_db=4.0, slip=0.0, seed=seed
    )


@pytest.mark.parametrize(
    ("balls", "part"), [(14, "outer_raceway"), (18, "outer_raceway"), (18, "inner_raceway"), (17, "outer_raceway")]
)
def test_another_count_is_a_stray_beat(
    balls: int, part: str, commonest: BearingGeometry, simulated: Any, hear: Hear
) -> None:
    """By hand: Z/2 (1 -+ 3.5/31). Strikes without slip and true marks fix it to a third of a per cent."""
    plan = strikes(balls, part, seed=balls)
    heard = hear(simulated(plan), commonest)
    found = stray_beat(heard.left, heard.levels)
    assert found.order == pytest.approx(getattr(defect_orders(plan.geometry), part), rel=0.004)
    assert found.chance < 1e-6
    assert found.event_ratio > 0.1
    assert all(p.chance > 0.01 or p.event_ratio < found.event_ratio / 5 for p in heard.parts), "no part is named"


def test_an_echo_is_no_part(simulated: Any, hear: Hear, commonest: BearingGeometry) -> None:
    """By hand: 14 balls' outer order 6.210 x 4/3 = 8.280, in reach of 15 balls' inner order 8.347."""
    assumed = BearingGeometry(balls=15, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
    heard = hear(simulated(strikes(14, "outer_raceway", seed=14)), assumed)
    assert heard.part("inner_raceway").chance == 1.0


@pytest.mark.parametrize("part", ["outer_raceway", "inner_raceway", "ball"])
def test_what_a_part_explains_is_not_stray(
    part: str, commonest: BearingGeometry, simulated: Any, hear: Hear
) -> None:
    heard = hear(simulated(strikes(16, part, seed=3)), commonest)
    assert heard.part(part).chance < 1e-6
    assert stray_beat(heard.left, heard.levels).event_ratio < heard.part(part).event_ratio / 5


def test_a_sound_bearing_has_none(commonest: BearingGeometry, simulated: Any, hear: Hear) -> None:
    """Without waviness, whose weak lines a part explains well enough to be left where they are."""
    heard = hear(simulated(SpinPlan(geometry=commonest, duration_s=12.0, waviness=0.0, seed=6)), commonest)
    assert stray_beat(heard.left, heard.levels).chance > 0.01


def levels_with(order: float, turns: int = 9) -> AngleLevels:
    """Noise with a loud cell `order` times a turn."""
    rng = np.random.default_rng(1)
    cells = rng.exponential(size=(6, turns * CELLS_A_TURN))
    at = np.round(np.arange(0.3, turns * order) / order * CELLS_A_TURN).astype(int)
    cells[:, at[at < cells.shape[1]]] = 40.0
    return AngleLevels(np.log1p(cells), cells, float(turns), np.full(cells.shape[0], 1000.0))


@pytest.mark.parametrize(("order", "angles"), [(1.0, 1), (2.0, 2)])
def test_what_comes_back_at_an_angle_is_left_out(order: float, angles: int) -> None:
    given = levels_with(order)
    freed = without_fixed_angle(given)
    assert freed.fixed_angles == angles
    assert given.plain.max() == 40.0
    assert freed.plain.max() < 20.0, "exponential cells reach ln(14000) = 9.5 on the whole"


@pytest.mark.parametrize("order", [0.4436, 7.097, 8.125, 8.903])
def test_strikes_that_wander_stay(order: float) -> None:
    """No ball pass or cage turn is a whole number, so within nine turns they come at all angles."""
    given = levels_with(order)
    assert without_fixed_angle(given) is given


def test_too_few_turns_to_tell() -> None:
    given = levels_with(1.0, turns=3)
    assert without_fixed_angle(given) is given


def test_random_clicks_are_not_even() -> None:
    """Of 200 random trains a chance under 0.05 is shown by 10 on average; 20 would be over three deviations."""
    rng = np.random.default_rng(2)
    shown = [regularity(np.sort(rng.uniform(0, 10, 60))) for _ in range(200)]
    assert sum(chance < 0.05 for chance in shown) <= 20


@pytest.mark.parametrize("slowing", [0.0, 0.02])
def test_a_beat_is_even_at_any_pace(slowing: float) -> None:
    """60 strikes whose interval grows by nothing, or by 2 per cent each: all ratios within a quarter."""
    assert regularity(np.cumsum(0.1 * (1 + slowing) ** np.arange(60))) < 1e-20


def test_few_clicks_tell_nothing() -> None:
    assert regularity(np.arange(7.0)) == 1.0


def test_the_markers_own_clicks_are_left_out(simulated: Any, hear: Hear, commonest: BearingGeometry) -> None:
    from acoustic.core.clicks import find_clicks

    spin = simulated(SpinPlan(geometry=commonest, duration_s=12.0, ticks_db=36.0, seed=4))
    clicks = find_clicks(hear(spin, commonest).bank)
    assert clicks.times_s.size >= spin.marks_s.size - 1
    assert without(clicks, spin.marks_s).times_s.size <= 1


def test_faint_strikes_are_measured_where_talk_cannot_drown_them() -> None:
    """Strikes that add 5 to exponential noise of mean 1, in one cell of 36.6: a mean power of -8.6 dB.

    Twelve cells of 200, as syllables leave, hide them in the plain levels: by hand 200 sqrt(12) / 3072 =
    0.23 in every coefficient, against 0.14. On the compressed ones a strike is worth the mean of
    ln(6 + N) - ln(1 + N), 1.93 - 0.60 = 1.33, which 0.596 turns to 2.2 of its 5: 3.5 dB low, but there.
    """
    rng = np.random.default_rng(5)
    cells = rng.exponential(size=(24, 12 * CELLS_A_TURN))
    at = np.round(np.arange(0.2, 12 * 7.0) / 7.0 * CELLS_A_TURN).astype(int)
    cells[:, at[at < cells.shape[1]]] += 5.0
    cells[:, rng.choice(cells.shape[1], 12, replace=False)] += 200.0
    levels = AngleLevels(np.log1p(cells), cells, 12.0, np.full(cells.shape[0], 1000.0))
    found_db = 10 * np.log10(strike_power(levels, (0, 23), 7.0))
    assert found_db == pytest.approx(-8.6 - 3.5, abs=2.5)
    assert event_power(cells.mean(axis=0), 7.0, turns=12.0) < strike_power(levels, (0, 23), 7.0)
