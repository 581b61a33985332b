"""Whether one kind of bearing lasts longer than another (log-rank test), two kinds or more."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acoustic.errors import InputError
from acoustic.lifetimes.lives import Life
from acoustic.lifetimes.survival import watched, worn

FEW_ENDS = 10  # in either group, common practice: with fewer the normal law of the statistic is a rough one


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two kinds of bearing.

    Attributes
    ----------
    names : (str, str)
    lives, ends : (int, int)
        Bearings of each kind, and those worn out.
    z : float or None
        Signed root of the log-rank chi-square: above 0 more of the first kind wore
        out than if both lasted alike. None where the two can't be compared: none is
        worn out, or none while both kinds were still watched.
    p : float or None
        Chance of a difference as large either way if both last alike.
    corrected_p : float or None
        The same after Holm's correction for all pairs compared together.
    """

    names: tuple[str, str]
    lives: tuple[int, int]
    ends: tuple[int, int]
    z: float | None
    p: float | None
    corrected_p: float | None

    @property
    def chi_square(self) -> float | None:
        """The log-rank statistic as books print it, one degree of freedom."""
        return None if self.z is None else self.z**2

    @property
    def few_ends(self) -> bool:
        """Whether fewer than ten of either kind are worn out, so that it is a hint at best."""
        return min(self.ends) < FEW_ENDS

    @property
    def longer(self) -> str | None:
        """The kind that lasted longer on the whole, by luck or not."""
        if not self.z:
            return None
        return self.names[1] if self.z > 0 else self.names[0]


def compare(first: Sequence[Life], second: Sequence[Life], *, names: tuple[str, str]) -> Comparison:
    """Compare how long two kinds of bearing last.

    Parameters
    ----------
    first, second : sequence of Life
        Of each kind, in any order.
    names : (str, str)

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        A kind without lives.

    Notes
    -----
    N. Mantel (1966), Evaluation of survival data and two new rank order statistics
    arising in its consideration, Cancer Chemotherapy Reports 50, 163-170; with delayed
    entry those at risk are those watched. It finds a kind that wears out faster
    throughout; kinds whose curves cross may differ without its notice. Several bearings
    of one bike are no independent news, which it does not know.
    """
    for name, lives in zip(names, (first, second), strict=True):
        if not lives:
            raise InputError(f"no bearings of {name}; both kinds are needed", hint="Leave this kind out.")
    z = _log_rank(first, second)
    p = None if z is None else math.erfc(abs(z) / math.sqrt(2))  # both tails of the normal law
    return Comparison(
        names=names,
        lives=(len(first), len(second)),
        ends=(sum(life.ended for life in first), sum(life.ended for life in second)),
        z=z,
        p=p,
        corrected_p=p,
    )


def _log_rank(first: Sequence[Life], second: Sequence[Life]) -> float | None:
    """Ends of the first kind past those expected if both last alike, in standard deviations; None without any."""
    at = np.unique([life.ran for life in (*first, *second) if life.ended])
    of_first, of_all = watched(first, at), watched((*first, *second), at)
    ends = worn((*first, *second), at)
    share = of_first / of_all
    # The hypergeometric law: of those watched at each length, so many of the first kind among the ends.
    variance = float((ends * share * (1 - share) * (of_all - ends) / np.maximum(of_all - 1, 1)).sum())
    if variance <= 0:
        return None
    return float((worn(first, at) - ends * share).sum()) / math.sqrt(variance)


def compare_all(groups: Mapping[str, Sequence[Life]]) -> tuple[Comparison, ...]:
    """Compare every pair of kinds, with Holm's correction for their number.

    Parameters
    ----------
    groups : mapping of str to sequence of Life
        Two kinds or more, by name.

    Returns
    -------
    tuple of Comparison
        In the order of the pairs. Pairs that can't be compared don't count for the correction.

    Raises
    ------
    InputError
        Fewer than two kinds, or a kind without lives.
    """
    if len(groups) < 2:
        found = f"{len(groups)} kind of bearing; at least two are needed to compare"
        raise InputError(found, hint="Split by another label.")
    pairs = [compare(groups[a], groups[b], names=(a, b)) for a, b in combinations(groups, 2)]
    corrected = iter(holm([pair.p for pair in pairs if pair.p is not None]))
    return tuple(pair if pair.p is None else replace(pair, corrected_p=float(next(corrected))) for pair in pairs)


def holm(p: ArrayLike) -> NDArray[np.float64]:
    """Correct the chances of several tests so that one false alarm in all is as rare as in one test.

    Parameters
    ----------
    p : array_like, shape (m,)
        0 to 1.

    Returns
    -------
    ndarray, shape (m,)
        In the same order, at most 1.

    Notes
    -----
    S. Holm (1979), A simple sequentially rejective multiple test procedure, Scand. J.
    Statist. 6, 65-70: the least of m is multiplied by m, the next by m - 1, and so on,
    none falling below the one before. scipy offers corrections of another aim only.
    """
    chances = np.asarray(p, dtype=np.float64)
    order = np.argsort(chances, kind="stable")
    corrected = np.empty_like(chances)
    corrected[order] = np.maximum.accumulate(chances[order] * np.arange(chances.size, 0, -1))
    return np.minimum(corrected, 1.0)
