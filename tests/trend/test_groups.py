"""Which group the trend is read from, and that what is left out is named."""

from __future__ import annotations

import random
from collections.abc import Callable

from acoustic.trend.groups import RECENT_DAYS, groups_of, take_group
from acoustic.trend.points import Point

Make = Callable[..., list[Point]]


def test_the_one_with_most_recent_visits_is_taken_and_the_others_are_named(make_points: Make) -> None:
    old = make_points(range(0, 100, 10), range(10), "laptop, hand")
    new = make_points([700, 710, 720], [1, 2, 3], "phone, hand")
    once = make_points([715], [9], "phone, pedalled")
    taken = take_group([*old, *new, *once])
    assert taken is not None
    assert taken.group.name == "phone, hand"
    assert taken.points == tuple(new)
    assert [(group.name, group.visits, group.recent_visits) for group in taken.left_out] == [
        ("phone, pedalled", 1, 1),
        ("laptop, hand", 10, 0),
    ]
    assert taken.sentence == (
        "read from phone, hand (3 visits); left out, since they don't compare: "
        "phone, pedalled (1 visit), laptop, hand (10 visits)"
    )


def test_old_visits_of_the_group_taken_stay(make_points: Make) -> None:
    points = make_points([0, 1, 900, 901], [1, 2, 3, 4])
    taken = take_group(points)
    assert taken is not None
    assert (taken.points, taken.left_out) == (tuple(points), ())
    assert (taken.group.visits, taken.group.recent_visits) == (4, 2)
    assert taken.sentence == "read from phone, hand (4 visits)"


def test_many_recordings_of_one_day_are_one_visit(make_points: Make) -> None:
    points = [*make_points([10.1, 10.2, 10.3, 10.4], [1] * 4, "a"), *make_points([9, 10], [1, 1], "b")]
    assert [(group.name, group.visits) for group in groups_of(points)] == [("b", 2), ("a", 1)]


def test_equal_ones_are_parted_by_all_visits_then_by_the_newest(make_points: Make) -> None:
    older, newer = make_points([99], [1], "a"), make_points([100], [1], "b")
    assert groups_of([*older, *newer])[0].name == "b"
    assert groups_of([*older, *newer, *make_points([99 - RECENT_DAYS], [1], "a")])[0].name == "a"


def test_the_order_of_points_does_not_matter(make_points: Make) -> None:
    points = [*make_points([1, 2, 3], [1] * 3, "a"), *make_points([2, 3, 4], [1] * 3, "b")]
    shuffled = random.Random(3).sample(points, len(points))
    assert groups_of(shuffled) == groups_of(points)


def test_no_points_no_group() -> None:
    assert groups_of([]) == ()
    assert take_group([]) is None
