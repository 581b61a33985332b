"""How long each bearing ran, whether it was worn out by then, and what tells it from others."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from acoustic.errors import InputError

Measure = Literal["days", "km", "rides"]


@dataclass(frozen=True, slots=True)
class Life:
    """One bearing from its installation until it was last known of.

    Attributes
    ----------
    ran : float
        Days, kilometres or rides, the same for all lives that are taken together; >= 0.
    ended : bool
        True: replaced because it was worn or damaged. False: still running, or
        removed for another reason, so that it would have lasted longer by an
        unknown amount (right censored).
    labels : mapping of str to str
        What bearings are told apart by, as 'shell' -> 'pressed'.
    entered : float
        How far it had run when its watch began: 0, or more and below `ran`. Had it worn
        out before, nobody would know of it (delayed entry, left truncation), so that it
        says nothing of the time before.

    Raises
    ------
    InputError
        A length that is not finite or below 0, or a watch that begins after its end.
    """

    ran: float
    ended: bool
    labels: Mapping[str, str]
    entered: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.ran) and self.ran >= 0):
            found = f"a bearing that ran for {self.ran:g}; 0 or more is needed"
            raise InputError(found, hint="Put the day of installation or of replacement right.")
        if self.entered != 0 and not 0 < self.entered < self.ran:
            found = f"a bearing watched from {self.entered:g} on that ran for {self.ran:g}"
            raise InputError(found, hint="Leave it out, or put the day on which the book began right.")
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
        found = f"no {field} is on record for any of {len(every)} bearings"
        raise InputError(found, hint=f"What is on record: {known}.")
    groups = {value: tuple(life for life in every if life.labels.get(field) == value) for value in values}
    return Split(field, MappingProxyType(groups), tuple(life for life in every if field not in life.labels))
