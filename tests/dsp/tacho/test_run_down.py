"""The spline of the run-down against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from acoustic.dsp.tacho.run_down import cubic_spline


@pytest.mark.parametrize("points", [4, 5, 9, 40])
def test_the_spline_is_scipys(points: int) -> None:
    rng = np.random.default_rng(points)
    x = np.cumsum(rng.uniform(0.2, 1.5, points))
    y = rng.standard_normal(points)
    at = np.linspace(x[0], x[-1], 200)
    np.testing.assert_allclose(cubic_spline(x, y, at), CubicSpline(x, y)(at), rtol=0, atol=1e-11)


def test_it_passes_through_its_points_and_keeps_a_cubic() -> None:
    x = np.array([0.0, 1.0, 1.5, 4.0, 5.0])
    y = x**3 - 2 * x
    np.testing.assert_allclose(cubic_spline(x, y, x), y, atol=1e-12)
    assert cubic_spline(x, y, np.array([3.0]))[0] == pytest.approx(21.0, abs=1e-11)
