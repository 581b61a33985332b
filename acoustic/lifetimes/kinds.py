"""How long kinds of bearing last that differ in one label, and whether they differ in that."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from acoustic.lifetimes.comparison import Comparison, compare_all
from acoustic.lifetimes.lives import Life, split
from acoustic.lifetimes.survival import Survival, survival

MOST_KINDS = 8  # more are no comparison but a list


@dataclass(frozen=True, slots=True)
class Lifetimes:
    """Curves of some kinds of bearing, and how they compare.

    Attributes
    ----------
    by : str or None
    curves : mapping of str to Survival
    comparisons : tuple of Comparison
    left_out : int
        Bearings of which the label is not on record, or of kinds past the eight most common.
    """

    by: str | None
    curves: Mapping[str, Survival]
    comparisons: tuple[Comparison, ...]
    left_out: int


def lifetimes_of(lives: Sequence[Life], *, by: str | None) -> Lifetimes:
    """Work out the curves, and compare the kinds that differ in a label."""
    if by is None:
        return Lifetimes(None, {"all bearings": survival(lives)}, (), 0)
    groups = split(lives, by).groups
    common = sorted(groups, key=lambda name: -len(groups[name]))[:MOST_KINDS]
    kept = {f"bearings with {by} {name}": groups[name] for name in sorted(common)}
    curves = {name: survival(some) for name, some in kept.items()}
    compared = compare_all(kept) if len(kept) > 1 else ()
    return Lifetimes(by, curves, compared, len(lives) - sum(map(len, kept.values())))
