"""Lifetimes as text, as a table and as plain data."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import msgspec

from acoustic.lifetimes.kinds import FIELDS, MOST_KINDS, Lifetimes
from acoustic.lifetimes.lives import Life, Measure
from acoustic.lifetimes.words import comparison_sentence, survival_sentence
from acoustic.report.layout import paragraphs, sentence

if TYPE_CHECKING:
    from acoustic.book.lives import Taken
    from acoustic.lifetimes.survival import Survival


def lifetimes_text(told: Lifetimes, taken: Taken) -> str:
    """Set lifetimes for people."""
    lines = []
    for name, curve in told.curves.items():
        lines += paragraphs("lasts", (sentence(survival_sentence(curve, name=name, measure=told.measure)),))
    for comparison in told.comparisons:
        lines += paragraphs("compared", (sentence(comparison_sentence(comparison)),))
    if taken.joined and taken.began is not None:
        counts = "counts" if taken.joined == 1 else "count"
        began = f"the book began on {taken.began} and {counts} from then on"
        lines += paragraphs("joined", (f"{counted(taken.joined)} went in before {began}.",))
    left_out = (
        (taken.came_out, f"that the book never saw at work, since it began on {taken.began}"),
        (taken.unknown, "whose kilometres from going in to coming out are not known"),
        (told.unlabelled, f"of which the {told.by} is not known"),
        (told.past_most, f"of kinds past the {MOST_KINDS} most common"),
    )
    lines += paragraphs("left out", tuple(f"{counted(count)} {why}." for count, why in left_out if count))
    return "\n".join(lines)


def counted(bearings: int) -> str:
    """So many bearings, in words."""
    return f"{bearings} bearing{'' if bearings == 1 else 's'}"


def lifetimes_csv(lives: Sequence[Life], measure: Measure) -> str:
    """One line a bearing: how long it ran, from when it was watched, whether it wore out, and its labels."""
    rows = io.StringIO()
    writer = csv.writer(rows, lineterminator="\n")
    writer.writerow([f"ran [{measure}]", f"watched from [{measure}]", "worn out", *FIELDS])
    for life in lives:
        labels = (life.labels.get(field, "") for field in FIELDS)
        writer.writerow([f"{life.ran:.10g}", f"{life.entered:.10g}", "yes" if life.ended else "no", *labels])
    return rows.getvalue()


class PointBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A step of a curve: share still good from there on, and how many were watched up to it."""

    at: float
    still_good: float
    watched: int


class KindBlock(msgspec.Struct, frozen=True, kw_only=True):
    """How long bearings of one kind last; null where too few have worn out to tell.

    Past `gap` the curve tells nothing: all watched by then were worn out, while others joined later.
    """

    name: str
    bearings: int
    worn: int
    median: float | None
    median_least: float | None
    median_most: float | None
    gap: float | None
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

    schema: Literal["acoustic.lifetimes/2"]
    measure: Measure
    began: str | None
    by: str | None
    kinds: tuple[KindBlock, ...]
    comparisons: tuple[ComparisonBlock, ...]
    joined: int
    left_out: int


def lifetimes_document(told: Lifetimes, taken: Taken) -> LifetimesDocument:
    """Lifetimes as they are written."""
    return LifetimesDocument(
        schema="acoustic.lifetimes/2",
        measure=told.measure,
        began=None if taken.began is None else taken.began.isoformat(),
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
        joined=taken.joined,
        left_out=taken.came_out + taken.unknown + told.unlabelled + told.past_most,
    )


def _kind(name: str, curve: Survival) -> KindBlock:
    return KindBlock(
        name=name,
        bearings=curve.lives,
        worn=curve.ended,
        median=curve.median,
        median_least=curve.median_low,
        median_most=curve.median_high,
        gap=curve.gap,
        curve=tuple(
            PointBlock(at=float(at), still_good=float(share), watched=int(count))
            for at, share, count in zip(curve.at, curve.share, curve.at_risk, strict=True)
        ),
    )
