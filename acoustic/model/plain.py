"""Plain values in frozen objects: what plugins hand over may be numpy's; what is no such value is refused."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import locked


def number(value: object, name: str) -> float:
    """Make a float of any real number, numpy's included.

    Raises
    ------
    TypeError
        It is a text, a complex number or anything else.
    """
    if isinstance(value, str | bytes) or np.iscomplexobj(np.asarray(value)):
        raise TypeError(f"{name} must be a real number, got {value!r}")
    try:
        return float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise TypeError(f"{name} must be a real number, got {value!r}") from None


def whole(value: object, name: str) -> int:
    """Make an int of a number without a fraction."""
    told = number(value, name)
    if not told.is_integer():
        raise TypeError(f"{name} must be a whole number, got {value!r}")
    return int(told)


def truth(value: object, name: str) -> bool:
    """Make a bool of Python's or numpy's."""
    if not isinstance(value, bool | np.bool_):
        raise TypeError(f"{name} must be True or False, got {value!r}")
    return bool(value)


def words(value: object, name: str) -> str:
    """Return a text, which it must be."""
    if not isinstance(value, str):
        raise TypeError(f"{name} must be a text, got {value!r}")
    return str(value)


def floats(values: object, name: str) -> NDArray[np.float64]:
    """Make real numbers an array that nobody can write to; the caller's own stays as it is."""
    if np.iscomplexobj(np.asarray(values)):
        raise TypeError(f"{name} must be real numbers, not complex ones")
    return locked(np.asarray(values, dtype=np.float64))
