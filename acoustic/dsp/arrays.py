"""What all numerics share: names of arrays, arrays that nobody can change, the robust spread."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
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
