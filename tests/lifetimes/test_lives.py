"""Lives, and parting them by a label."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from acoustic.errors import InputError
from acoustic.lifetimes.lives import Life, split

Make = Callable[..., list[Life]]


def test_lives_are_parted_by_a_label_and_those_without_it_are_told(make_lives: Make) -> None:
    pressed, threaded = make_lives([1, 2], [3], shell="pressed"), make_lives([4], shell="threaded")
    bare = make_lives([5], spindle="24 mm")
    parted = split([*bare, *threaded, *pressed], "shell")
    assert list(parted.groups) == ["pressed", "threaded"]
    assert parted.groups["pressed"] == tuple(pressed)
    assert parted.groups["threaded"] == tuple(threaded)
    assert (parted.field, parted.unlabelled) == ("shell", tuple(bare))


def test_an_unknown_label_is_refused_with_those_there_are(make_lives: Make) -> None:
    with pytest.raises(InputError, match=r"no colour is on record for any of 2 bearings\. .* shell"):
        split(make_lives([1, 2], shell="pressed"), "colour")
    with pytest.raises(InputError, match="What is on record: none"):
        split([], "shell")


@pytest.mark.parametrize("days", [-3.0, float("nan"), float("inf")])
def test_impossible_days_are_refused(days: float) -> None:
    with pytest.raises(InputError, match="0 or more is needed"):
        Life(days, True, {})


def test_a_day_of_none_is_a_life() -> None:
    assert Life(0.0, True, {}).ran == 0


@pytest.mark.parametrize("entered", [-1.0, 10.0, 10.5, float("nan")])
def test_a_watch_that_begins_after_its_end_is_refused(entered: float) -> None:
    with pytest.raises(InputError, match="watched from"):
        Life(10.0, True, {}, entered)


def test_labels_can_not_be_changed_from_outside() -> None:
    labels = {"shell": "pressed"}
    life = Life(1.0, True, labels)
    labels["shell"] = "threaded"
    assert life.labels["shell"] == "pressed"
    with pytest.raises(TypeError):
        life.labels["shell"] = "threaded"  # type: ignore[index]
