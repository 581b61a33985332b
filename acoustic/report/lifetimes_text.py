"""Lifetimes as text and as plain data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from acoustic.lifetimes.comparison import Comparison, compare_all
from acoustic.lifetimes.lives import Life, split
from acoustic.lifetimes.survival import Survival, survival
from acoustic.lifetimes.words import comparison_sentence, survival_sentence
from acoustic.report.layout import paragraphs, sentence

SCHEMA = "acoustic.lifetimes/1"
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


def lifetimes_text(told: Lifetimes) -> str:
    """Set lifetimes for people."""
    lines = []
    for name, curve in told.curves.items():
        lines += paragraphs("lasts", (sentence(survival_sentence(curve, name=name)),))
    for comparison in told.comparisons:
        lines += paragraphs("compared", (sentence(comparison_sentence(comparison)),))
    if told.left_out:
        lines += paragraphs("left out", (f"{told.left_out} bearings of which the {told.by} is not known.",))
    return "\n".join(lines)


def lifetimes_document(told: Lifetimes) -> dict[str, Any]:
    """Lifetimes as plain data."""
    return {
        "schema": SCHEMA,
        "by": told.by,
        "kinds": [
            {
                "name": name,
                "bearings": curve.lives,
                "worn": curve.ended,
                "median_days": curve.median_days,
                "median_least_days": curve.median_low_days,
                "median_most_days": curve.median_high_days,
                "curve": [
                    {"day": float(day), "still_good": float(share), "watched": int(count)}
                    for day, share, count in zip(curve.days, curve.share, curve.at_risk, strict=True)
                ],
            }
            for name, curve in told.curves.items()
        ],
        "comparisons": [
            {
                "kinds": list(one.names),
                "chi_square": one.chi_square,
                "p": one.p,
                "corrected_p": one.corrected_p,
                "longer": one.longer,
                "few_ends": one.few_ends,
            }
            for one in told.comparisons
        ],
        "left_out": told.left_out,
    }
