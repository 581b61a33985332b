"""The robust slope: a published example, brute force, exact coverage, invariance."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import combinations, permutations
from random import Random
from statistics import median

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.errors import InputError
from acoustic.trend.points import Point
from acoustic.trend.slope import FEWEST_VISITS, NINE_IN_TEN, Slope, TooFew, Trend, fit_trend, theil_sen

Make = Callable[..., list[Point]]

# Quarters and whole days, so that sums are exact.
VALUES = st.integers(-160, 160).map(lambda quarters: quarters / 4)
VISITS = st.dictionaries(st.integers(0, 400).map(float), VALUES, min_size=4, max_size=12)


def fitted(points: list[Point]) -> Trend:
    trend = fit_trend(points)
    assert isinstance(trend, Trend)
    return trend


def test_sen_s_own_example() -> None:
    """Sen (1968), as scipy's own tests quote it: slope 4, at 93 % from 3.71 to 4.38."""
    x = np.array([1.0, 2, 3, 4, 10, 12, 18])
    y = np.array([9.0, 15, 19, 20, 45, 55, 78])
    slope = theil_sen(x, y, confidence=0.93)
    assert slope.value == pytest.approx(4.0)
    assert (slope.low, slope.high) == pytest.approx((3.71, 4.38), abs=0.005)


@given(VISITS)
def test_it_is_the_median_of_all_pairs_slopes(visits: dict[float, float]) -> None:
    pairs = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in combinations(sorted(visits.items()), 2)]
    slope = theil_sen(np.array(list(visits)), np.array(list(visits.values())))
    assert slope.value == pytest.approx(median(pairs), abs=1e-12)
    assert min(pairs) <= slope.low <= slope.value <= slope.high <= max(pairs)


@pytest.mark.parametrize(("visits", "missed"), [(4, 2), (5, 2 * (1 + 4)), (6, 2 * (1 + 5 + 14))])
def test_coverage_is_exact_for_few_visits(visits: int, missed: int) -> None:
    """Over all orders of n values without trend, 0 must lie within the interval nine times in ten.

    The number of falling pairs among n values has the counts 1, 3, 5, ... for four of them, 1, 4, 9, ...
    for five and 1, 5, 14, ... for six (Mahonian numbers). Sen's normal law leaves out none of the six slopes
    of four visits, the outermost of ten of five, the two outermost of fifteen of six, so it misses with the
    first 1, 2 and 3 of these counts at either end.
    """
    x = np.arange(visits, dtype=np.float64)
    slopes = [theil_sen(x, np.array(order, dtype=np.float64)) for order in permutations(range(visits))]
    outside = sum(not slope.low <= 0 <= slope.high for slope in slopes)
    assert outside == missed
    assert outside / math.factorial(visits) <= 1 - NINE_IN_TEN


def test_three_visits_can_not_hold_it_nine_times_in_ten() -> None:
    """All three slopes together miss with 2 of 3! orders, four visits' with 2 of 4!."""
    assert 2 / math.factorial(FEWEST_VISITS - 1) > 1 - NINE_IN_TEN >= 2 / math.factorial(FEWEST_VISITS)


@pytest.mark.parametrize("visits", [6, 12])
@pytest.mark.parametrize("long_tailed", [False, True])
def test_coverage_on_simulated_declines(visits: int, long_tailed: bool, make_points: Make) -> None:
    """0.05 dB a day, scatter 1.5 dB; 500 of them: 0.90 less three standard errors (0.04), and not all."""
    rng = np.random.default_rng(7 + visits)
    held, widths = 0, []
    for _ in range(500):
        days = np.cumsum(rng.uniform(7, 60, visits))
        scatter = rng.standard_t(3, visits) if long_tailed else rng.normal(size=visits)
        slope = fitted(make_points(days, 0.05 * days + 1.5 * scatter)).per_day
        held += slope.low <= 0.05 <= slope.high
        widths.append(slope.high - slope.low)
    assert 0.86 <= held / 500 <= 0.985
    assert np.median(widths) < (0.1 if visits == 6 else 0.04)


def test_one_bad_recording_does_not_turn_the_slope(make_points: Make) -> None:
    """Least squares would read 0.1 + 54 * 40 / 1230 = 1.9 a day here: sum of x * error over the sum of squares."""
    days = np.arange(0.0, 100.0, 10.0)
    values = 0.1 * days
    values[9] += 40.0
    slope = fitted(make_points(days, values)).per_day
    assert slope.value == pytest.approx(0.1)
    assert slope.low == pytest.approx(0.1)


def test_a_worked_line(make_points: Make) -> None:
    """Days 0, 10, 20, 30 with 0, 1.2, 1.8, 3.

    Slopes of the pairs: .12, .09, .1, .06, .09, .12, so the median is .095 and four visits' interval .06 to .12.
    At the middle, day 15, the values less the slope are 1.425, 1.675, 1.325, 1.575: level 1.5, residuals .075 and
    .175 in size, their median .125. Spread: 1.4826 * .125 * sqrt(4 / 2) = .2621. Student's t for 2 degrees of
    freedom, 95 %: 2.920 (any table). Half width: 2.920 * 1.2533 * .2621 / sqrt(4) = .4796.
    """
    trend = fitted(make_points([0, 10, 20, 30], [0.0, 1.2, 1.8, 3.0]))
    assert (trend.per_day.value, trend.per_day.low, trend.per_day.high) == pytest.approx((0.095, 0.06, 0.12))
    assert (trend.middle_day, trend.level) == pytest.approx((15.0, 1.5))
    assert trend.spread == pytest.approx(0.2621, abs=5e-5)
    assert trend.level_half_width == pytest.approx(0.4796, abs=1e-4)
    assert trend.value_at(25.0) == pytest.approx(2.45)


def test_per_1000_km() -> None:
    """0.5 a visit, every 250 km: 2 per 1000 km, whatever the days."""
    days = [0.0, 3.0, 50.0, 60.0, 61.0]
    points = [Point(day, 0.5 * number, 4000.0 + 250 * number) for number, day in enumerate(days)]
    trend = fitted(points)
    assert trend.per_1000_km is not None
    assert trend.per_1000_km.value == pytest.approx(2.0)
    assert (trend.per_1000_km.low, trend.per_1000_km.high) == pytest.approx((2.0, 2.0))


def test_no_km_slope_where_one_is_missing_or_the_bike_hardly_moved() -> None:
    points = [Point(float(day), float(day), 100.0 * day) for day in range(4)]
    assert fitted([*points, Point(4.0, 4.0)]).per_1000_km is None
    assert fitted([*points[:3], Point(3.0, 3.0, 200.0)]).per_1000_km is None
    assert fitted([*points, Point(4.0, 4.0, 300.0)]).per_1000_km is not None


def test_km_that_fall_are_refused() -> None:
    points = [Point(float(day), 0.0, km) for day, km in enumerate([10.0, 20.0, 5.0, 30.0])]
    with pytest.raises(InputError, match="fall from 20 to 5"):
        fit_trend(points)


@pytest.mark.parametrize(
    ("days", "found"), [([], 0), ([1, 2, 3], 3), ([5.0, 5.1, 5.2, 5.3, 5.9], 1), ([1, 2, 3, 3.5], 3)]
)
def test_too_few_visits(days: list[float], found: int, make_points: Make) -> None:
    few = fit_trend(make_points(days, [0] * len(days)))
    assert few == TooFew(found, 4)
    assert few.sentence == f"not enough visits: {found} so far, 4 needed, each on a day of its own"


def test_too_few_places_are_refused() -> None:
    with pytest.raises(ValueError, match="3 different places, at least 4"):
        theil_sen(np.array([1.0, 2.0, 3.0, 3.0]), np.zeros(4))


def test_groups_are_not_mixed(make_points: Make) -> None:
    with pytest.raises(InputError, match="2 groups"):
        fit_trend([*make_points(range(4), range(4), "a"), *make_points(range(4), range(4), "b")])


@given(VISITS, st.integers(-20_000, 20_000), st.randoms(use_true_random=False))
def test_shifted_days_and_their_order_change_nothing(visits: dict[float, float], shift: int, rng: Random) -> None:
    trend = fitted([Point(day, value) for day, value in visits.items()])
    moved = [Point(day + shift, value) for day, value in visits.items()]
    rng.shuffle(moved)
    there = fitted(moved)
    assert (there.per_day, there.level, there.spread) == (trend.per_day, trend.level, trend.spread)
    assert there.middle_day == trend.middle_day + shift


@given(VISITS, st.sampled_from([0.125, 2.0, 1024.0]))
def test_scaled_values_scale_the_line(visits: dict[float, float], factor: float) -> None:
    trend = fitted([Point(day, value) for day, value in visits.items()])
    scaled = fitted([Point(day, factor * value) for day, value in visits.items()])
    assert scaled.per_day == trend.per_day.times(factor)
    assert (scaled.level, scaled.spread) == (factor * trend.level, factor * trend.spread)


@given(VISITS)
def test_turned_upside_down_the_interval_turns_too(visits: dict[float, float]) -> None:
    slope = fitted([Point(day, value) for day, value in visits.items()]).per_day
    turned = fitted([Point(day, -value) for day, value in visits.items()]).per_day
    assert (turned.value, turned.low, turned.high) == pytest.approx((-slope.value, -slope.high, -slope.low))


def test_a_slope_in_another_unit() -> None:
    assert Slope(1.0, -1.0, 2.0).times(7.0) == Slope(7.0, -7.0, 14.0)
