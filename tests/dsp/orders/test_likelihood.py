"""The tabled log likelihood ratios: densities against scipy, a mean of one under no line, and their numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, stats

from acoustic.dsp.orders import likelihood
from acoustic.dsp.orders.likelihood import line_tables, table_index

Floats = NDArray[np.float64]
QUICK = settings(max_examples=50, deadline=None, derandomize=True)
GRID = 2.0 ** (np.arange(-6 * 16, 24 * 16 + 1) / 16)


def null_density(power: Floats) -> Floats:
    """The law of a bin without a line, from scipy's generalised Pareto and Pareto laws."""
    near = stats.genpareto.pdf(power, c=1 / 12, scale=1.0)
    stray = np.where(power > 4.0, stats.pareto.pdf(power, b=1.5, scale=4.0), 0.0)
    density: Floats = 0.99 * near + 0.01 * stray
    return density


def line_density(power: Floats, middle: float) -> Floats:
    """The law of a bin with a line: scipy's exponential laws of nine strengths, from a fifth to five times."""
    strengths = middle * 5.0 ** np.linspace(-1, 1, 9)
    density: Floats = np.mean([stats.expon.pdf(power, scale=1 + s) for s in strengths], axis=0)
    return density


def test_the_numbers_that_verdicts_rest_on() -> None:
    """None of them may move unseen."""
    assert likelihood.NULL_SHAPE == 12.0
    assert (likelihood.STRAY_SHARE, likelihood.STRAY_FROM, likelihood.STRAY_TAIL) == (0.01, 4.0, 1.5)
    assert likelihood.CLASSES == (4.0, 25.0, 160.0, 1000.0)
    assert (likelihood.CLASS_SPREAD, likelihood.CLASS_POINTS) == (5.0, 9)
    assert (likelihood.PRESENT, likelihood.SIDE_PRESENT) == (0.85, 0.3)


@pytest.mark.parametrize(("number", "middle"), [(0, 4.0), (1, 25.0), (2, 160.0), (3, 1000.0)])
def test_against_scipys_densities(number: int, middle: float) -> None:
    """Both from closed forms: single precision in the table, 1e-5."""
    ratio = line_density(GRID, middle) / null_density(GRID)
    tables = line_tables()
    assert tables.main[number] == pytest.approx(np.log(0.15 + 0.85 * ratio), rel=1e-5, abs=1e-5)
    assert tables.side[number] == pytest.approx(np.log(0.7 + 0.3 * ratio), rel=1e-5, abs=1e-5)


@pytest.mark.parametrize("number", range(4))
def test_a_likelihood_ratio_has_the_mean_one_under_no_line(number: int) -> None:
    """By definition E[f1/f0] under f0 is the integral of f1, or 1.

    The trapezoidal rule over the table's own grid, which leaves out powers under 1/64 (1.6 per cent of the null
    law, where the ratio is 0.15 to 0.4) and is 4 per cent wide: 2 per cent.
    """
    for table in (line_tables().main[number], line_tables().side[number]):
        mean = integrate.trapezoid(np.exp(table.astype(float)) * null_density(GRID), GRID)
        assert mean == pytest.approx(1 - stats.genpareto.cdf(1 / 64, c=1 / 12), abs=0.02)


def test_the_null_law_is_one_in_all() -> None:
    """By hand, the generalised Pareto law: the integral of (1 + x/12)^-13 is 12/12 = 1. A tenth past 4 is luck:
    (1 + 4/12)^-12 = 0.0317, where exp(-4) is 0.0183."""
    whole = integrate.quad(lambda x: float(null_density(np.array([x]))[0]), 0, 4)[0]
    rest = integrate.quad(lambda x: float(null_density(np.array([x]))[0]), 4, np.inf, limit=200)[0]
    assert whole + rest == pytest.approx(1, abs=1e-6)
    assert rest == pytest.approx(0.99 * 0.0317 + 0.01, abs=2e-4)


def test_no_line_speaks_against_and_strength_speaks_softly() -> None:
    """A bin at the noise's mean is none of a strong class's lines; past the class no line adds without end."""
    tables = line_tables()
    at_one = table_index(np.array([1.0]))[0]
    assert np.all(tables.main[:, at_one] < 0)
    assert np.all(np.diff(tables.main[:, at_one]) < 0), "the stronger the class, the more a missing line tells"
    assert np.all(tables.side <= tables.main + 1.6), "by hand: ln(0.7 / 0.15) = 1.54 where nothing stands"


@pytest.mark.parametrize("power", [1e4, 5e4])
def test_no_line_of_a_real_bearing_is_too_strong_for_a_line(power: float) -> None:
    """Real bench bearings, badly damaged, reach 1e4 over the floor at most: five times that still speaks."""
    assert line_tables().main[:, table_index(np.array([power]))[0]].max() > 8


@given(power=st.floats(2.0**-6, 2.0**24))
@QUICK
def test_the_index_lies_within_half_a_step(power: float) -> None:
    """A sixteenth of an octave from one place to the next."""
    place = table_index(np.array([power]))[0]
    assert abs(np.log2(GRID[place] / power)) <= 1 / 32 + 1e-9


def test_what_lies_outside_is_taken_for_the_nearest() -> None:
    places = table_index(np.array([0.0, 1e-30, 1e30, np.inf]))
    assert places.tolist() == [0, 0, GRID.size - 1, GRID.size - 1]
    assert line_tables().main.shape == (4, GRID.size)
