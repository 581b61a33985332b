"""The slope of a trend, robust against single bad recordings, with its interval.

Theil-Sen in place of least squares: one recording spoilt by noise turns a least-squares line by more than a
bearing's rise, and few visits outweigh it. With normal scatter that costs about a twentieth of the visits (Sen
1968: efficiency 3/pi; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from acoustic.errors import InputError
from acoustic.trend.points import Point, visits

Floats = NDArray[np.float64]

# Judgement: the confidence of every interval that this project prints.
NINE_IN_TEN = 0.9
# The widest interval, from the least to the greatest of all pairs' slopes, misses the true one with a chance of
# 2 / n! (Kendall's S at either end): 1/3 with three visits, 1/12 with four, the first that hold it nine in ten.
FEWEST_VISITS = 4
MAD_TO_DEVIATION = 1.4826  # 1 / the normal law's 75 % point
MEDIAN_TO_MEAN = math.sqrt(math.pi / 2)  # standard error of the median over the mean's, normal law, many values


@dataclass(frozen=True, slots=True)
class TooFew:
    """Not enough visits for what was asked.

    Attributes
    ----------
    found, needed : int
        Visits, each on a calendar day of its own.
    """

    found: int
    needed: int

    @property
    def sentence(self) -> str:
        """What is missing, in plain words."""
        return f"not enough visits: {self.found} so far, {self.needed} needed, each on a day of its own"


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope and the interval that holds the true one nine times in ten, unless said otherwise."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Slope:
        """The same slope in another unit; the factor is > 0."""
        return Slope(self.value * factor, self.low * factor, self.high * factor)


@dataclass(frozen=True, slots=True)
class Trend:
    """A line through the visits of one segment.

    Attributes
    ----------
    visits : tuple of Point
        One a calendar day, in order of time.
    per_day : Slope
        Value's unit a day.
    per_1000_km : Slope or None
        None where a visit lacks its km, or fewer than four readings differ.
    middle_day : float
        Median day of the visits.
    level : float
        The line there.
    level_half_width : float
        Half width of the range that holds the true level there nine times in ten.
    spread : float
        Standard deviation of the visits about the line, robust.
    """

    visits: tuple[Point, ...]
    per_day: Slope
    per_1000_km: Slope | None
    middle_day: float
    level: float
    level_half_width: float
    spread: float

    def value_at(self, day: float) -> float:
        """The line's value on a day."""
        return self.level + self.per_day.value * (day - self.middle_day)


def theil_sen(x: Floats, y: Floats, *, confidence: float = NINE_IN_TEN) -> Slope:
    """Median of the slopes of all pairs, with Sen's interval.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Finite, in any order. Where places are equal, the median of their values
        counts once.
    confidence : float
        Share of cases in which the interval is to hold the true slope, 0.5 to 1.

    Returns
    -------
    Slope

    Raises
    ------
    ValueError
        Fewer than four different places.

    Notes
    -----
    P. K. Sen (1968), Estimates of the regression coefficient based on Kendall's
    tau, J. Am. Stat. Assoc. 63, 1379-1389. Counting equal places once keeps his
    variance of tau above 0 whatever ties there are.
    """
    places = np.unique(x)
    if places.size < FEWEST_VISITS:
        raise ValueError(f"{places.size} different places, at least {FEWEST_VISITS} are needed")
    values = np.array([np.median(y[x == place]) for place in places])
    fitted = stats.theilslopes(values, places, alpha=confidence)
    return Slope(float(fitted.slope), float(fitted.low_slope), float(fitted.high_slope))


def fit_trend(points: Sequence[Point]) -> Trend | TooFew:
    """Fit a line to the visits of one segment.

    Parameters
    ----------
    points : sequence of Point
        Of one group, between two pieces of work, in any order.

    Returns
    -------
    Trend or TooFew
        TooFew with recordings of fewer than four calendar days.

    Raises
    ------
    InputError
        Points of several groups, or km that fall with time.

    Notes
    -----
    The spread is the median size of the residuals times 1.4826, widened by
    sqrt(n / (n - 2)) for the two numbers fitted. The level's half width is that of
    a median (the mean's times sqrt(pi / 2)) with Student's t for n - 2 degrees of
    freedom. `due_range` says how well both bear out.
    """
    each = visits(points)
    if len(each) < FEWEST_VISITS:
        return TooFew(len(each), FEWEST_VISITS)
    days = np.array([visit.day for visit in each])
    values = np.array([visit.value for visit in each])
    per_day = theil_sen(days, values)
    middle_day = float(np.median(days))
    rest = values - per_day.value * (days - middle_day)
    level = float(np.median(rest))
    count = len(each)
    spread = MAD_TO_DEVIATION * float(np.median(np.abs(rest - level))) * math.sqrt(count / (count - 2))
    quantile = float(stats.t.ppf((1 + NINE_IN_TEN) / 2, count - 2))
    half_width = quantile * MEDIAN_TO_MEAN * spread / math.sqrt(count)
    return Trend(each, per_day, _per_1000_km(each, values), middle_day, level, half_width, spread)


def _per_1000_km(each: Sequence[Point], values: Floats) -> Slope | None:
    readings = [visit.km for visit in each if visit.km is not None]
    if len(readings) < len(each):
        return None
    readings_km = np.array(readings)
    fall = np.flatnonzero(np.diff(readings_km) < 0)
    if fall.size:
        before, after = readings_km[fall[0]], readings_km[fall[0] + 1]
        found = f"km that fall from {before:g} to {after:g} between two visits; they must not fall with time"
        raise InputError(found, hint="Put the reading right, or leave the km out.")
    if np.unique(readings_km).size < FEWEST_VISITS:
        return None
    return theil_sen(readings_km, values).times(1000.0)
