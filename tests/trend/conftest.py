"""Visits made on the spot."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from acoustic.trend.points import Point


def points_of(days: Sequence[float], values: Sequence[float], group: str = "phone, hand") -> list[Point]:
    return [Point(float(day), float(value), group=group) for day, value in zip(days, values, strict=True)]


@pytest.fixture
def make_points() -> Callable[..., list[Point]]:
    """(days, values, group="phone, hand") -> one point for each."""
    return points_of
