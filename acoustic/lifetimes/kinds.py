"""How long kinds of bearing last that differ in one label, and whether they differ in that."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from acoustic.lifetimes.comparison import Comparison, compare_all
from acoustic.lifetimes.lives import Life, Measure, split
from acoustic.lifetimes.survival import Survival, survival

MOST_KINDS = 8  # more are no comparison but a list
ALL = "all bearings"
# What bearings may be told apart by, and what those of one value are called.
FIELDS = {
    "designation": "{} bearings",
    "kind": "{} bearings",
    "shell": "bearings in {} shells",
    "shell-width": "bearings in shells {} wide",
    "spindle": "bearings on {} spindles",
    "use": "bearings in {} use",
    "seal": "bearings with {} seals",
    "side": "bearings on the {} side",
    "rows": "{} bearings",
    "supplier": "bearings from {}",
    "lot": "bearings of lot {}",
}


@dataclass(frozen=True, slots=True)
class Lifetimes:
    """Curves of some kinds of bearing, and how they compare.

    Attributes
    ----------
    measure : {'days', 'km', 'rides'}
        In which the curves count.
    by : str or None
    curves : mapping of str to Survival
    comparisons : tuple of Comparison
    unlabelled : int
        Bearings of which the label is not on record.
    past_most : int
        Bearings of kinds past the eight most common.
    """

    measure: Measure
    by: str | None
    curves: Mapping[str, Survival]
    comparisons: tuple[Comparison, ...]
    unlabelled: int = 0
    past_most: int = 0


def lifetimes_of(lives: Sequence[Life], *, by: str | None, measure: Measure = "days") -> Lifetimes:
    """Work out the curves, and compare the kinds that differ in a label.

    Parameters
    ----------
    lives : sequence of Life
        At least one.
    by : str or None
        One of `FIELDS`, or any other label; None for all bearings together.
    measure : {'days', 'km', 'rides'}
        In which the lives are counted.

    Returns
    -------
    Lifetimes

    Raises
    ------
    InputError
        No lives, or none with this label.
    """
    if by is None:
        return Lifetimes(measure, None, {ALL: survival(lives)}, ())
    parted = split(lives, by)
    common = sorted(parted.groups, key=lambda name: -len(parted.groups[name]))[:MOST_KINDS]
    called = FIELDS.get(by, f"bearings with {by} {{}}")
    kept = {called.format(name): parted.groups[name] for name in sorted(common)}
    compared = compare_all(kept) if len(kept) > 1 else ()
    unlabelled = len(parted.unlabelled)
    return Lifetimes(
        measure=measure,
        by=by,
        curves={name: survival(some) for name, some in kept.items()},
        comparisons=compared,
        unlabelled=unlabelled,
        past_most=len(lives) - unlabelled - sum(map(len, kept.values())),
    )
