"""One bearing's trend, all of it together."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from acoustic.trend.due import due_sentence
from acoustic.trend.points import Event, Point
from acoustic.trend.result import judge_trend
from acoustic.trend.slope import TooFew, Trend
from acoustic.trend.step import Step

Make = Callable[..., list[Point]]


def test_the_trend_starts_anew_after_a_service_and_in_one_group(make_points: Make) -> None:
    """Eight visits at 0.3 dB a day before, eight at 0.05 after; another recorder's values lie 20 dB higher."""
    days = list(range(0, 160, 20))
    before = make_points(days, [0.3 * day for day in days])
    after = make_points([200 + day for day in days], [0.05 * day for day in days])
    other = make_points([205, 245, 300], [20, 20, 20], "laptop, hand")
    result = judge_trend([*other, *after, *before], [Event(180, "service")], limit=10.0, today=340.0)
    assert result.segment.since == Event(180, "service")
    assert result.taken is not None
    assert [group.name for group in result.taken.left_out] == ["laptop, hand"]
    assert isinstance(result.trend, Trend)
    assert result.trend.per_day.value == pytest.approx(0.05)
    assert isinstance(result.step, Step)
    assert not result.step.found
    assert result.due.earliest_day == pytest.approx(400.0)


def test_an_unentered_step_is_told_and_the_trend_left_as_it_is(make_points: Make) -> None:
    days = range(0, 240, 20)
    scatter = [0.2, -0.1, 0.3, -0.3, 0.1, -0.2, 0.2, -0.3, 0.1, 0.3, -0.1, -0.2]
    points = make_points(days, [0.05 * day + e - 8 * (day >= 120) for day, e in zip(days, scatter, strict=True)])
    told = judge_trend(points, [], limit=20.0, today=240.0)
    assert isinstance(told.step, Step)
    assert told.step.found
    assert isinstance(told.trend, Trend)
    assert len(told.trend.visits) == 12
    entered = judge_trend(points, [Event(110, "service")], limit=20.0, today=240.0)
    assert isinstance(entered.trend, Trend)
    assert len(entered.trend.visits) == 6
    assert entered.trend.per_day.value == pytest.approx(0.05, abs=0.01)


@pytest.mark.parametrize("points", [[], [Point(1.0, 2.0), Point(20.0, 3.0)]])
def test_nothing_since_the_replacement(points: list[Point]) -> None:
    result = judge_trend(points, [Event(30.0, "replacement")], limit=5.0, today=40.0)
    assert (result.taken, result.trend, result.step) == (None, TooFew(0, 4), TooFew(0, 6))
    assert "0 so far, 4 needed" in due_sentence(result.due, next_grade="service")
