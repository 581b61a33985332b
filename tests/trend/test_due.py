"""When the next grade is due: worked lines, coverage, invariance, and what is said."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.errors import InputError
from acoustic.trend.due import FARTHEST_DAYS, Due, due_range, due_sentence
from acoustic.trend.points import Point
from acoustic.trend.slope import TooFew, fit_trend

Make = Callable[..., list[Point]]

VALUES = st.integers(-160, 160).map(lambda quarters: quarters / 4)
VISITS = st.dictionaries(st.integers(0, 400).map(float), VALUES, min_size=4, max_size=12)


def test_a_line_without_scatter_is_due_on_its_day(make_points: Make) -> None:
    """0.1 a day from 0 on day 0: a limit of 5 is reached on day 50, 20 days after day 30; 20 / 7 = 2.9 weeks."""
    due = due_range(fit_trend(make_points([0, 10, 20, 30], [0.0, 1.0, 2.0, 3.0])), limit=5.0, today=30.0)
    assert (due.earliest_day, due.latest_day) == pytest.approx((50.0, 50.0))
    assert due_sentence(due, next_grade="service") == "service in 2 to 3 weeks at this rate"


def test_a_worked_band(make_points: Make) -> None:
    """The line of `test_trend.test_a_worked_line`: level 1.5 at day 15, slope .095 (.06 to .12), half width .4796.

    To go until 5: 3.5. Earliest, with .12 - .095 = .025: .095 t + sqrt(.4796^2 + (.025 t)^2) = 3.5 at t = 28.48:
    2.7056 + sqrt(.2300 + .5070) = 2.7056 + .8585 = 3.564; so a little sooner, at t = 28.0: 2.660 + .8486 = 3.509;
    t = 27.93: 2.6534 + .8472 = 3.5006. Latest, with .095 - .06 = .035: .095 t - sqrt(.2300 + (.035 t)^2) = 3.5 at
    t = 60.2: 5.719 - sqrt(.2300 + 4.4394) = 5.719 - 2.1609 = 3.558; t = 59.3: 5.6335 - 2.1302 = 3.503;
    t = 59.24: 5.6278 - 2.1282 = 3.4996.
    """
    due = due_range(fit_trend(make_points([0, 10, 20, 30], [0.0, 1.2, 1.8, 3.0])), limit=5.0, today=30.0)
    assert due.state == "due"
    assert (due.earliest_day, due.latest_day) == pytest.approx((15 + 27.93, 15 + 59.25), abs=0.03)
    assert due_sentence(due, next_grade="service") == "service in 1 to 7 weeks at this rate"


def test_without_scatter_about_the_level_the_slopes_meet_the_limit(make_points: Make) -> None:
    """Half of the visits or more exactly on a line: no spread. The ends are the slopes' own: to_go / slope."""
    trend = fit_trend(make_points([0, 10, 20, 30, 40, 50, 60], [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 8.0]))
    assert not isinstance(trend, TooFew)
    assert trend.spread == 0.0
    due = due_range(trend, limit=10.0, today=60.0)
    assert due.earliest_day == pytest.approx(30 + 7 / trend.per_day.high)
    assert due.latest_day == pytest.approx(30 + 7 / trend.per_day.low)


@pytest.mark.parametrize("visits", [6, 12])
@pytest.mark.parametrize("long_tailed", [False, True])
def test_coverage_on_simulated_declines(visits: int, long_tailed: bool, make_points: Make) -> None:
    """The true line's day within the range: 0.90 less three standard errors of 500 (0.04), and not always.

    0.05 dB a day, scatter 1.5 dB, limit half to one and a half spans ahead. With 12 visits the middle
    range is narrower than 260 days, of a span of some 400.
    """
    rng = np.random.default_rng(70 + visits)
    held, asked, widths = 0, 0, []
    for _ in range(500):
        days = np.cumsum(rng.uniform(7, 60, visits))
        scatter = rng.standard_t(3, visits) if long_tailed else rng.normal(size=visits)
        trend = fit_trend(make_points(days, 0.05 * days + 1.5 * scatter))
        truth_day = days[-1] + rng.uniform(0.5, 1.5) * 33 * visits
        due = due_range(trend, limit=0.05 * truth_day, today=float(days[-1]))
        if due.state == "already there":
            continue
        asked += 1
        latest_day = math.inf if due.latest_day is None else due.latest_day
        held += due.earliest_day is not None and due.earliest_day <= truth_day <= latest_day
        widths.append(latest_day - (due.earliest_day or 0.0))
    assert asked > 480
    assert 0.86 <= held / asked <= 0.985
    if visits == 12:
        assert np.median(widths) < 260


@given(VISITS, st.integers(-160, 200).map(lambda quarters: quarters / 4), st.integers(0, 1000))
def test_no_day_is_in_the_past_or_past_the_end(visits: dict[float, float], limit: float, later: int) -> None:
    today = max(visits) + later
    due = due_range(fit_trend([Point(day, value) for day, value in visits.items()]), limit=limit, today=today)
    for day in (due.earliest_day, due.latest_day):
        assert day is None or today <= day <= today + FARTHEST_DAYS
    if due.earliest_day is not None and due.latest_day is not None:
        assert due.earliest_day <= due.latest_day
    assert (due.state == "due") >= (due.latest_day is not None)
    assert due_sentence(due, next_grade="service")


@given(VISITS, VALUES, st.integers(-5000, 5000), st.sampled_from([0.25, 8.0]))
def test_shifted_days_shift_it_and_scaled_values_do_not(
    visits: dict[float, float], limit: float, shift: int, factor: float
) -> None:
    today = max(visits)
    due = due_range(fit_trend([Point(day, value) for day, value in visits.items()]), limit=limit, today=today)
    other = [Point(day + shift, factor * value) for day, value in visits.items()]
    moved = due_range(fit_trend(other), limit=factor * limit, today=today + shift)
    assert moved.state == due.state
    assert (moved.earliest_day is None, moved.latest_day is None) == (
        due.earliest_day is None,
        due.latest_day is None,
    )
    for there, here in ((moved.earliest_day, due.earliest_day), (moved.latest_day, due.latest_day)):
        if there is not None and here is not None:
            assert there - shift == pytest.approx(here, abs=1e-6)


def test_a_higher_limit_is_due_later(make_points: Make) -> None:
    trend = fit_trend(make_points([0, 10, 20, 30, 40], [0.0, 1.2, 1.8, 3.0, 3.9]))
    dues = [due_range(trend, limit=limit, today=40.0) for limit in (4.5, 5.0, 6.0)]
    earliest = [due.earliest_day or math.nan for due in dues]
    latest = [due.latest_day or math.nan for due in dues]
    assert earliest == sorted(earliest)
    assert latest == sorted(latest)


@pytest.mark.parametrize(
    ("values", "limit", "there"),
    [
        ([0, 0, 0, 0, 3.0], 3.0, True),  # by the last visit, though the line is level
        ([0, 0, 0, 0, 3.0], 3.1, False),
        ([0, 1, 2, 3, 1.0], 3.99, True),  # by the line, though the last visit reads less
        ([0, 1, 2, 3, 1.0], 4.01, False),
    ],
)
def test_already_there_by_the_last_visit_or_by_the_line(
    values: list[float], limit: float, there: bool, make_points: Make
) -> None:
    """The last two: slopes -.2, -.05, 0, .025 and six of .1, median .1; level 2 at day 20, so 4 at day 40."""
    due = due_range(fit_trend(make_points([0, 10, 20, 30, 40], values)), limit=limit, today=40.0)
    assert (due.state == "already there") == there
    assert (due_sentence(due, next_grade="service") == "service is due already") == there


def test_falling_is_not_rising(make_points: Make) -> None:
    due = due_range(fit_trend(make_points(range(0, 80, 10), range(8, 0, -1))), limit=10.0, today=80.0)
    assert due == Due("not rising", 80.0)
    assert due_sentence(due, next_grade="service") == "not rising"


def test_level_visits_say_what_the_steepest_slope_would_mean(make_points: Make) -> None:
    due = due_range(fit_trend(make_points([0, 10, 20, 30], [1, 0, 1, 0])), limit=4.0, today=30.0)
    assert due.state == "not rising"
    assert due.earliest_day is not None
    assert due.latest_day is None
    said = due_sentence(due, next_grade="service")
    assert said.startswith("not rising; service in ")
    assert said.endswith(" or later at the steepest rate that the visits allow")


def test_passed_since_the_last_visit_is_due_now(make_points: Make) -> None:
    due = due_range(fit_trend(make_points([0, 10, 20, 30], [0.0, 1.0, 2.0, 3.0])), limit=5.0, today=90.0)
    assert due == Due("due", 90.0, 90.0, 90.0)
    assert due_sentence(due, next_grade="service") == "service now at this rate"


def test_far_off_is_an_open_end(make_points: Make) -> None:
    due = due_range(fit_trend(make_points([0, 10, 20, 30], [0.0, 1.0, 2.0, 3.0])), limit=500.0, today=30.0)
    assert due == Due("due", 30.0, 30.0 + FARTHEST_DAYS, None)
    assert due_sentence(due, next_grade="service") == "service in 36 months or later at this rate"


def test_too_few_visits(make_points: Make) -> None:
    due = due_range(fit_trend(make_points([0, 1], [0, 1])), limit=5.0, today=3.0)
    assert due == Due("not enough visits", 3.0, visits=TooFew(2, 4))
    assert due_sentence(due, next_grade="service") == (
        "when service is due cannot be told: not enough visits: 2 so far, 4 needed, each on a day of its own"
    )


@pytest.mark.parametrize(
    ("low_days", "high_days", "said"),
    [
        (35.0, 77.0, "service in 5 to 11 weeks at this rate"),
        (41.9, 77.1, "service in 5 to 12 weeks at this rate"),
        (63.0, None, "service in 9 weeks or later at this rate"),
        (7.0, None, "service in 1 week or later at this rate"),
        (6.9, None, "service now or later at this rate"),
        (0.0, 20.0, "service within 3 weeks at this rate"),
        (0.0, 3.0, "service within 1 week at this rate"),
        (35.0, 300.0, "service in 5 weeks to 10 months at this rate"),
        (200.0, 400.0, "service in 6 to 14 months at this rate"),
        (182.0, 182.0, "service in 26 weeks at this rate"),
        (183.0, None, "service in 6 months or later at this rate"),
    ],
)
def test_what_is_said_is_never_finer_than_the_range(low_days: float, high_days: float | None, said: str) -> None:
    """183 days are 6.01 months of 30.44 days, 400 are 13.1."""
    due = Due("due", 1000.0, 1000.0 + low_days, None if high_days is None else 1000.0 + high_days)
    assert due_sentence(due, next_grade="service") == said


def test_what_can_not_be_is_refused(make_points: Make) -> None:
    trend = fit_trend(make_points([0, 10, 20, 30.5], [0, 1, 2, 3]))
    assert due_range(trend, limit=9.0, today=30.0).state == "due"
    with pytest.raises(InputError, match=r"a visit on day 30\.5, after today, day 29"):
        due_range(trend, limit=9.0, today=29.0)
    with pytest.raises(InputError, match="finite numbers are needed"):
        due_range(trend, limit=float("nan"), today=40.0)
