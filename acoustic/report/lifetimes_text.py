"""Lifetimes as text and as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import msgspec

from acoustic.lifetimes.kinds import Lifetimes
from acoustic.lifetimes.words import comparison_sentence, survival_sentence
from acoustic.report.layout import paragraphs, sentence

if TYPE_CHECKING:
    from acoustic.lifetimes.survival import Survival


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


class PointBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A step of a curve: share still good from this day on, and how many were watched up to it."""

    day: float
    still_good: float
    watched: int


class KindBlock(msgspec.Struct, frozen=True, kw_only=True):
    """How long bearings of one kind last; null where too few have worn out to tell."""

    name: str
    bearings: int
    worn: int
    median_days: float | None
    median_least_days: float | None
    median_most_days: float | None
    curve: tuple[PointBlock, ...]


class ComparisonBlock(msgspec.Struct, frozen=True, kw_only=True):
    """Two kinds against each other; `corrected_p` counts in how many pairs were compared."""

    kinds: tuple[str, ...]
    chi_square: float | None
    p: float | None
    corrected_p: float | None
    longer: str | None
    few_ends: bool


class LifetimesDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic lifetimes --json` prints."""

    schema: Literal["acoustic.lifetimes/1"]
    by: str | None
    kinds: tuple[KindBlock, ...]
    comparisons: tuple[ComparisonBlock, ...]
    left_out: int


def lifetimes_document(told: Lifetimes) -> LifetimesDocument:
    """Lifetimes as they are written."""
    return LifetimesDocument(
        schema="acoustic.lifetimes/1",
        by=told.by,
        kinds=tuple(_kind(name, curve) for name, curve in told.curves.items()),
        comparisons=tuple(
            ComparisonBlock(
                kinds=one.names,
                chi_square=one.chi_square,
                p=one.p,
                corrected_p=one.corrected_p,
                longer=one.longer,
                few_ends=one.few_ends,
            )
            for one in told.comparisons
        ),
        left_out=told.left_out,
    )


def _kind(name: str, curve: Survival) -> KindBlock:
    return KindBlock(
        name=name,
        bearings=curve.lives,
        worn=curve.ended,
        median_days=curve.median_days,
        median_least_days=curve.median_low_days,
        median_most_days=curve.median_high_days,
        curve=tuple(
            PointBlock(day=float(day), still_good=float(share), watched=int(count))
            for day, share, count in zip(curve.days, curve.share, curve.at_risk, strict=True)
        ),
    )
