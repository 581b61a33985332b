"""Arrays that cannot be changed; medians, tails and the robust spread against scipy's."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import ndimage, stats

from acoustic.dsp.arrays import binomial_tail, deviation, locked, running_median


def test_the_callers_own_array_stays_its_own() -> None:
    mine = np.arange(5.0)
    kept = locked(mine)
    mine[0] = 9.0
    assert kept[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        kept[0] = 1.0


def test_a_view_is_cut_off_from_its_base() -> None:
    base = np.arange(5.0)
    view = base[1:]
    view.flags.writeable = False
    kept = locked(view)
    base[1] = 9.0
    assert kept[0] == 1.0


def test_what_is_locked_is_not_copied_again() -> None:
    kept = locked(np.arange(5.0))
    assert locked(kept) is kept


def test_the_spread_against_scipy() -> None:
    values = np.random.default_rng(3).standard_normal((3, 400))
    theirs = stats.median_abs_deviation(values, axis=1, center=lambda a, axis: np.zeros(()), scale="normal")
    np.testing.assert_allclose(deviation(values, axis=1)[:, 0], theirs, rtol=1e-4)


@pytest.mark.parametrize(("edge", "mode"), [("edge", "nearest"), ("symmetric", "reflect")])
@pytest.mark.parametrize("size", [1, 5, 33])
def test_running_medians_are_those_of_scipy(edge: Any, mode: str, size: int) -> None:
    rows = np.random.default_rng(1).normal(size=(3, 200)).astype(np.float32)
    expected = ndimage.median_filter(rows, size=(1, size), mode=mode)
    assert np.array_equal(running_median(rows, size, edge=edge), expected)
    assert np.array_equal(running_median(rows[0], size, edge=edge), expected[0])


def test_an_even_window_counts_as_the_next_odd_one() -> None:
    row = np.random.default_rng(2).normal(size=50)
    assert np.array_equal(running_median(row, 8), running_median(row, 9))


@pytest.mark.parametrize(
    ("successes", "trials", "chance"),
    [(3, 10, 0.2), (200, 1000, 0.1), (4, 4, 0.3), (5000, 100_000, 0.04), (1, 7, 0.9)],
)
def test_binomial_tails_are_those_of_scipy(successes: int, trials: int, chance: float) -> None:
    assert binomial_tail(successes, trials, chance) == pytest.approx(
        stats.binom.sf(successes - 1, trials, chance), rel=1e-9
    )


def test_no_success_is_certain_and_more_than_were_tried_impossible() -> None:
    assert binomial_tail(0, 4, 0.3) == 1.0
    assert binomial_tail(5, 4, 0.3) == 0.0
