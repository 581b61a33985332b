"""One bearing's trend, all of it together."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from acoustic.trend.due import due_sentence
from acoustic.trend.points import Event, Point
from acoustic.trend.result import judge_trend
from acoustic.trend.series import DRAG, judge_series
from acoustic.trend.step import Step
from acoustic.trend.wear import TooFew, Wear

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
    assert isinstance(result.wear, Wear)
    assert len(result.wear.visits) == 8
    assert result.wear.rate.low < 0.05 < result.wear.rate.high
    assert result.due is not None and result.due.earliest is not None
    assert result.due.earliest < 400 < (result.due.latest or np.inf)
    assert result.next_visit is not None


def test_an_unentered_step_is_told_and_entered_parts_the_trend(make_points: Make) -> None:
    days = range(0, 240, 20)
    scatter = [0.2, -0.1, 0.3, -0.3, 0.1, -0.2, 0.2, -0.3, 0.1, 0.3, -0.1, -0.2]
    points = make_points(days, [0.05 * day + e - 8 * (day >= 120) for day, e in zip(days, scatter, strict=True)])
    told = judge_trend(points, [], limit=20.0, today=240.0)
    assert isinstance(told.step, Step)
    assert told.step.found
    assert isinstance(told.wear, Wear)
    assert len(told.wear.visits) == 12
    entered = judge_trend(points, [Event(110, "service")], limit=20.0, today=240.0)
    assert isinstance(entered.wear, Wear)
    assert len(entered.wear.visits) == 6


def test_kilometres_are_told_beside_the_days() -> None:
    points = [Point(30.0 * n, -24 + 1.2 * n, 500.0 * n) for n in range(9)]
    result = judge_trend(points, [], limit=-10.0, today=240.0)
    assert result.due_km is not None and result.due_km.earliest is not None
    # 14 dB at 1.2 dB in 500 km: 5833 km.
    assert result.due_km.earliest < 5833 < (result.due_km.latest or np.inf)


def test_km_that_fall_are_said_and_leave_the_days_alone() -> None:
    points = [Point(30.0 * n, -24 + 1.2 * n, 500.0 * n if n != 5 else 100.0) for n in range(9)]
    result = judge_trend(points, [], limit=-10.0, today=240.0)
    assert (result.wear_km, result.due_km) == (None, None)
    assert "fall from 2000 to 100" in result.km_problem
    assert result.due is not None and result.due.state == "due"


@pytest.mark.parametrize("points", [[], [Point(1.0, 2.0), Point(20.0, 3.0)]])
def test_nothing_since_the_replacement(points: list[Point]) -> None:
    result = judge_trend(points, [Event(30.0, "replacement")], limit=5.0, today=40.0)
    assert (result.taken, result.wear, result.step) == (None, TooFew(0, 4), TooFew(0, 6))
    assert result.due is not None
    assert "0 so far, 4 needed" in due_sentence(result.due, next_grade="service")


def test_drag_that_does_not_change_is_unchanged_and_drag_that_grows_is_not() -> None:
    still = [0.120, 0.124, 0.119, 0.123, 0.118, 0.122, 0.121]
    grows = [0.120, 0.131, 0.138, 0.149, 0.161, 0.170, 0.182]
    for values, unchanged in ((still, True), (grows, False)):
        points = [Point(40.0 * n, v, after="" if n else "replacement") for n, v in enumerate(values)]
        series = judge_series(DRAG, points, [Event(0.0, "replacement")], today=250.0)
        assert series.unchanged == unchanged
        assert series.limit == pytest.approx(0.18)
