"""Impact trains that fit no part: found where they are, absent where a part explains them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.simulator import SpinPlan

Rank = Callable[..., Any]


def strikes(balls: int, part: str, seed: int) -> SpinPlan:
    """A damaged bearing with another count than the catalogue's 16, well over the room."""
    geometry = BearingGeometry(balls=balls, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
    return SpinPlan(
        geometry=geometry, defects=((part, 6.0),), duration_s=12.0, running_db=4.0, slip=0.0, seed=seed
    )


@pytest.mark.parametrize(
    ("balls", "part"),
    [
        (14, "outer_raceway"),
        (18, "outer_raceway"),
        (18, "inner_raceway"),
        (17, "outer_raceway"),
    ],
)
def test_another_count_is_unexplained(balls: int, part: str, commonest: BearingGeometry, rank: Rank) -> None:
    """By hand: Z/2 (1 -+ 3.5/31). Strikes without slip and true marks fix it to a third of a per cent."""
    what = strikes(balls, part, seed=balls)
    found = rank(what, commonest)
    unexplained = found.ranking.unexplained
    assert unexplained.order == pytest.approx(getattr(defect_orders(what.geometry), part), rel=0.004)
    assert unexplained.chance < 1e-6
    assert unexplained.impact_ratio > 0.1
    assert not any(p.named for p in found.parts)
    assert all(p.chance > 0.01 or p.impact_ratio < unexplained.impact_ratio / 5 for p in found.parts)


def test_a_near_multiple_is_no_part(rank: Rank, commonest: BearingGeometry) -> None:
    """By hand: 14 balls' outer order 6.210 x 4/3 = 8.280, in reach of 15 balls' inner order 8.347."""
    found = rank(strikes(14, "outer_raceway", seed=14), replace(commonest, balls=15))
    assert not any(p.certain or p.named for p in found.parts)
    assert found.ranking.unexplained.order == pytest.approx(6.2097, rel=0.004)


@pytest.mark.parametrize("part", ["outer_raceway", "inner_raceway", "ball"])
def test_what_a_part_explains_is_not_unexplained(part: str, commonest: BearingGeometry, rank: Rank) -> None:
    found = rank(strikes(16, part, seed=3), commonest)
    assert found.part(part).chance < 1e-6
    assert found.ranking.unexplained.impact_ratio < found.part(part).impact_ratio / 5


def test_a_healthy_bearing_has_none(commonest: BearingGeometry, rank: Rank) -> None:
    found = rank(SpinPlan(geometry=commonest, duration_s=12.0, waviness=0.0, seed=6), commonest)
    assert found.ranking.unexplained.chance > 0.01
