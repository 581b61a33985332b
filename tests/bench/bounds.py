"""Whether a share that was counted may be the one that is asked: exact binomial bounds, one-sided."""

from __future__ import annotations

from scipy.stats import binom

BY_CHANCE = 0.01  # how often a row that is just as good as asked fails (common practice)


def below(count: int, of: int, share: float) -> bool:
    """Whether so few of so many are fewer than chance makes of a share.

    Parameters
    ----------
    count, of : int
        0 <= count <= of.
    share : float
        0 to 1.

    Returns
    -------
    bool
        Clopper and Pearson, Biometrika 26 (1934), one side of theirs: the chance of `count` or fewer is under 1 %.
    """
    return bool(binom.cdf(count, of, share) < BY_CHANCE)


def above(count: int, of: int, share: float) -> bool:
    """Whether so many of so many are more than chance makes of a share; parameters as of `below`."""
    return bool(binom.sf(count - 1, of, share) < BY_CHANCE)
