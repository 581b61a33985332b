"""The log-rank test against published values, Holm's correction, invariance, and what can't be compared."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acoustic.errors import InputError
from acoustic.lifetimes.comparison import compare, compare_all, holm
from acoustic.lifetimes.lives import Life

QUICK = settings(max_examples=50, deadline=None, derandomize=True)
Make = Callable[..., list[Life]]

LIVES = st.lists(
    st.builds(lambda days, ended: Life(float(days), ended, {}), st.integers(1, 30), st.booleans()),
    min_size=1,
    max_size=20,
)
AB = ("a", "b")


def test_the_remission_data(treated: list[Life], placebo: list[Life]) -> None:
    """Log-rank chi-square 16.79 in the books (from memory), and from two general-purpose packages by hand."""
    found = compare(treated, placebo, names=("6-MP", "placebo"))
    assert found.chi_square == pytest.approx(16.79, abs=0.005)
    assert found.p == pytest.approx(4.169e-5, rel=1e-3)
    assert (found.lives, found.ends) == ((21, 21), (9, 21))
    assert found.z is not None
    assert found.z < 0
    assert found.longer == "6-MP"
    assert found.few_ends
    assert found.corrected_p == found.p


def test_the_glioma_data(make_lives: Make) -> None:
    """J. M. Bland and D. G. Altman (2004), The logrank test, BMJ 328, 1073: chi-square 7.5, P = 0.006."""
    astrocytoma = make_lives([6, 13, 21, 30, 37, 38, 49, 50, 63, 79, 86, 98, 202, 219], [31, 47, 80, 82, 82, 149])
    early = [10, 10, 12, 13, 14, 15, 16, 17, 18, 20, 24, 24, 25, 28, 30, 33, 35, 37, 40, 40, 46, 48]
    glioblastoma = make_lives([*early, 76, 81, 82, 91, 112, 181], [34, 40, 70])
    found = compare(astrocytoma, glioblastoma, names=("astrocytoma", "glioblastoma"))
    assert found.chi_square == pytest.approx(7.5, abs=0.05)
    assert found.p == pytest.approx(0.006, abs=0.0005)
    assert not found.few_ends


def test_a_hand_worked_pair(make_lives: Make) -> None:
    """a ends on 1 and 3, b on 2 and 4.

    At risk (a of all): 2 of 4, 1 of 3, 1 of 2, 0 of 1. Expected of a: 1/2 + 1/3 + 1/2 = 4/3, seen 2.
    Variance, with one end each: 1/4 + 2/9 + 1/4 = 13/18. z = (2/3) / sqrt(13/18).
    """
    found = compare(make_lives([1, 3]), make_lives([2, 4]), names=AB)
    assert found.z == pytest.approx((2 / 3) / (13 / 18) ** 0.5)
    assert found.longer == "b"


def test_chance_is_even_where_both_last_alike() -> None:
    """400 pairs of 25 equal laws: p of 0.05 or less in 20, three standard errors are 13."""
    rng = np.random.default_rng(4)
    low = 0
    for _ in range(400):
        pair = [
            [
                Life(min(e, s), bool(e <= s), {})
                for e, s in zip(rng.weibull(2, 25), rng.uniform(0, 3, 25), strict=True)
            ]
            for _ in range(2)
        ]
        p = compare(pair[0], pair[1], names=AB).p
        assert p is not None
        low += p <= 0.05
    assert 7 <= low <= 33


@QUICK
@given(LIVES, LIVES, st.sampled_from([0.5, 30.0]))
def test_order_unit_and_sides_change_no_chance(first: list[Life], second: list[Life], unit: float) -> None:
    found, turned = compare(first, second, names=AB), compare(second[::-1], first, names=("b", "a"))
    scaled = [[Life(unit * life.ran, life.ended, {}) for life in lives] for lives in (first, second)]
    for other in (turned, compare(scaled[0], scaled[1], names=AB)):
        assert (other.p is None) == (found.p is None)
        if other.p is not None:
            assert other.p == pytest.approx(found.p)
            assert other.chi_square == pytest.approx(found.chi_square, abs=1e-9)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (([], [5, 6]), ([], [7])),  # none worn out
        (([8, 9], []), ([], [1, 2])),  # none while both were watched
    ],
)
def test_what_can_not_be_compared_has_no_chance(
    first: tuple[list[float], list[float]], second: tuple[list[float], list[float]], make_lives: Make
) -> None:
    found = compare(make_lives(*first), make_lives(*second), names=AB)
    assert (found.z, found.p, found.corrected_p, found.chi_square, found.longer) == (None,) * 5


def test_holm_s_correction() -> None:
    """.005 * 4, .01 * 3, .03 * 2, and .04 * 1, which must not fall below the one before."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([0.9, 0.8]).tolist() == [1.0, 1.0]
    assert holm([]).size == 0


def test_every_pair_is_compared_and_corrected_together(
    treated: list[Life], placebo: list[Life], make_lives: Make
) -> None:
    """The one pair that can't be compared does not count among the tests."""
    groups = {"drug": treated, "none": placebo, "half": placebo[::2], "new": make_lives([], [0.5])}
    found = compare_all(groups)
    assert [pair.names for pair in found] == [
        ("drug", "none"),
        ("drug", "half"),
        ("drug", "new"),
        ("none", "half"),
        ("none", "new"),
        ("half", "new"),
    ]
    open_pairs = [pair for pair in found if pair.p is None]
    assert [pair.names[1] for pair in open_pairs] == ["new"] * 3
    told = [pair for pair in found if pair.p is not None]
    assert [pair.corrected_p for pair in told] == pytest.approx(holm([pair.p or 0.0 for pair in told]))
    assert told[0].p == compare(treated, placebo, names=AB).p
    assert told[0].corrected_p == pytest.approx(3 * (told[0].p or 0.0))


def test_two_kinds_need_no_correction(treated: list[Life], placebo: list[Life]) -> None:
    (found,) = compare_all({"a": treated, "b": placebo})
    assert found == compare(treated, placebo, names=AB)


@pytest.mark.parametrize("ends", [9, 10])
def test_fewer_than_ten_ends_are_few(ends: int, make_lives: Make) -> None:
    found = compare(make_lives(range(1, ends + 1)), make_lives(range(1, 21)), names=AB)
    assert found.few_ends == (ends < 10)


def test_a_kind_without_lives_is_refused(make_lives: Make) -> None:
    with pytest.raises(InputError, match="no bearings of b"):
        compare(make_lives([1]), [], names=AB)
    with pytest.raises(InputError, match="at least two are needed"):
        compare_all({"a": make_lives([1])})
