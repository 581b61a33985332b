"""How long each bearing ran, whether it was worn out by then, and what tells it from others."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from acoustic.errors import InputError


@dataclass(frozen=True, slots=True)
class Life:
    """One bearing from its installation until it was last known of.

    Attributes
    ----------
    days : float
        > 0.
    ended : bool
        True: replaced because it was worn or damaged. False: still running, or
        removed for another reason, so that it would have lasted longer by an
        unknown time (right censored).
    labels : mapping of str to str
        What bearings are told apart by, as 'shell' -> 'pressed'.

    Raises
    ------
    InputError
        Days that are not finite or not above 0.
    """

    days: float
    ended: bool
    labels: Mapping[str, str]

    def __post_init__(self) -> None:
        if not (math.isfinite(self.days) and self.days > 0):
            found = f"a bearing that ran for {self.days:g} days; more than 0 are needed"
            raise InputError(found, hint="Put the day of installation or of replacement right.")
        object.__setattr__(self, "labels", MappingProxyType(dict(self.labels)))


@dataclass(frozen=True, slots=True)
class Split:
    """Lives parted by one label.

    Attributes
    ----------
    field : str
    groups : mapping of str to tuple of Life
        By the label's value, in the order of the alphabet.
    unlabelled : tuple of Life
        Those without this label; in no group.
    """

    field: str
    groups: Mapping[str, tuple[Life, ...]]
    unlabelled: tuple[Life, ...]


def split(lives: Iterable[Life], field: str) -> Split:
    """Part lives by the value of one label.

    Parameters
    ----------
    lives : iterable of Life
    field : str
        The label's name.

    Returns
    -------
    Split

    Raises
    ------
    InputError
        No life carries this label.
    """
    every = tuple(lives)
    values = sorted({life.labels[field] for life in every if field in life.labels})
    if not values:
        known = ", ".join(sorted({name for life in every for name in life.labels})) or "none"
        found = f"no bearing of {len(every)} with a label {field!r}"
        raise InputError(found, hint=f"Labels that there are: {known}.")
    groups = {value: tuple(life for life in every if life.labels.get(field) == value) for value in values}
    return Split(field, MappingProxyType(groups), tuple(life for life in every if field not in life.labels))
