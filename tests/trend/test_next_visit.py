"""A rise that is likely and not yet sure: no date, and the day of the visit that would settle it."""

from __future__ import annotations

import numpy as np
import pytest

from acoustic.trend.due import due_range, due_sentence
from acoustic.trend.next_visit import WEEKS, next_visit
from acoustic.trend.points import Point
from acoustic.trend.wear import LIKELY, Wear, weigh

FIRST = 738_000.0
EVEN = (-16.9, -15.0, -13.3, -11.8, -10.6)  # dB, every two months


def weighed(values: tuple[float, ...] | np.ndarray) -> Wear:
    found = weigh([Point(FIRST + 61 * number, float(value)) for number, value in enumerate(values)])
    assert isinstance(found, Wear)
    return found


def test_an_even_rise_of_five_visits_is_likely_and_gets_no_date() -> None:
    wear, today = weighed(EVEN), FIRST + 61 * 4
    due = due_range(wear, limit=-10.0, today=today)
    assert LIKELY < wear.rising_chance < 0.95
    assert (due.state, due.earliest, due.likeliest, due.latest) == ("likely rising", None, None, None)
    assert due_sentence(due, next_grade="replacement") == (
        "likely rising, not yet sure, so that no date can be told yet for replacement"
    )
    come = next_visit(wear, due, limit=-10.0)
    assert come is not None
    assert (come - today) / 7 in WEEKS


def test_a_visit_on_the_named_day_settles_it() -> None:
    """As the even rise goes on, by some 0.025 dB a day."""
    due = due_range(weighed(EVEN), limit=-10.0, today=FIRST + 61 * 4)
    come = next_visit(weighed(EVEN), due, limit=-10.0)
    assert come is not None
    points = [Point(FIRST + 61 * number, value) for number, value in enumerate(EVEN)]
    value = EVEN[-1] + 0.025 * (come - points[-1].day)
    after = weigh([*points, Point(come, value)])
    assert isinstance(after, Wear)
    assert after.rises


@pytest.mark.parametrize("count", [5, 9])
def test_level_visits_are_seldom_called_likely_to_rise(count: int) -> None:
    """At most one in twenty, at the usual scatter of 2 dB."""
    rng = np.random.default_rng(1)
    called = [weighed(-16 + 2.0 * rng.standard_normal(count)).likely_rises for _ in range(60)]
    assert np.mean(called) <= 0.05
