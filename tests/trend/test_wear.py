"""The weighed courses: against a reference library's density, least squares, worked rises; invariance; refusal."""

from __future__ import annotations

import math
from collections.abc import Callable
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from acoustic.errors import InputError
from acoustic.trend.courses import PRIOR, Kind, courses, shape
from acoustic.trend.points import Point
from acoustic.trend.wear import DECIBELS, MOST_VISITS, Onset, TooFew, Wear, weigh, weigh_over_km
from acoustic.trend.weighing import (
    CORRELATIONS,
    LEVEL_SPREAD,
    SCATTER_FREEDOM,
    SPOILT_CHANCE,
    SPOILT_SPREAD,
    Scale,
    fit,
)

Make = Callable[..., list[Point]]
DAYS = np.array([0.0, 30, 65, 90, 130, 155, 190, 230, 260])
SCATTER = np.array([0.3, -0.5, 0.4, -0.1, 0.6, -0.4, 0.1, -0.6, 0.5])
VISITS = st.dictionaries(
    st.integers(0, 400).map(float),
    st.integers(-100, 60).map(lambda quarters: quarters / 4),
    min_size=4,
    max_size=8,
)


def weighed(points: list[Point], scale: Scale = DECIBELS) -> Wear:
    wear = weigh(points, scale)
    assert isinstance(wear, Wear)
    return wear


def test_every_weight_is_the_density_that_a_reference_library_gives() -> None:
    """Normal law with an inverse gamma variance: integrated out, the visits follow a multivariate t.

    With nu degrees of freedom and the matrix R + X V X' (A. Gelman and others, Bayesian Data Analysis, ch. 14;
    from memory); by scipy.stats.multivariate_t.
    """
    u, y = DAYS / DAYS[-1], np.array([-1.2, 0.4, 0.1, -0.7, 0.5, 1.9, 1.4, 2.8, 3.9])
    every = courses(u, np.full(u.size, 10.0))
    fitted = fit(every, y, DECIBELS)
    v = np.diag((np.array([LEVEL_SPREAD, 1, 1]) * DECIBELS.rise / DECIBELS.scatter) ** 2)
    each = iter(range(fitted.course.size))
    gaps = np.abs(np.subtract.outer(np.arange(9), np.arange(9)))
    checked = 0
    for alike, share in CORRELATIONS.items():
        for spoilt in (None, *range(9)):
            kept = np.array([place for place in range(9) if place != spoilt])
            for number, course in enumerate(every):
                at = next(each)
                if number % 23:
                    continue
                x = course.columns[kept]
                law = stats.multivariate_t(
                    shape=(alike**gaps)[np.ix_(kept, kept)] + x @ v @ x.T, df=SCATTER_FREEDOM, allow_singular=False
                )
                expected = law.logpdf(y[kept]) + math.log(course.weight * share)
                expected += 0 if spoilt is None else math.log(SPOILT_CHANCE / SPOILT_SPREAD)
                assert (fitted.course[at], fitted.alike[at]) == (number, alike)
                # The constants that all courses share are left out of the weights.
                assert fitted.log_weight[at] - expected == pytest.approx(
                    fitted.log_weight[0] - _first_density(every, y, v), abs=1e-9
                )
                checked += 1
    assert checked > 100


def _first_density(every: tuple[object, ...], y: np.ndarray, v: np.ndarray) -> float:
    course = every[0]
    x = course.columns  # type: ignore[attr-defined]
    law = stats.multivariate_t(shape=np.eye(y.size) + x @ v @ x.T, df=SCATTER_FREEDOM)
    weight = course.weight * CORRELATIONS[0.0]  # type: ignore[attr-defined]
    return float(law.logpdf(y) + math.log(weight))


def test_a_clear_straight_rise_is_least_squares(make_points: Make) -> None:
    """With little scatter the rate's middle is that of numpy's least squares, and its range lies about it."""
    values = -25 + 0.05 * DAYS + 0.3 * SCATTER
    wear = weighed(make_points(DAYS, values))
    slope = np.polyfit(DAYS, values, 1)[0]
    assert wear.rises
    assert wear.rate.low < slope < wear.rate.high
    assert wear.rate.value == pytest.approx(slope, rel=0.15)


def test_visits_clamped_before_the_onset_are_no_points_of_the_rate(make_points: Make) -> None:
    """Two clean visits at the faintest value, then 0.03 dB a day from -16 dB; a line through all: over 0.07."""
    values = np.where(DAYS < 50, -30.0, -18.0 + 0.03 * DAYS + SCATTER)
    wear = weighed(make_points(DAYS, values))
    assert np.polyfit(DAYS, values, 1)[0] > 0.07
    assert wear.onset == Onset(1, 2, 2)
    assert 0.01 < wear.rate.value < 0.05


def test_an_onset_above_the_faintest_value_is_found(make_points: Make) -> None:
    """Level until day 140, from there 0.12 dB a day: the onset lies between the visits of days 130 and 155."""
    wear = weighed(make_points(DAYS, -24 + 0.12 * np.maximum(DAYS - 140, 0) + 0.5 * SCATTER))
    assert wear.onset is not None
    assert wear.onset.likeliest == 5
    assert wear.onset.after <= 4
    assert wear.onset.before >= 5


def test_a_rise_from_the_first_visit_has_no_onset(make_points: Make) -> None:
    assert weighed(make_points(DAYS, -22 + 0.05 * DAYS + SCATTER)).onset is None


def test_one_spoilt_visit_does_not_turn_the_rate(make_points: Make) -> None:
    """Least squares would turn from 0.05 to some 0.1 a day."""
    values = -25 + 0.05 * DAYS + 0.5 * SCATTER
    values[-1] += 25.0
    assert np.polyfit(DAYS, values, 1)[0] > 0.09
    assert weighed(make_points(DAYS, values)).rate.value == pytest.approx(0.05, abs=0.015)


def test_level_and_falling_visits_are_not_shown_to_rise(make_points: Make) -> None:
    for values in (-18 + 2 * SCATTER, -12 - 0.05 * DAYS + SCATTER):
        wear = weighed(make_points(DAYS, values))
        assert not wear.rises
        assert wear.rate.low <= 0


def test_all_clean_is_flat(make_points: Make) -> None:
    wear = weighed(make_points(DAYS, np.full(9, -30.0)))
    assert wear.rising_chance < 0.5
    assert (wear.rate.value, wear.onset) == (0.0, None)


def test_a_worked_course_reaches_its_limit(make_points: Make) -> None:
    """1 dB in ten days without scatter, -25 dB on day 0: -10 dB on day 150; the middle of all within a week."""
    days = np.arange(0, 110, 10.0)
    wear = weighed(make_points(days, -25 + 0.1 * days))
    assert float(np.median(wear.reached_at(-10.0))) == pytest.approx(150, abs=7)
    assert np.median(wear.values_at(np.array([100.0]))) == pytest.approx(-15, abs=0.5)


def test_reaching_and_the_values_agree(make_points: Make) -> None:
    """Each course that rises has the limit's value where it is said to reach it."""
    wear = weighed(make_points(DAYS, -25 + 0.05 * DAYS + SCATTER))
    reached = wear.reached_at(-5.0)
    rising = np.flatnonzero(wear.draws.rising)[:50]
    values = wear.values_at(reached[rising])
    assert values[np.arange(rising.size), rising] == pytest.approx(np.full(rising.size, -5.0))


def test_kilometres() -> None:
    """0.5 dB every 250 km: 2 in 1000 km, whatever the days; a visit without km is left out."""
    days = [0.0, 3.0, 50.0, 60.0, 61.0, 80.0, 90.0, 100.0]
    points = [Point(day, -25 + 0.5 * n, 4000.0 + 250 * n) for n, day in enumerate(days)]
    wear = weigh_over_km([*points, Point(120.0, -10.0)])
    assert wear is not None
    assert (1000 * wear.rate.value, len(wear.visits)) == (pytest.approx(2.0, abs=0.4), 8)


def test_no_course_over_km_where_the_bike_hardly_moved() -> None:
    points = [Point(float(day), float(day), 100.0 * min(day, 2)) for day in range(6)]
    assert weigh_over_km(points) is None


def test_km_that_fall_are_refused() -> None:
    points = [Point(float(day), 0.0, km) for day, km in enumerate([10.0, 20.0, 5.0, 30.0])]
    with pytest.raises(InputError, match="fall from 20 to 5"):
        weigh_over_km(points)


@pytest.mark.parametrize(
    ("days", "found"), [([], 0), ([1, 2, 3], 3), ([5.0, 5.1, 5.2, 5.3, 5.9], 1), ([1, 2, 3, 3.5], 3)]
)
def test_too_few_visits(days: list[float], found: int, make_points: Make) -> None:
    few = weigh(make_points(days, [0] * len(days)))
    assert few == TooFew(found, 4)
    assert few.sentence == f"not enough visits: {found} so far, 4 needed, each on a day of its own"


def test_groups_are_not_mixed(make_points: Make) -> None:
    with pytest.raises(InputError, match="2 groups"):
        weigh([*make_points(range(4), range(4), "a"), *make_points(range(4), range(4), "b")])


def test_many_visits_are_joined_with_their_neighbours(make_points: Make) -> None:
    """120 visits, one a week, 0.02 dB a day: 24 points, the last one as it is, and the rate still there."""
    days = 7.0 * np.arange(120)
    values = -28 + 0.02 * days + np.tile([0.8, -0.8], 60)
    wear = weighed(make_points(days, values))
    assert len(wear.visits) == MOST_VISITS
    assert (wear.visits[-1].day, wear.visits[-1].value) == (days[-1], values[-1])
    assert wear.rate.value == pytest.approx(0.02, rel=0.2)


@settings(max_examples=30)
@given(VISITS, st.integers(-20_000, 20_000), st.randoms(use_true_random=False))
def test_shifted_days_and_their_order_change_nothing(visits: dict[float, float], shift: int, rng: Random) -> None:
    wear = weighed([Point(day, value) for day, value in visits.items()])
    moved = [Point(day + shift, value) for day, value in visits.items()]
    rng.shuffle(moved)
    there = weighed(moved)
    assert (there.rate, there.onset) == (wear.rate, wear.onset)


@settings(max_examples=30)
@given(VISITS, st.sampled_from([0.125, 2.0, 1024.0]))
def test_scaled_values_scale_the_rate(visits: dict[float, float], factor: float) -> None:
    scaled = Scale(factor * DECIBELS.scatter, factor * DECIBELS.rise)
    wear = weighed([Point(day, value) for day, value in visits.items()], Scale(DECIBELS.scatter, DECIBELS.rise))
    there = weighed([Point(day, factor * value) for day, value in visits.items()], scaled)
    expected = wear.rate.times(factor)
    assert (there.rate.value, there.rate.low, there.rate.high) == pytest.approx(
        (expected.value, expected.low, expected.high)
    )


def test_the_weights_of_all_courses_make_one() -> None:
    every = courses(DAYS / DAYS[-1], np.full(9, 10.0))
    assert sum(one.weight for one in every) == pytest.approx(1.0)
    assert sum(PRIOR.values()) == pytest.approx(1.0)
    assert {one.kind for one in every} == set(Kind)


def test_every_rise_starts_at_0_and_is_1_at_the_last_visit() -> None:
    u = DAYS / DAYS[-1]
    for one in courses(u, np.full(9, 10.0)):
        if one.kind in (Kind.RISING, Kind.ONSET, Kind.SUDDEN):
            assert shape(np.array([one.start, 1.0]), one.start, one.power) == pytest.approx([0.0, 1.0])
            assert np.all(np.diff(one.columns[:, 2]) >= 0)
