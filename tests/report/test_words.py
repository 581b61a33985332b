"""Every code has people's words, and chances are said as one in so many."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from acoustic import conditions
from acoustic.dsp.orders.drivetrain import drive_orders
from acoustic.model import Spin
from acoustic.report import words
from acoustic.text import SPIN


def test_every_code_has_words() -> None:
    assert set(words.DRIVE) == {order.part for order in drive_orders(50, sprocket=17, jockey=11)}
    assert set(SPIN) == set(get_args(Spin))


@pytest.mark.parametrize(
    "table", [{c: one.name for c, one in conditions.table().conditions.items()}, SPIN, words.DRIVE]
)
def test_words_are_no_codes(table: dict[str, str]) -> None:
    for told in table.values():
        assert "_" not in told
    assert len(set(table.values())) == len(table), "two codes with the same words can't be told apart"


@pytest.mark.parametrize(
    ("probability", "one_in"),
    [(0.049, "20"), (0.0024, "400"), (0.001, "1000"), (2.4e-6, "1000"), (0.0, "1000")],
)
def test_chance(probability: float, one_in: str) -> None:
    """One in a round number; below one in a thousand the number says no more than that."""
    assert numbers(words.chance(probability)) == one_in


@pytest.mark.parametrize("probability", [1.0, 0.5])
def test_as_likely_as_not_needs_no_number(probability: float) -> None:
    assert words.chance(probability)
    assert numbers(words.chance(probability)) == ""


def test_a_smaller_chance_never_reads_larger() -> None:
    sizes = [int(numbers(words.chance(10 ** (-tenth / 10))) or "1") for tenth in range(121)]
    assert sizes == sorted(sizes)


def numbers(told: str) -> str:
    """The digits of "... in 1000 ..."."""
    found = re.search(r"in (\d+)", told)
    return found[1] if found else ""
