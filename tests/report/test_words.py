"""Every code has people's words, and chances are said as one in so many."""

from __future__ import annotations

from typing import get_args

import pytest

from acoustic.model import CONDITIONS, SpeedSourceCode, Spin
from acoustic.report import words


def test_every_code_has_words() -> None:
    assert set(words.CONDITION) == set(CONDITIONS)
    assert set(words.SOURCE) == set(get_args(SpeedSourceCode))
    assert set(words.SPIN) == set(get_args(Spin))


@pytest.mark.parametrize("table", [words.CONDITION, words.SOURCE, words.SPIN])
def test_words_are_no_codes(table: dict[str, str]) -> None:
    for told in table.values():
        assert "_" not in told
    assert len(set(table.values())) == len(table), "two codes with the same words can't be told apart"


@pytest.mark.parametrize(
    ("probability", "told"),
    [
        (1.0, "as in any sound bearing"),
        (0.5, "as in any sound bearing"),
        (0.049, "by chance 1 in 20"),
        (0.001, "by chance 1 in 1 000"),
        (2.4e-6, "by chance 1 in 400 000"),
        (1e-12, "by chance less than 1 in 1 000 000 000"),
        (0.0, "by chance less than 1 in 1 000 000 000"),
    ],
)
def test_chance(probability: float, told: str) -> None:
    assert words.chance(probability) == told


def test_a_smaller_chance_never_reads_larger() -> None:
    def size(probability: float) -> int:
        told = words.chance(probability)
        return int(told.partition(" 1 in ")[2].replace(" ", "") or "1")

    sizes = [size(10 ** (-tenth / 10)) for tenth in range(121)]
    assert sizes == sorted(sizes)
