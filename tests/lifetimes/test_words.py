"""What is said of lifetimes to a mechanic."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from acoustic.lifetimes.comparison import compare
from acoustic.lifetimes.lives import Life, Measure
from acoustic.lifetimes.survival import Survival, survival
from acoustic.lifetimes.words import comparison_sentence, survival_sentence

Make = Callable[..., list[Life]]

NAME = "24 mm bearings in pressed shells"


@pytest.fixture
def curve(placebo: list[Life]) -> Survival:
    """All 21 worn out; the tests set the median."""
    return survival(placebo)


@pytest.mark.parametrize(
    ("median", "low", "high", "said"),
    [
        (213.0, 160.0, 330.0, "lasted 7 months or longer (5 to 11)"),  # 7.0, 5.3 and 10.8 months of 30.44 days
        (213.0, 160.0, None, "lasted 7 months or longer (from 5, upper end not known)"),
        (70.0, 60.0, 300.0, "lasted 10 weeks or longer (8 to 43)"),  # 8.6 and 42.9 weeks
        (10.4, 7.0, 13.2, "lasted 10 days or longer (7 to 14)"),
        (0.4, 0.2, 1.0, "lasted less than a day or longer (0 to 1)"),
    ],
)
def test_the_median_is_said_in_a_unit_as_coarse_as_it_deserves(
    curve: Survival, median: float, low: float, high: float | None, said: str
) -> None:
    told = replace(curve, median=median, median_low=low, median_high=high)
    assert survival_sentence(told, name=NAME) == f"half of {NAME} {said}"


def test_few_ends_make_a_hint(make_lives: Make) -> None:
    assert survival_sentence(survival(make_lives([70, 140, 210], [210])), name=NAME) == (
        f"half of {NAME} lasted 20 weeks or longer (from 10, upper end not known); "
        "3 of 4 are worn out, too few for more than a hint"
    )


def test_a_median_not_reached_is_said(make_lives: Make) -> None:
    """After 100 days 4/5 are left; the band's lower edge there: the standard error of log(-log) is
    sqrt(1 / (5 * 4)) / -ln .8 = 1.002, and exp(ln .8 * exp(1.645 * 1.002)) = .31 is below one half. 14.3 weeks."""
    lives = make_lives([100, 150], [160, 170, 180])
    assert survival_sentence(survival(lives), name=NAME) == (
        f"how long half of {NAME} last cannot be told yet: 2 of 5 are worn out; it is 14 weeks or longer"
    )
    assert survival_sentence(survival(make_lives([], [160])), name=NAME) == (
        f"how long half of {NAME} last cannot be told yet: none of 1 is worn out"
    )


def test_a_difference_is_said_with_its_luck(treated: list[Life], placebo: list[Life]) -> None:
    assert comparison_sentence(compare(treated, placebo, names=("new ones", "old ones"))) == (
        "new ones last longer than old ones: luck alone makes such a difference one time in 20 000; "
        "a hint only, since few are worn out (9 of 21 new ones, 21 of 21 old ones; 10 of each are wanted)"
    )
    turned = comparison_sentence(compare(placebo, treated, names=("old ones", "new ones")))
    assert turned.startswith("new ones last longer than old ones")


def test_no_difference_is_no_proof(placebo: list[Life]) -> None:
    assert comparison_sentence(compare(placebo, placebo[::-1], names=("a", "b"))) == (
        "no difference can be told between a and b, which doesn't prove that they last alike "
        "(worn out: 21 of 21 a, 21 of 21 b)"
    )


def test_the_corrected_chance_decides(treated: list[Life], placebo: list[Life]) -> None:
    found = replace(compare(treated, placebo, names=("a", "b")), corrected_p=0.06)
    assert comparison_sentence(found).startswith("no difference can be told between a and b")


def test_what_can_not_be_compared_is_said(make_lives: Make) -> None:
    found = compare(make_lives([], [5]), make_lives([], [6, 7]), names=("a", "b"))
    assert comparison_sentence(found) == (
        "a and b can't be compared yet: none wore out while both were watched (0 of 1 a, 0 of 2 b)"
    )


def test_a_curve_that_ends_before_the_others_join_tells_no_median() -> None:
    """The one bearing watched from new wore out on day 20; the others joined on day 100."""
    lives = [Life(20.0, True, {}), Life(150.0, True, {}, 100.0), Life(300.0, False, {}, 100.0)]
    found = survival(lives)
    assert found.gap == 20.0
    assert survival_sentence(found, name=NAME) == (
        f"how long half of {NAME} last cannot be told yet: those watched from new were all worn out by 3 weeks, "
        "and the others were not yet watched"
    )


@pytest.mark.parametrize(
    ("median", "low", "high", "measure", "said"),
    [
        (3140.0, 2510.0, 3660.0, "km", "lasted 3 100 km or longer (2 500 to 3 700)"),
        (96.0, 51.2, None, "rides", "lasted 96 rides or longer (from 51, upper end not known)"),
        (12345.0, 9876.0, 23456.0, "km", "lasted 12 000 km or longer (9 000 to 24 000)"),
        (1.0, 0.0, 3.0, "rides", "lasted 1 ride or longer (0 to 3)"),
    ],
)
def test_kilometres_and_rides_are_said_in_two_figures(
    curve: Survival, median: float, low: float, high: float | None, measure: Measure, said: str
) -> None:
    told = replace(curve, median=median, median_low=low, median_high=high)
    assert survival_sentence(told, name=NAME, measure=measure) == f"half of {NAME} {said}"
