"""A fit sheet as text and as plain data."""

from __future__ import annotations

import math
from typing import Any

from acoustic.install.fit.interference import Joint, Span
from acoustic.install.fit.sheet import FitSheet
from acoustic.report.layout import paragraphs, sentence

SCHEMA = "acoustic.fit/1"
VERDICT = {
    "loose": "LOOSE: the fit has play",
    "fits": "FITS",
    "tight": "TIGHT: the balls may be squeezed",
    "squeezed": "SQUEEZED: the balls are squeezed whatever the tolerances",
}
ROWS = {
    "either": "a single row, or a double row in one piece",
    "single": "a single row only",
    "none": "neither, before the seat is put right",
}


def fit_text(sheet: FitSheet) -> str:
    """Set a fit sheet for people."""
    seat, numbers = sheet.seat, sheet.numbers
    lines = [VERDICT[sheet.verdict], ""]
    lines += paragraphs("why", map(sentence, sheet.reasons))
    lines += paragraphs("rows", map(sentence, (f"advisable: {ROWS[sheet.rows.rows]}", *sheet.rows.reasons)))
    lines += paragraphs("seat", map(sentence, sheet.judgement.reasons))
    lines.append("")
    form = [
        f"{name.removesuffix('_um')} {value:.0f} um"
        for name, value in _form(seat.ovality_um, seat.taper_um).items()
        if value is not None
    ]
    lines += paragraphs("measured", (", ".join([f"bore {seat.mean_mm:.3f} mm", *form]),))
    lines += paragraphs("shell", (_span(numbers.shell.interference, "interference"),))
    if numbers.spindle is not None:
        lines += paragraphs("spindle", (_span(numbers.spindle.interference, "interference"),))
    lines += paragraphs("lost", (_span(numbers.loss, "clearance"),))
    left = [f"{group} {span.low_um:.0f} to {span.high_um:.0f} um" for group, span in numbers.left_by_group.items()]
    lines += paragraphs("left", (f"of each clearance group: {', '.join(left)} (this one: {numbers.group})",))
    return "\n".join([*lines, "", *paragraphs("take care", sheet.cautions)])


def fit_document(sheet: FitSheet) -> dict[str, Any]:
    """A fit sheet as plain data; lengths in micrometres unless named otherwise."""
    seat, numbers = sheet.seat, sheet.numbers
    return {
        "schema": SCHEMA,
        "verdict": sheet.verdict,
        "because": list(sheet.reasons),
        "rows": {"advisable": sheet.rows.rows, "because": list(sheet.rows.reasons)},
        "seat": {
            "mean_mm": seat.mean_mm,
            **_form(seat.ovality_um, seat.taper_um),
            "uncertainty_um": seat.uncertainty_um,
            "size": sheet.judgement.size,
            "roundness": sheet.judgement.roundness,
            "cylindricity": sheet.judgement.cylindricity,
            "because": list(sheet.judgement.reasons),
        },
        "shell": _joint(numbers.shell),
        "spindle": None if numbers.spindle is None else _joint(numbers.spindle),
        "loss_um": _limits(numbers.loss),
        "left_um": {group: _limits(span) for group, span in numbers.left_by_group.items()},
        "group": numbers.group,
        "cautions": list(sheet.cautions),
    }


def _form(ovality_um: float | None, taper_um: float | None) -> dict[str, float | None]:
    return {"ovality_um": ovality_um, "taper_um": taper_um}


def _joint(joint: Joint) -> dict[str, Any]:
    return {
        "interference_um": _limits(joint.interference),
        "effective_um": _limits(joint.effective),
        "loss_um": _limits(joint.loss),
        "pressure_mpa": _finite(joint.pressure_mpa),
    }


def _limits(span: Span) -> dict[str, float]:
    return {"least": span.low_um, "likely": span.likely_um, "most": span.high_um}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _span(span: Span, what: str) -> str:
    return f"{what} {span.low_um:.0f} to {span.high_um:.0f} um, likely {span.likely_um:.0f}"
