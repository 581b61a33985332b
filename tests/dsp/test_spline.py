"""Both curves against scipy's, and what they promise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline, PchipInterpolator

from acoustic.dsp.spline import cubic_spline, monotone_cubic


def points(count: int, seed: int, *, rising: bool = False) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(0.1, 3.0, count))
    y = np.cumsum(rng.uniform(0.0, 2.0, count)) if rising else rng.normal(size=count)
    return x, y, np.linspace(x[0], x[-1], 997)


@pytest.mark.parametrize("count", [2, 3, 4, 5, 9, 60, 300])
@pytest.mark.parametrize("seed", range(4))
def test_the_smooth_one_is_scipy_s(count: int, seed: int) -> None:
    x, y, at = points(count, seed)
    assert cubic_spline(x, y, at) == pytest.approx(
        CubicSpline(x, y)(at), abs=1e-11 * np.abs(CubicSpline(x, y)(at)).max()
    )


@pytest.mark.parametrize("count", [3, 4, 5, 9, 60, 300])
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("rising", [True, False])
def test_the_monotone_one_is_scipy_s(count: int, seed: int, rising: bool) -> None:
    x, y, at = points(count, seed, rising=rising)
    assert monotone_cubic(x, y, at) == pytest.approx(PchipInterpolator(x, y)(at), abs=1e-12 * np.abs(y).max())


def test_a_cubic_is_given_back() -> None:
    """Not-a-knot ends: any cubic is its own spline."""
    x = np.array([0.0, 0.5, 2.0, 2.25, 4.0])
    at = np.linspace(-1, 5, 61)
    assert cubic_spline(x, x**3 - 2 * x, at) == pytest.approx(at**3 - 2 * at, abs=1e-11)


def test_the_monotone_one_never_turns_back() -> None:
    x, y = np.array([0.0, 1.0, 2.0, 3.0, 4.0]), np.array([0.0, 0.0, 5.0, 5.1, 50.0])
    at = np.linspace(0, 4, 401)
    assert np.all(np.diff(monotone_cubic(x, y, at)) >= -1e-12)
    assert np.any(np.diff(cubic_spline(x, y, at)) < 0), "the smooth one does, of these"


def test_both_run_through_their_points() -> None:
    x, y, _ = points(12, 1)
    for curve in (cubic_spline, monotone_cubic):
        assert curve(x, y, x) == pytest.approx(y, abs=1e-12)
