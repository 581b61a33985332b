"""Published lives, and lives made on the spot."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from acoustic.lifetimes.lives import Life


def lives_of(ended: Sequence[float], running: Sequence[float] = (), **labels: str) -> list[Life]:
    return [Life(days, True, labels) for days in ended] + [Life(days, False, labels) for days in running]


# Weeks in remission of leukaemia, 6-mercaptopurine and placebo: E. J. Freireich et al. (1963), Blood 21, 699-716,
# as tabled in D. G. Kleinbaum and M. Klein, Survival Analysis. The weeks were compared by hand with the copy of
# that table which a general-purpose statistics package carries.
TREATED = lives_of([6, 6, 6, 7, 10, 13, 16, 22, 23], [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35])
PLACEBO = lives_of([1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23])


@pytest.fixture
def make_lives() -> Callable[..., list[Life]]:
    """(days of those worn out, days of those still good, label=value ...) -> lives."""
    return lives_of


@pytest.fixture
def treated() -> list[Life]:
    return TREATED


@pytest.fixture
def placebo() -> list[Life]:
    return PLACEBO
