"""Which kind of bearing unit, as text and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from acoustic.install.choose import Choice, ShopRecord, Situation
from acoustic.install.units import Point
from acoustic.report.layout import LABEL, paragraphs, sentence

KNOWN = {
    "size": {
        "right": "size right",
        "tight": "tight with a chance of one in ten or more",
        "loose": "loose with a chance of one in ten or more",
        "wrong": "outside its maker's limits",
        "unknown": "size not measured",
    },
    "form": {
        "true": "round and straight",
        "doubtful": "round and straight or not: the readings do not settle it",
        "untrue": "out of round or tapered",
        "unknown": "round and straight: not measured",
    },
    "line": {
        "true": "seats in line",
        "fair": "seats in line within 1/1000",
        "crooked": "seats out of line by more than 1/1000",
        "beyond": "seats out of line by more than 1/300",
        "unknown": "seats in line: not measured",
    },
}
UPKEEP = {"none": "nobody maintains it", "yearly": "greased yearly", "often": "greased often"}
PRACTICE = "common practice"
UNMEASURED = "What is not measured counts as out of true: the kind that forgives comes first."
CARE = "The makers' instructions and limits come first; points without a source are common practice."


def choose_text(situation: Situation, units: Sequence[Choice], seals: Sequence[Choice]) -> str:
    """Set a ranking for people: the first choice, why, the others in a line or two each."""
    best = units[0]
    lines = [f"{best.unit.name.upper()}, {seals[0].unit.name}", ""]
    lines += paragraphs("this is", (sentence(best.unit.built),))
    told = [KNOWN[name][getattr(situation, name)] for name in ("size", "form", "line")]
    told += [situation.shell, situation.use, UPKEEP[situation.upkeep]]
    lines += paragraphs("known", (sentence("; ".join(told)),))
    if "unknown" in (situation.size, situation.form, situation.line):
        lines += paragraphs("", (UNMEASURED,))
    lines.append("")
    for rank, one in enumerate(units, 1):
        lines += _unit(f"{rank}.", one)
    lines += ["", *(line for one in seals for line in _unit("seals", one))]
    return "\n".join([*lines, "", *paragraphs("take care", (CARE,))])


def _unit(label: str, one: Choice) -> list[str]:
    lines = paragraphs(label, (f"{one.unit.name} ({'not here' if one.ruled_out else f'{one.score:+d}'})",))
    if one.ruled_out:
        lines += _points("because", one.ruled_out)
    else:
        lines += [*_points("for", one.speaks_for), *_points("against", one.speaks_against)]
    if one.record is not None:
        lines += paragraphs("here", (record_words(one.record),), indent=LABEL)
    return lines


def _points(label: str, points: Sequence[Point]) -> list[str]:
    """Sentences with their basis, where it is more than common practice."""
    bases = [p.basis.removeprefix(PRACTICE).removeprefix("; ") for p in points]
    texts = [f"{p.says} [{basis}]" if basis else p.says for p, basis in zip(points, bases, strict=True)]
    return paragraphs(label, texts, indent=LABEL)


def record_words(record: ShopRecord) -> str:
    """What this shop's own bearings of a kind did."""
    head = f"in this shop {record.lives} of them, {record.worn} worn out"
    if record.median_days is None:
        return f"{head}; fewer than half have worn out yet"
    low = "0" if record.low_days is None else f"{record.low_days:.0f}"
    high = "more than was watched" if record.high_days is None else f"{record.high_days:.0f} days"
    return f"{head}: half last {record.median_days:.0f} days (nine times in ten {low} to {high})"


class PointBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A sentence for or against a kind, with its basis."""

    says: str
    basis: str
    weight: int


class ShopBlock(msgspec.Struct, frozen=True, kw_only=True):
    """How long the shop's own lasted; null where too few wore out."""

    lives: int
    worn: int
    median_days: float | None
    least_days: float | None
    most_days: float | None


class ChoiceBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One kind of unit or of seal."""

    code: str
    name: str
    score: int
    ruled_out: bool
    points: tuple[PointBlock, ...]
    shop: ShopBlock | None


class ChooseDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic install choose --json` prints: kinds of unit and of seal, the best first."""

    schema: Literal["acoustic.choose/1"]
    known: dict[str, str]
    units: tuple[ChoiceBlock, ...]
    seals: tuple[ChoiceBlock, ...]


def choose_document(situation: Situation, units: Sequence[Choice], seals: Sequence[Choice]) -> ChooseDocument:
    """A ranking as it is written."""
    names = ("size", "form", "line", "use", "upkeep", "shell", "spindle")
    return ChooseDocument(
        schema="acoustic.choose/1",
        known={name: getattr(situation, name) for name in names},
        units=tuple(map(_block, units)),
        seals=tuple(map(_block, seals)),
    )


def _block(one: Choice) -> ChoiceBlock:
    points = (*one.ruled_out, *one.speaks_for, *one.speaks_against)
    shop = one.record
    return ChoiceBlock(
        code=one.unit.code,
        name=one.unit.name,
        score=one.score,
        ruled_out=bool(one.ruled_out),
        points=tuple(PointBlock(says=point.says, basis=point.basis, weight=point.weight) for point in points),
        shop=None
        if shop is None
        else ShopBlock(
            lives=shop.lives,
            worn=shop.worn,
            median_days=shop.median_days,
            least_days=shop.low_days,
            most_days=shop.high_days,
        ),
    )
