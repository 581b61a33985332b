"""The table of bearing units: kinds, what speaks for and against each, and how the book's labels name them."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Annotated, Literal

import msgspec

from acoustic.structures import Text, checked, read_toml

Size = Literal["right", "tight", "loose", "wrong", "unknown"]
Form = Literal["true", "doubtful", "untrue", "unknown"]
Line = Literal["true", "fair", "crooked", "beyond", "unknown"]
Use = Literal["racing", "everyday", "wet", "off-road"]
Upkeep = Literal["none", "yearly", "often"]
Bore = Literal["thin", "thick", "unknown"]
_FILE = Path(__file__).with_suffix(".toml")


class Unit(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A kind of unit; `seal` where it is a kind of seal, which goes with any of the others."""

    code: Text
    name: Text
    built: Text
    seal: bool = False


class When(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Values that facts must have, one of those named; nothing where a fact does not matter."""

    size: tuple[Size, ...] = ()
    form: tuple[Form, ...] = ()
    line: tuple[Line, ...] = ()
    use: tuple[Use, ...] = ()
    upkeep: tuple[Upkeep, ...] = ()
    shell: tuple[Text, ...] = ()
    spindle: tuple[Bore, ...] = ()


class Point(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What speaks for or against units, or rules them out, where `when` holds."""

    units: Annotated[tuple[Text, ...], msgspec.Meta(min_length=1)]
    says: Text
    basis: Text
    weight: Annotated[int, msgspec.Meta(ge=-3, le=3)] = 0
    rules_out: bool = False
    when: When = When()


class Record(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Words that a bearing's labels must all hold to be of a unit."""

    unit: Text
    words: Annotated[tuple[Text, ...], msgspec.Meta(min_length=1)]


class UnitTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The whole table."""

    unit: tuple[Unit, ...]
    point: tuple[Point, ...]
    record: tuple[Record, ...]

    def __post_init__(self) -> None:
        known = {unit.code for unit in self.unit}
        named = {code for point in self.point for code in point.units} | {row.unit for row in self.record}
        if named - known:
            raise ValueError(f"no such unit: {', '.join(sorted(named - known))}")
        for point in self.point:
            if point.rules_out == bool(point.weight):
                raise ValueError(f"{point.says!r} needs either a weight or rules_out")


@cache
def unit_table() -> UnitTable:
    """Read the table."""
    hint = "See the rows beside it for what each needs"
    return checked(read_toml(_FILE, hint=hint), UnitTable, _FILE.name, hint=hint)
