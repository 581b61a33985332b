"""A step that nobody entered: found where it is, at the stated rate where there is none, and only told."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from acoustic.errors import InputError
from acoustic.trend.points import Point
from acoustic.trend.slope import TooFew
from acoustic.trend.step import STEP_CHANCE, Step, find_step, residual_ranks, step_directions, step_sentence

Make = Callable[..., list[Point]]
Floats = NDArray[np.float64]

DAYS = np.array([0.0, 20, 45, 60, 95, 110, 150, 170, 200, 215, 250, 270])
SCATTER = np.array([0.3, -0.5, 0.4, -0.1, 0.6, -0.4, 0.1, -0.6, 0.5, -0.2, 0.2, -0.3])


def found(days: Floats, values: Floats) -> Step:
    step = find_step([Point(float(day), float(value)) for day, value in zip(days, values, strict=True)])
    assert isinstance(step, Step)
    return step


@pytest.mark.parametrize("before", [4, 6, 8])
@pytest.mark.parametrize("change", [-6.0, 6.0])
def test_a_step_on_a_rise_is_found_where_it_is(before: int, change: float) -> None:
    step = found(DAYS, 0.03 * DAYS + SCATTER + change * (np.arange(12) >= before))
    assert step.found
    assert step.visits_before == before
    assert (step.last_day_before, step.first_day_after) == (DAYS[before - 1], DAYS[before])
    assert step.change == pytest.approx(change, abs=1.0)


def test_a_plain_rise_is_no_step() -> None:
    assert not found(DAYS, 0.2 * DAYS + SCATTER).found
    assert found(DAYS, 0.2 * DAYS).chance == 1.0


def test_one_bad_recording_is_no_step() -> None:
    values = 0.03 * DAYS + SCATTER
    values[6] += 30.0
    assert not found(DAYS, values).found


def test_the_chance_is_that_of_an_exact_permutation_test() -> None:
    """All 5040 orders of seven visits, by scipy.stats.permutation_test, against the shuffles: three standard
    errors of a share p among 9999 are 3 * sqrt(p (1 - p) / 9999), at most 0.015."""
    days = DAYS[:7]
    values = 0.03 * days + SCATTER[:7] + 2.0 * (np.arange(7) >= 4)
    ranks, steps = residual_ranks(days, values), step_directions(days)
    factor = np.sqrt(5 / 6)
    observed = factor * np.abs(steps @ ranks).max()

    def clearest(order: Floats) -> float:
        return float(np.abs(steps @ order).max())

    exact = stats.permutation_test(
        (ranks,),
        clearest,
        permutation_type="pairings",
        n_resamples=np.inf,
        alternative="greater",
        vectorized=False,
    )
    share = float(np.mean(exact.null_distribution >= observed - 1e-9))
    assert 0.02 < share < 0.98
    assert found(days, values).chance == pytest.approx(share, abs=3 * np.sqrt(share * (1 - share) / 9999))


def test_step_directions_are_blind_to_level_and_slope() -> None:
    steps = step_directions(DAYS)
    assert steps.shape == (7, 12)
    assert np.abs(steps @ np.ones(12)).max() < 1e-12
    assert np.abs(steps @ DAYS).max() < 1e-9
    assert np.linalg.norm(steps, axis=1) == pytest.approx(np.ones(7))


def test_false_steps_are_as_rare_as_stated() -> None:
    """200 straight trends of 12 visits: 0.05 of them, 10, and less than three standard errors more, 19."""
    rng = np.random.default_rng(5)
    false = 0
    for _ in range(200):
        days = np.cumsum(rng.uniform(7, 60, 12))
        false += found(days, 0.05 * days + rng.normal(0, 1.5, 12)).chance <= STEP_CHANCE
    assert 1 <= false < 19


@given(
    st.lists(st.integers(-40, 40), min_size=12, max_size=12),
    st.integers(-5000, 5000),
    st.sampled_from([0.25, 4.0]),
)
def test_shifting_and_scaling_move_the_step_along(quarters: list[int], shift: int, factor: float) -> None:
    values = np.array(quarters) / 4
    step, moved = found(DAYS, values), found(DAYS + shift, factor * values)
    assert (moved.chance, moved.visits_before) == (step.chance, step.visits_before)
    assert moved.change == pytest.approx(factor * step.change)
    assert moved.first_day_after == step.first_day_after + shift


def test_the_order_of_points_does_not_matter(make_points: Make) -> None:
    points = make_points(DAYS, SCATTER)
    assert find_step(points[::-1]) == find_step(points)


def test_five_visits_are_too_few(make_points: Make) -> None:
    step = find_step(make_points(range(5), range(5)))
    assert step == TooFew(5, 6)
    assert "5 so far, 6 needed" in step_sentence(step, unit="dB")


def test_groups_are_not_mixed(make_points: Make) -> None:
    with pytest.raises(InputError, match="2 groups"):
        find_step([*make_points(range(6), range(6), "a"), *make_points(range(6), range(6), "b")])


def test_what_is_said() -> None:
    fell = Step(5, 100.0, 130.0, -6.14, 0.002)
    assert step_sentence(fell, unit="dB") == (
        "between visits 5 and 6 it fell at once by about 6.1 dB, and no work is entered there: was it serviced "
        "then? Luck alone does so one time in 500; the trend goes on through it until the work is entered"
    )
    rose = step_sentence(Step(5, 100.0, 130.0, 6.14, 0.04), unit="dB")
    assert "rose at once" in rose
    assert "knock?" in rose
    assert step_sentence(Step(5, 100.0, 130.0, 6.14, 0.051), unit="dB") == "no step beside the trend stands out"
