"""Lifetimes as text and as plain data."""

from __future__ import annotations

from typing import Any

from acoustic.lifetimes.kinds import Lifetimes
from acoustic.lifetimes.words import comparison_sentence, survival_sentence
from acoustic.report.layout import paragraphs, sentence

SCHEMA = "acoustic.lifetimes/1"


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
