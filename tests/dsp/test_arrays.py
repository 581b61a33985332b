"""Arrays that cannot be changed, and the robust spread against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from acoustic.dsp.arrays import deviation, locked


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
