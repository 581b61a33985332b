"""Points, the work between them, and what counts as one visit."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.errors import InputError
from acoustic.trend.points import Event, Point, segments, visits

AS_FOUND = Point(100.4, 9.0)
AFTER_SERVICE = Point(100.6, 2.0, after="service")
AFTER_REPLACEMENT = Point(100.7, -3.0, after="replacement")


def test_each_work_begins_a_stretch() -> None:
    points = [Point(day, day) for day in (5.0, 15.0, 25.0, 26.0)]
    service, replacement = Event(20.0, "service"), Event(10.0, "replacement")
    parts = segments(points, [service, replacement])
    assert [[point.day for point in part.points] for part in parts] == [[5.0], [15.0], [25.0, 26.0]]
    assert [part.since for part in parts] == [None, replacement, service]


def test_the_last_stretch_may_have_no_visit_yet() -> None:
    assert segments([Point(1.0, 1.0)], [Event(2.0, "service")])[-1].points == ()


def test_the_day_of_work_is_parted_by_what_each_recording_followed() -> None:
    """Whatever the hour that the work was entered with: its day alone counts."""
    events = [Event(100.9, "service"), Event(100.0, "replacement")]
    parts = segments([AFTER_REPLACEMENT, AFTER_SERVICE, AS_FOUND], events)
    assert [part.points for part in parts] == [(AS_FOUND,), (AFTER_SERVICE,), (AFTER_REPLACEMENT,)]


def test_a_label_kept_from_earlier_work_does_no_harm() -> None:
    late = Point(130.0, 4.0, after="service")
    assert segments([AS_FOUND, AFTER_SERVICE, late], [Event(100.0, "service")])[-1].points == (
        AFTER_SERVICE,
        late,
    )


@pytest.mark.parametrize("events", [[], [Event(100.0, "replacement")], [Event(101.0, "service")]])
def test_work_that_is_known_of_by_a_recording_alone_is_asked_for(events: list[Event]) -> None:
    with pytest.raises(InputError, match="Enter the day of the service"):
        segments([AFTER_SERVICE], events)


@given(st.permutations([AS_FOUND, AFTER_SERVICE, AFTER_REPLACEMENT, Point(90.0, 8.0), Point(120.0, -2.0)]))
def test_the_order_of_points_does_not_matter(points: list[Point]) -> None:
    events = [Event(100.0, "service"), Event(100.0, "replacement")]
    assert segments(points, events) == segments(points[::-1], events[::-1])


def test_recordings_of_one_day_are_one_visit_by_their_medians() -> None:
    points = [Point(3.1, 4.0, 100.0), Point(3.2, 9.0, 100.0), Point(3.9, 5.0, 103.0), Point(4.0, 1.0, 110.0)]
    assert visits(points) == (Point(3.2, 5.0, 100.0), Point(4.0, 1.0, 110.0))


def test_km_missing_once_are_missing_for_that_day() -> None:
    assert [visit.km for visit in visits([Point(1.0, 0.0, 10.0), Point(1.5, 0.0), Point(2.0, 0.0, 20.0)])] == [
        None,
        20.0,
    ]


def test_groups_are_not_mixed() -> None:
    with pytest.raises(InputError, match="2 groups \\(laptop, no name\\)"):
        visits([Point(1.0, 0.0), Point(2.0, 0.0, group="laptop")])


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"day": float("nan")}, "finite numbers are needed"),
        ({"value": float("inf")}, "finite numbers are needed"),
        ({"km": float("nan")}, "finite numbers are needed"),
        ({"after": "repair"}, "service or replacement is needed"),
    ],
)
def test_impossible_points_are_refused(wrong: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError, match=said):
        Point(**{"day": 1.0, "value": 1.0, **wrong})


def test_impossible_work_is_refused() -> None:
    with pytest.raises(InputError, match="'polish'; service or replacement is needed"):
        Event(1.0, "polish")
    with pytest.raises(InputError, match="a finite number is needed"):
        Event(float("inf"), "service")
