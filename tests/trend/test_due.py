"""When the next grade is due: worked rises, what is told and what is not, invariance, and the words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acoustic.errors import InputError
from acoustic.trend.due import FARTHEST_DAYS, FARTHEST_KM, Due, due_km_sentence, due_range, due_sentence
from acoustic.trend.next_visit import next_visit
from acoustic.trend.points import Point
from acoustic.trend.wear import TooFew, Wear, weigh

Make = Callable[..., list[Point]]

DAYS = np.arange(0.0, 280.0, 28.0)
VISITS = st.dictionaries(
    st.integers(0, 400).map(float),
    st.integers(-120, 0).map(lambda quarters: quarters / 4),
    min_size=4,
    max_size=8,
)
TODAY = date(2026, 11, 2).toordinal()


def test_a_clear_rise_is_due_about_its_day(make_points: Make) -> None:
    """-24 dB on day 0, 0.04 dB a day: -10 dB on day 350, 98 days after the last visit, day 252."""
    wear = weigh(make_points(DAYS, -24 + 0.04 * DAYS))
    due = due_range(wear, limit=-10.0, today=252.0)
    assert due.state == "due"
    assert due.earliest is not None and due.latest is not None
    assert due.earliest < 350 < due.latest
    assert due.likeliest == pytest.approx(350, abs=20)


def test_scatter_widens_the_range(make_points: Make) -> None:
    """The middle of ten, since noise alone may make a course look steeper."""
    rng, widths = np.random.default_rng(3), []
    noise = rng.standard_normal((10, 10))
    for scatter in (0.5, 2.0):
        found = []
        for one in noise:
            due = due_range(weigh(make_points(DAYS, -24 + 0.04 * DAYS + scatter * one)), limit=-10.0, today=252.0)
            found.append((due.latest or 252.0 + FARTHEST_DAYS) - (due.earliest or 252.0))
        widths.append(np.median(found))
    assert widths[1] > 1.1 * widths[0]


def test_the_range_holds_the_day_of_an_accelerating_rise(make_points: Make) -> None:
    """Square in time from -28 dB: -10 dB on day 316; least squares through all visits says day 434."""
    values = -28 + 18 * (DAYS / 316) ** 2
    slope, level = np.polyfit(DAYS, values, 1)
    assert (-10 - level) / slope == pytest.approx(434, abs=1)
    due = due_range(weigh(make_points(DAYS, values)), limit=-10.0, today=252.0)
    assert due.earliest is not None and due.latest is not None
    assert due.earliest < 316 < due.latest
    assert due.likeliest is not None and due.likeliest < 380


@pytest.mark.parametrize("values", [[1, 0, 1, 0, 1, 0], [8, 7, 6, 5, 4, 3]], ids=["level", "falling"])
def test_what_is_not_shown_to_rise_gets_no_date(values: list[float], make_points: Make) -> None:
    due = due_range(weigh(make_points(range(0, 180, 30), values)), limit=14.0, today=180.0)
    assert due == Due("not rising", 180.0)
    assert due_sentence(due, next_grade="service") == "not shown to rise, so that no date can be told for service"


def test_due_already_only_when_it_is(make_points: Make) -> None:
    """Ten visits well past the limit; one reading past it at the end of a rise below it does not make it due."""
    there = due_range(weigh(make_points(DAYS, np.full(10, -2.0))), limit=-10.0, today=252.0)
    assert there == Due("already there", 252.0)
    assert due_sentence(there, next_grade="replacement") == "replacement is due already"
    values = -24 + 0.03 * DAYS
    values[-1] = -9.5
    spoilt = due_range(weigh(make_points(DAYS, values)), limit=-10.0, today=252.0)
    assert spoilt.state == "due"
    assert spoilt.latest is not None and spoilt.latest > 252.0


def test_passed_since_the_last_visit_is_due_already(make_points: Make) -> None:
    due = due_range(weigh(make_points(DAYS, -24 + 0.04 * DAYS)), limit=-10.0, today=900.0)
    assert due.state == "already there"


def test_far_off_is_an_open_end(make_points: Make) -> None:
    due = due_range(weigh(make_points(DAYS, -24 + 0.04 * DAYS)), limit=500.0, today=252.0)
    assert due == Due("due", 252.0, 252.0 + FARTHEST_DAYS, None, None)


@settings(max_examples=30)
@given(VISITS, st.integers(-60, 40).map(lambda quarters: quarters / 4), st.integers(0, 1000))
def test_no_day_is_in_the_past_and_none_out_of_order(visits: dict[float, float], limit: float, later: int) -> None:
    today = TODAY + max(visits) + later
    wear = weigh([Point(TODAY + day, value) for day, value in visits.items()])
    due = due_range(wear, limit=limit, today=today)
    told = [day for day in (due.earliest, due.likeliest, due.latest) if day is not None]
    assert told == sorted(told)
    assert all(today <= day <= today + FARTHEST_DAYS for day in told)
    assert (due.state == "due") == (due.earliest is not None)
    assert due_sentence(due, next_grade="service")
    assert isinstance(wear, Wear)
    come = next_visit(wear, due, limit=limit)
    assert (come is None) == (due.earliest is None)
    if come is not None and due.earliest is not None:
        assert today + 14 <= come <= max(today + 14, due.earliest)


def test_a_higher_limit_is_due_later(make_points: Make) -> None:
    wear = weigh(make_points(DAYS, -24 + 0.04 * DAYS + np.tile([1.0, -1.0], 5)))
    dues = [due_range(wear, limit=limit, today=252.0) for limit in (-12.0, -10.0, -8.0)]
    for name in ("earliest", "likeliest", "latest"):
        days = [getattr(due, name) for due in dues]
        assert days == sorted(days)


def test_the_next_visit_narrows_the_range(make_points: Make) -> None:
    """A visit on the day told, on the likeliest course: the range is narrower than before."""
    points = make_points(DAYS, -24 + 0.04 * DAYS + np.tile([1.5, -1.5], 5))
    wear = weigh(points)
    assert isinstance(wear, Wear)
    due = due_range(wear, limit=-10.0, today=252.0)
    come = next_visit(wear, due, limit=-10.0)
    assert come is not None and due.earliest is not None
    assert come - 252 >= 14
    value = float(np.median(wear.values_at(np.array([come]))[:, wear.draws.rising]))
    after = due_range(weigh([*points, *make_points([come], [value])]), limit=-10.0, today=come)
    assert after.earliest is not None
    longest = 252.0 + FARTHEST_DAYS
    assert (after.latest or longest) - after.earliest < (due.latest or longest) - due.earliest


def test_too_few_visits(make_points: Make) -> None:
    due = due_range(weigh(make_points([0, 1], [0, 1])), limit=5.0, today=3.0)
    assert due == Due("not enough visits", 3.0, visits=TooFew(2, 4))
    assert due_sentence(due, next_grade="service") == (
        "when service is due cannot be told: not enough visits: 2 so far, 4 needed, each on a day of its own"
    )


@pytest.mark.parametrize(
    ("earliest", "likeliest", "latest", "said"),
    [
        # From Monday 2 November 2026: up to 92 days, 2 February 2027, by thirds of a month.
        (0, 15, 135, "between now and March 2027, likeliest about mid November 2026"),
        (0, 0, 40, "between now and mid December 2026, likeliest now"),
        (20, 30, 58, "between late November 2026 and late December 2026, likeliest about early December"),
        (100, 200, 300, "between February 2027 and August 2027, likeliest about May"),
        (30, 33, 35, "in early December 2026"),
        (0, 0, 0, "now"),
        (100, 500, None, "in more than three years, or February 2027 at the earliest, likeliest about March 2028"),
        (100, None, None, "in more than three years, or February 2027 at the earliest"),
    ],
)
def test_both_ends_are_said(earliest: int, likeliest: int | None, latest: int | None, said: str) -> None:
    days = [None if day is None else float(TODAY + day) for day in (earliest, likeliest, latest)]
    due = Due("due", float(TODAY), days[0], days[1], days[2])
    assert due_sentence(due, next_grade="replacement") == f"replacement is due {said}"


def test_kilometres_are_rounded_outwards() -> None:
    due = Due("due", 3900.0, 4150.0, 5340.0, 9820.0)
    assert due_km_sentence(due, next_grade="service") == (
        "in kilometres: between 4 100 and 9 900 km, likeliest about 5 300 km (3 900 km at the last visit)"
    )
    open_end = Due("due", 3900.0, 4150.0, None, None)
    assert due_km_sentence(open_end, next_grade="service") == (
        "in kilometres: at 4 100 km or later (3 900 km at the last visit)"
    )
    assert due_km_sentence(Due("not rising", 3900.0), next_grade="service") == ""
    assert FARTHEST_KM == 30_000


def test_what_can_not_be_is_refused(make_points: Make) -> None:
    wear = weigh(make_points([0, 10, 20, 30.5], [0, 1, 2, 3]))
    assert due_range(wear, limit=9.0, today=30.0).state
    with pytest.raises(InputError, match=r"a visit on day 30\.5, after today, day 29"):
        due_range(wear, limit=9.0, today=29.0)
    with pytest.raises(InputError, match="finite numbers are needed"):
        due_range(wear, limit=float("nan"), today=40.0)
