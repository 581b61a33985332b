"""The share of bearings still good after so many days (Kaplan-Meier), and the life that half of them reach.

The band is drawn on log(-log), where it stays within 0 and 1 with the few lives of one workshop.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from acoustic.dsp.arrays import lock_fields
from acoustic.errors import InputError
from acoustic.lifetimes.lives import Life

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

# Judgement: the confidence of every interval that this project prints.
NINE_IN_TEN = 0.9
HALF = 0.5 + 1e-9  # products of shares that come to one half may lie above it by rounding


@dataclass(frozen=True, slots=True, eq=False)
class Survival:
    """A survival curve with its band, a step at each day on which lives end or go out of sight.

    Attributes
    ----------
    days : ndarray, shape (k,)
        In order [days]; before the first one all are good.
    share, low, high : ndarray, shape (k,)
        Share still good from that day on, and the band that holds the true share
        there with the confidence asked for; 0 to 1.
    at_risk : ndarray of int, shape (k,)
        Bearings still watched just before that day.
    ends : ndarray of int, shape (k,)
        Those worn out on it.
    median_days, median_low_days, median_high_days : float or None
        First day on which the share is one half or less, and its interval: the first
        days on which the band's lower and upper edge are. None where not reached.
    """

    days: Floats
    share: Floats
    low: Floats
    high: Floats
    at_risk: Counts
    ends: Counts
    median_days: float | None
    median_low_days: float | None
    median_high_days: float | None

    def __post_init__(self) -> None:
        lock_fields(self, "days", "share", "low", "high", "at_risk", "ends")

    @property
    def lives(self) -> int:
        """Bearings in all."""
        return int(self.at_risk[0])

    @property
    def ended(self) -> int:
        """Bearings worn out."""
        return int(self.ends.sum())

    def at_risk_on(self, day: float) -> int:
        """Bearings still watched just before any day [days]."""
        later = int(np.searchsorted(self.days, day))
        return int(self.at_risk[later]) if later < self.days.size else 0


def censored(lives: Sequence[Life]) -> stats.CensoredData:
    """Lives as scipy takes them, right censored where they had not ended."""
    return stats.CensoredData(
        uncensored=[life.days for life in lives if life.ended],
        right=[life.days for life in lives if not life.ended],
    )


def survival(lives: Sequence[Life], *, confidence: float = NINE_IN_TEN) -> Survival:
    """Estimate the survival curve of some bearings.

    Parameters
    ----------
    lives : sequence of Life
        In any order.
    confidence : float
        Of the band, at each day by itself; above 0, below 1.

    Returns
    -------
    Survival

    Raises
    ------
    InputError
        No lives.

    Notes
    -----
    E. L. Kaplan and P. Meier (1958), Nonparametric estimation from incomplete
    observations, J. Am. Stat. Assoc. 53, 457-481, by `scipy.stats.ecdf`. The band is
    Greenwood's on the scale of log(-log(share)), which stays within 0 and 1; the
    median's interval is read off where it crosses one half (R. Brookmeyer and
    J. Crowley (1982), Biometrics 38, 29-41; from memory). Before the first end the
    band is 1 to 1. Once none is left it says nothing, so its lower edge is 0 and its
    upper one stays where it was. All this holds only if bearings go out of sight for
    reasons that have nothing to do with their wear.
    """
    if not lives:
        raise InputError("no bearings; at least one life is needed", hint="Enter days of installation.")
    sample = censored(lives)
    curve = stats.ecdf(sample).sf
    days, share = curve.quantiles, np.asarray(curve.probabilities, dtype=np.float64)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "The confidence interval is undefined", RuntimeWarning)
        band: Any = curve.confidence_interval(confidence, method="log-log")  # the stubs call its ends numbers
    low, high = _filled(share, band.low.probabilities, band.high.probabilities)
    every = np.sort([life.days for life in lives])
    ends = np.sort([life.days for life in lives if life.ended])
    return Survival(
        days=days,
        share=share,
        low=low,
        high=high,
        at_risk=every.size - np.searchsorted(every, days),
        ends=np.searchsorted(ends, days, side="right") - np.searchsorted(ends, days),
        median_days=_first_at_half(days, share),
        median_low_days=_first_at_half(days, low),
        median_high_days=_first_at_half(days, high),
    )


def _filled(share: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """The band where its formula is undefined: at a share of 1 and of 0."""
    low = np.where(share >= 1, 1.0, np.where(share <= 0, 0.0, low))
    high = np.where(share >= 1, 1.0, high)
    before = np.concatenate(([1.0], high[:-1]))
    return low, np.where(share <= 0, before, high)


def _first_at_half(days: Floats, share: Floats) -> float | None:
    reached = np.flatnonzero(share <= HALF)
    return float(days[reached[0]]) if reached.size else None
