"""What all numerics share: names of arrays, arrays that nobody can change, medians and tails that load quickly."""

from __future__ import annotations

import math
from typing import Any, Literal, TypeVar

import numpy as np
from bottleneck import move_median
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.intp]
Mask = NDArray[np.bool_]
Kind = TypeVar("Kind", bound=np.generic)

MAD_TO_DEVIATION = 1.4826  # 1 / the normal law's 75 % point
NINE_IN_TEN = 1.645  # standard deviations that hold a normal value nine times in ten


def locked(array: NDArray[Kind]) -> NDArray[Kind]:
    """An array that nobody can write to any more, not even through what it was made from.

    Parameters
    ----------
    array : ndarray
        The caller's own stays as it is.

    Returns
    -------
    ndarray
        A copy, unless the array is one that was made here.
    """
    if array.base is None and not array.flags.writeable:
        return array
    kept = array.copy()
    kept.flags.writeable = False
    return kept


def lock_fields(frozen: object, *names: str) -> None:
    """Lock fields of a frozen object, from its ``__post_init__``."""
    for name in names:
        array: NDArray[Any] = getattr(frozen, name)
        object.__setattr__(frozen, name, locked(array))


def running_median(
    rows: NDArray[Kind], size: int, *, edge: Literal["edge", "symmetric"] = "edge"
) -> NDArray[Kind]:
    """Median of the samples about each sample, along the last axis.

    Parameters
    ----------
    rows : ndarray, shape (..., k)
    size : int
        Samples in the window, the middle one included; an even number counts as the next odd one.
    edge : {"edge", "symmetric"}
        What stands beyond both ends: the last value, or the values before it, mirrored.

    Returns
    -------
    ndarray, shape (..., k)

    Notes
    -----
    As `scipy.ndimage.median_filter`, which takes a tenth of a second to import.
    """
    half = size // 2
    beside = [(0, 0)] * (rows.ndim - 1)
    filled = np.pad(rows, (*beside, (half, half)), mode=edge)
    medians: NDArray[Kind] = move_median(filled, 2 * half + 1, axis=-1)[..., 2 * half :]
    return medians


def binomial_tail(successes: int, trials: int, chance: float) -> float:
    """Chance of that many successes or more.

    Parameters
    ----------
    successes, trials : int
    chance : float
        Of each trial, between 0 and 1, both excluded.

    Returns
    -------
    float

    Notes
    -----
    As `scipy.stats.binom.sf(successes - 1, trials, chance)`, which takes half a second to import: the terms
    of the sum, each from the one before it, beginning with the first one's logarithm.
    """
    if successes <= 0:
        return 1.0
    if successes > trials:
        return 0.0
    first = (
        math.lgamma(trials + 1) - math.lgamma(successes + 1) - math.lgamma(trials - successes + 1)
        + successes * math.log(chance) + (trials - successes) * math.log1p(-chance)
    )  # fmt: skip
    count = np.arange(successes, trials)
    steps = np.log((trials - count) / (count + 1)) + math.log(chance) - math.log1p(-chance)
    terms = first + np.concatenate([[0.0], np.cumsum(steps)])
    return min(1.0, float(np.exp(terms).sum()))


def deviation(values: Floats, axis: int | None = None) -> Floats:
    """Robust standard deviation about zero: the median size, as the normal law has it.

    Parameters
    ----------
    values : ndarray
    axis : int or None
        Kept as an axis of length 1; None takes all values together.

    Returns
    -------
    ndarray
    """
    spread: Floats = MAD_TO_DEVIATION * np.median(np.abs(values), axis=axis, keepdims=axis is not None)
    return spread
