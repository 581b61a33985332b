"""The share of bearings still good after so long (Kaplan-Meier), and the life that half of them reach.

The band is drawn on log(-log), where it stays within 0 and 1 with the few lives of one workshop. Sums of a screen
here, since scipy knows no delayed entry, and its statistics alone take longer to load than the whole command may.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats, lock_fields
from acoustic.errors import InputError
from acoustic.lifetimes.lives import Life

Counts = NDArray[np.int64]

# Judgement: the confidence of every interval that this project prints.
NINE_IN_TEN = 0.9
HALF = 0.5 + 1e-9  # products of shares that come to one half may lie above it by rounding


@dataclass(frozen=True, slots=True, eq=False)
class Survival:
    """A survival curve with its band, a step at each length at which lives end or go out of sight.

    Attributes
    ----------
    at : ndarray, shape (k,)
        In order [days, km or rides, as the lives]; before the first one all are good.
    share, low, high : ndarray, shape (k,)
        Share still good from there on, and the band that holds the true share
        there with the confidence asked for; 0 to 1.
    at_risk : ndarray of int, shape (k,)
        Bearings watched just before.
    ends : ndarray of int, shape (k,)
        Those worn out there.
    lives : int
        Bearings in all.
    median, median_low, median_high : float or None
        Where the share first is one half or less, and its interval: where the band's
        lower and upper edge first are. None where not reached.
    """

    at: Floats
    share: Floats
    low: Floats
    high: Floats
    at_risk: Counts
    ends: Counts
    lives: int
    median: float | None
    median_low: float | None
    median_high: float | None

    def __post_init__(self) -> None:
        lock_fields(self, "at", "share", "low", "high", "at_risk", "ends")

    @property
    def ended(self) -> int:
        """Bearings worn out."""
        return int(self.ends.sum())

    @property
    def gap(self) -> float | None:
        """Where all then watched were worn out while others joined later; the curve tells nothing past it."""
        gone = self.at[:-1][self.share[:-1] <= 0]
        return float(gone[0]) if gone.size else None


def watched(lives: Sequence[Life], at: Floats) -> Counts:
    """Bearings watched at each length: one counts past its entry and up to its end, from new at 0 too."""
    entered = np.sort([life.entered or -1.0 for life in lives])
    left = np.sort([life.ran for life in lives])
    return np.searchsorted(entered, at) - np.searchsorted(left, at)


def worn(lives: Sequence[Life], at: Floats) -> Counts:
    """Bearings worn out at each of some lengths."""
    ends = np.sort([life.ran for life in lives if life.ended])
    return np.searchsorted(ends, at, side="right") - np.searchsorted(ends, at)


def survival(lives: Sequence[Life], *, confidence: float = NINE_IN_TEN) -> Survival:
    """Estimate the survival curve of some bearings.

    Parameters
    ----------
    lives : sequence of Life
        In any order.
    confidence : float
        Of the band, at each length by itself; above 0, below 1.

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
    observations, J. Am. Stat. Assoc. 53, 457-481; with delayed entry those at risk are
    those watched (W.-Y. Tsai, N. P. Jewell and M.-C. Wang (1987), Biometrika 74,
    883-886; from memory). The band is Greenwood's on the scale of log(-log(share)); the
    median's interval is read off where it crosses one half (R. Brookmeyer and
    J. Crowley (1982), Biometrics 38, 29-41; from memory). Before the first end the
    band is 1 to 1. Once none is left it says nothing, so its lower edge is 0 and its
    upper one stays where it was. All this holds only if bearings go out of sight for
    reasons that have nothing to do with their wear.
    """
    if not lives:
        raise InputError("no bearings; at least one life is needed", hint="Enter days of installation.")
    at = np.unique([life.ran for life in lives])
    at_risk, ends = watched(lives, at), worn(lives, at)
    share: Floats = np.cumprod(1 - ends / at_risk, dtype=np.float64)
    low, high = _band(share, at_risk, ends, NormalDist().inv_cdf((1 + confidence) / 2))
    return Survival(
        at=at,
        share=share,
        low=low,
        high=high,
        at_risk=at_risk,
        ends=ends,
        lives=len(lives),
        median=_first_at_half(at, share),
        median_low=_first_at_half(at, low),
        median_high=_first_at_half(at, high),
    )


def _band(share: Floats, at_risk: Counts, ends: Counts, deviations: float) -> tuple[Floats, Floats]:
    """Greenwood's band on log(-log), and what stands in for it at a share of 1 and of 0."""
    open_ = (share > 0) & (share < 1)
    some = np.where(ends < at_risk, ends / (at_risk * np.maximum(at_risk - ends, 1)), 0.0)
    log_share = np.log(share, where=open_, out=np.full_like(share, -1.0))
    reach = deviations * np.sqrt(np.cumsum(some)) / -log_share
    low = np.where(open_, np.exp(log_share * np.exp(reach)), np.where(share >= 1, 1.0, 0.0))
    high = np.where(open_, np.exp(log_share * np.exp(-reach)), 1.0)
    left = np.flatnonzero(share > 0)
    high[share <= 0] = high[left[-1]] if left.size else 1.0
    return low, high


def _first_at_half(at: Floats, share: Floats) -> float | None:
    reached = np.flatnonzero(share <= HALF)
    return float(at[reached[0]]) if reached.size else None
