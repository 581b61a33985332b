"""A fit sheet as text and as plain data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import msgspec

from acoustic.install.fit.advice import Fit, Rows, Verdict, surely
from acoustic.install.fit.interference import Joint, Span
from acoustic.install.fit.sheet import FitSheet
from acoustic.report.layout import paragraphs, sentence

VERDICT = {
    "out_of_round": "OUT OF ROUND: the seat is too oval to press into",
    "tapered": "TAPERED: the seat is wider at one end",
    "outside_limits": "OUTSIDE THE MAKER'S LIMITS",
    "out_of_line": "OUT OF LINE: the two seats are tilted too far for any ball bearing",
    "loose": "LOOSE: the fit likely has play",
    "tight": "TIGHT: too tight a fit is likely",
    "single_only": "NOT FOR A DOUBLE ROW: this seat takes a single row only",
    "fits": "FITS",
}
ROWS = {
    "either": "a single row, or a double row in one piece",
    "single": "a single row only",
    "none": "neither, before the seat is put right",
}


def fit_text(sheet: FitSheet, taken: tuple[str, ...] = ()) -> str:
    """Set a fit sheet for people, with what was taken that nobody measured."""
    head = VERDICT[sheet.verdict]
    if sheet.verdict == "fits":
        head += f"{'' if surely(sheet.chances) else ', not surely'} ({ROWS[sheet.rows.rows]})"
    elif sheet.verdict != sheet.fit:
        head += f"; by its mean size it {'fits' if sheet.fit == 'fits' else f'is {sheet.fit}'}"
    lines = [head, ""]
    lines += paragraphs("next", sheet.steps)
    lines += paragraphs("why", map(sentence, sheet.reasons))
    lines += paragraphs("rows", map(sentence, (f"advisable: {ROWS[sheet.rows.rows]}", *sheet.rows.reasons)))
    lines += paragraphs("seat", map(sentence, sheet.judgement.reasons))
    lines += ["", *_numbers(sheet), ""]
    lines += paragraphs("taken", taken)
    return "\n".join([*lines, "", *paragraphs("take care", sheet.cautions)])


def _numbers(sheet: FitSheet) -> list[str]:
    """The figures, likely (99 of 100) and at worst."""
    numbers, likely = sheet.numbers, sheet.chances
    met, worst = likely.interference, numbers.shell.interference
    ends = " to ".join(f"{um / 1e3:.2f}" for um in _even_zero(met.low_um, met.high_um))
    lines = paragraphs(
        "meets",
        (f"by {ends} mm ({_range(met)}; at worst {_range(worst)}); below 0 is play",),
    )
    if numbers.spindle is not None:
        lines += paragraphs("spindle", (f"over the bore by {_range(numbers.spindle.interference)} at worst",))
    lines += paragraphs("lost", (f"clearance {_range(likely.loss)}, at worst {numbers.loss.high_um:.0f}",))
    left = [f"{group} {_range(span)}" for group, span in likely.left_by_group.items()]
    if left:
        lines += paragraphs("left", (f"{'; '.join(left)} (this bearing: {numbers.group})",))
    return lines


def _range(span: Span) -> str:
    low_um, high_um = _even_zero(round(span.low_um), round(span.high_um))
    return f"{low_um:.0f} to {high_um:.0f} µm"


def _even_zero(*um: float) -> tuple[float, ...]:
    """Nothing that rounds to 0 is shown with a minus."""
    return tuple(0.0 if abs(one) < 1 else one for one in um)


class LimitsBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A range of lengths, and the likeliest in it [um]."""

    least: float
    likely: float
    most: float


class RowsBlock(msgspec.Struct, frozen=True, kw_only=True):
    """How many rows of balls the seats allow."""

    advisable: Rows
    because: tuple[str, ...]


class SeatBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The seat as measured, and what is said of its size and form; null where too little was measured."""

    mean_mm: float
    measured: bool
    ovality_um: float | None
    taper_um: float | None
    uncertainty_um: float
    size: str
    roundness: str
    cylindricity: str
    because: tuple[str, ...]


class JointBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One interference fit at the corners of all tolerances: as measured, as pressed, and what it takes."""

    interference_um: LimitsBlock
    effective_um: LimitsBlock
    loss_um: LimitsBlock
    share: float
    pressure_mpa: float | None


class ChancesBlock(msgspec.Struct, frozen=True, kw_only=True):
    """Chances, 0 to 1, of play, of nothing left of the clearance, and of more than the tightest listed fit."""

    play: float
    preload: float | None
    too_tight: float
    preload_by_group: dict[str, float]


class LikelyBlock(msgspec.Struct, frozen=True, kw_only=True):
    """Ranges that hold 99 of 100."""

    interference_um: LimitsBlock
    loss_um: LimitsBlock
    left_um: dict[str, LimitsBlock]


class FitDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic install fit --json` prints; lengths in micrometres unless named otherwise."""

    schema: Literal["acoustic.fit/2"]
    verdict: Verdict
    fit: Fit
    steps: tuple[str, ...]
    because: tuple[str, ...]
    rows: RowsBlock
    seat: SeatBlock
    chances: ChancesBlock
    likely: LikelyBlock
    shell: JointBlock
    spindle: JointBlock | None
    loss_um: LimitsBlock
    left_um: dict[str, LimitsBlock]
    group: str | None
    taken: tuple[str, ...]
    cautions: tuple[str, ...]


def fit_document(sheet: FitSheet, taken: tuple[str, ...] = ()) -> FitDocument:
    """A fit sheet as it is written."""
    seat, numbers = sheet.seat, sheet.numbers
    return FitDocument(
        schema="acoustic.fit/2",
        verdict=sheet.verdict,
        fit=sheet.fit,
        steps=sheet.steps,
        because=sheet.reasons,
        rows=RowsBlock(advisable=sheet.rows.rows, because=sheet.rows.reasons),
        seat=SeatBlock(
            mean_mm=seat.mean_mm,
            measured=not seat.drawn,
            ovality_um=seat.ovality_um,
            taper_um=seat.taper_um,
            uncertainty_um=seat.uncertainty_um,
            size=sheet.judgement.size,
            roundness=sheet.judgement.roundness,
            cylindricity=sheet.judgement.cylindricity,
            because=sheet.judgement.reasons,
        ),
        chances=ChancesBlock(
            play=sheet.chances.play,
            preload=sheet.chances.preload,
            too_tight=sheet.chances.too_tight,
            preload_by_group=dict(sheet.chances.preload_by_group),
        ),
        likely=LikelyBlock(
            interference_um=_limits(sheet.chances.interference),
            loss_um=_limits(sheet.chances.loss),
            left_um=_by_group(sheet.chances.left_by_group),
        ),
        shell=_joint(numbers.shell),
        spindle=None if numbers.spindle is None else _joint(numbers.spindle),
        loss_um=_limits(numbers.loss),
        left_um=_by_group(numbers.left_by_group),
        group=numbers.group,
        taken=taken,
        cautions=sheet.cautions,
    )


def _joint(joint: Joint) -> JointBlock:
    return JointBlock(
        interference_um=_limits(joint.interference),
        effective_um=_limits(joint.effective),
        loss_um=_limits(joint.loss),
        share=joint.press.share,
        pressure_mpa=joint.pressure_mpa,
    )


def _by_group(spans: Mapping[str, Span]) -> dict[str, LimitsBlock]:
    return {group: _limits(span) for group, span in spans.items()}


def _limits(span: Span) -> LimitsBlock:
    return LimitsBlock(least=span.low_um, likely=span.likely_um, most=span.high_um)
