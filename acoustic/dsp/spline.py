"""Piecewise cubic curves through points: a smooth one and a monotone one.

They are scipy's `CubicSpline` and `PchipInterpolator` to the last digits (a test compares them), without loading
`scipy.interpolate`: optimisers, sparse matrices and transforms come with it, a third of a check's cold start.
"""

from __future__ import annotations

import numpy as np

from acoustic.dsp.arrays import Floats


def cubic_spline(x: Floats, y: Floats, at: Floats) -> Floats:
    """Evaluate the cubic spline through points, with the not-a-knot condition at either end.

    Parameters
    ----------
    x, y : ndarray, shape (k,)
        Points, x strictly increasing, k >= 2; up to three make one polynomial.
    at : ndarray, shape (n,)
        Where to evaluate; beyond the ends the outermost cubic goes on.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    C. de Boor, A Practical Guide to Splines, chapter IV (from memory): continuous second derivatives make a
    tridiagonal system for the slopes at the points; it is solved in full, as marks are some hundreds.
    """
    if x.size < 4:
        line: Floats = np.polynomial.Polynomial.fit(x, y, x.size - 1)(at)
        return line
    step, rise = np.diff(x), np.diff(y) / np.diff(x)
    system, right = np.zeros((x.size, x.size)), np.zeros(x.size)
    inner = np.arange(1, x.size - 1)
    system[inner, inner - 1], system[inner, inner + 1] = step[1:], step[:-1]
    system[inner, inner] = 2 * (step[:-1] + step[1:])
    right[inner] = 3 * (step[1:] * rise[:-1] + step[:-1] * rise[1:])
    first, last = x[2] - x[0], x[-1] - x[-3]
    system[0, :2], system[-1, -2:] = (step[1], first), (last, step[-2])
    right[0] = ((step[0] + 2 * first) * step[1] * rise[0] + step[0] ** 2 * rise[1]) / first
    right[-1] = (step[-1] ** 2 * rise[-2] + (2 * last + step[-1]) * step[-2] * rise[-1]) / last
    slope = np.asarray(np.linalg.solve(system, right), dtype=float)
    return _hermite(x, y, slope, at)


def monotone_cubic(x: Floats, y: Floats, at: Floats) -> Floats:
    """Evaluate the cubic through points that rises and falls only where they do.

    Parameters
    ----------
    x, y : ndarray, shape (k,)
        Points, x strictly increasing, k >= 3.
    at : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304 (from memory): the slope at a point
    is the weighted harmonic mean of the rises beside it, 0 where they differ in sign.
    """
    step, rise = np.diff(x), np.diff(y) / np.diff(x)
    slope = np.zeros(x.size)
    left, right = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    same = rise[:-1] * rise[1:] > 0
    slope[1:-1][same] = (left + right)[same] / (left[same] / rise[:-1][same] + right[same] / rise[1:][same])
    slope[0] = _end_slope(step[0], step[1], rise[0], rise[1])
    slope[-1] = _end_slope(step[-1], step[-2], rise[-1], rise[-2])
    return _hermite(x, y, slope, at)


def _end_slope(step: float, next_step: float, rise: float, next_rise: float) -> float:
    """Slope at an end from the parabola through three points, kept from overshooting."""
    slope = ((2 * step + next_step) * rise - step * next_rise) / (step + next_step)
    if slope * rise <= 0:
        return 0.0
    if rise * next_rise <= 0 and abs(slope) > 3 * abs(rise):
        return 3 * rise
    return slope


def _hermite(x: Floats, y: Floats, slope: Floats, at: Floats) -> Floats:
    """Evaluate the cubics that have these values and slopes at the points."""
    piece = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    step, from_x = np.diff(x), at - x[piece]
    rise = np.diff(y) / step
    bend = (slope[:-1] + slope[1:] - 2 * rise) / step
    curve = (rise - slope[:-1]) / step - bend
    cubic = (bend / step)[piece]
    value: Floats = ((cubic * from_x + curve[piece]) * from_x + slope[piece]) * from_x + y[piece]
    return value
