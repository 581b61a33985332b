"""A fit sheet as text and as plain data."""

from __future__ import annotations

from typing import Literal

import msgspec

from acoustic.install.fit.interference import Joint, Span
from acoustic.install.fit.sheet import FitSheet
from acoustic.report.layout import paragraphs, sentence

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


class LimitsBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A range of lengths, and the likeliest in it [um]."""

    least: float
    likely: float
    most: float


class RowsBlock(msgspec.Struct, frozen=True, kw_only=True):
    """How many rows of balls the seats allow."""

    advisable: Literal["either", "single", "none"]
    because: tuple[str, ...]


class SeatBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The seat as measured, and what is said of its size and form; null where too little was measured."""

    mean_mm: float
    ovality_um: float | None
    taper_um: float | None
    uncertainty_um: float
    size: str
    roundness: str
    cylindricity: str
    because: tuple[str, ...]


class JointBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One interference fit: as measured, as the surfaces leave it, and what it takes off the clearance."""

    interference_um: LimitsBlock
    effective_um: LimitsBlock
    loss_um: LimitsBlock
    pressure_mpa: float | None


class FitDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic install fit --json` prints; lengths in micrometres unless named otherwise."""

    schema: Literal["acoustic.fit/1"]
    verdict: Literal["loose", "fits", "tight", "squeezed"]
    because: tuple[str, ...]
    rows: RowsBlock
    seat: SeatBlock
    shell: JointBlock
    spindle: JointBlock | None
    loss_um: LimitsBlock
    left_um: dict[str, LimitsBlock]
    group: str
    cautions: tuple[str, ...]


def fit_document(sheet: FitSheet) -> FitDocument:
    """A fit sheet as it is written."""
    seat, numbers = sheet.seat, sheet.numbers
    return FitDocument(
        schema="acoustic.fit/1",
        verdict=sheet.verdict,
        because=sheet.reasons,
        rows=RowsBlock(advisable=sheet.rows.rows, because=sheet.rows.reasons),
        seat=SeatBlock(
            mean_mm=seat.mean_mm,
            ovality_um=seat.ovality_um,
            taper_um=seat.taper_um,
            uncertainty_um=seat.uncertainty_um,
            size=sheet.judgement.size,
            roundness=sheet.judgement.roundness,
            cylindricity=sheet.judgement.cylindricity,
            because=sheet.judgement.reasons,
        ),
        shell=_joint(numbers.shell),
        spindle=None if numbers.spindle is None else _joint(numbers.spindle),
        loss_um=_limits(numbers.loss),
        left_um={group: _limits(span) for group, span in numbers.left_by_group.items()},
        group=numbers.group,
        cautions=sheet.cautions,
    )


def _form(ovality_um: float | None, taper_um: float | None) -> dict[str, float | None]:
    return {"ovality_um": ovality_um, "taper_um": taper_um}


def _joint(joint: Joint) -> JointBlock:
    return JointBlock(
        interference_um=_limits(joint.interference),
        effective_um=_limits(joint.effective),
        loss_um=_limits(joint.loss),
        pressure_mpa=joint.pressure_mpa,
    )


def _limits(span: Span) -> LimitsBlock:
    return LimitsBlock(least=span.low_um, likely=span.likely_um, most=span.high_um)


def _span(span: Span, what: str) -> str:
    return f"{what} {span.low_um:.0f} to {span.high_um:.0f} um, likely {span.likely_um:.0f}"
