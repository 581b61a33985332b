"""Limits of holes, bearings, clearances and surfaces by size, looked up in a table that names its sources.

No limits of shells' bores are built in: only hobby lists state any.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Literal, TypeVar

import msgspec

from acoustic.errors import InputError
from acoustic.structures import AboveZero, Text, checked, read_toml

Sized = Literal["grade", "hole", "bearing", "clearance"]
_FILE = Path(__file__).with_suffix(".toml")

GROUPS = ("C2", "CN", "C3", "C4")  # from the smallest clearance to the largest
_WORDS = {
    "grade": "ISO 286-1 tolerance grade",
    "hole": "ISO 286-2 hole",
    "bearing": "ISO 492 bearing diameter, normal class,",
    "clearance": "ISO 5753-1 clearance group",
    "finish": "surface finish",
    "material": "material",
}


@dataclass(frozen=True, slots=True)
class Limits:
    """Lowest and highest deviation from a nominal size, or lowest and highest clearance.

    Attributes
    ----------
    low_um, high_um : float
        Both ends [um], low_um <= high_um.
    source : str
        Who says so; 'measured' will do.

    Raises
    ------
    InputError
        An end is not a finite number, or the ends are the wrong way round.
    """

    low_um: float
    high_um: float
    source: str

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low_um) and math.isfinite(self.high_um) and self.low_um <= self.high_um):
            found = f"the limits {self.low_um} to {self.high_um} um are not a range of sizes"
            raise InputError(found, hint="Give both as numbers, the lower one first")

    @property
    def middle_um(self) -> float:
        """Half way between both ends [um]."""
        return (self.low_um + self.high_um) / 2


def grade_width_um(grade: str, size_mm: float) -> float:
    """Width of a standard tolerance grade of ISO 286-1.

    Parameters
    ----------
    grade : str
        'IT3' to 'IT7'.
    size_mm : float
        Nominal size [mm].

    Returns
    -------
    float
        Width [um].

    Raises
    ------
    InputError
        The grade is not in the table, or not for this size.
    """
    return _limits("grade", grade, size_mm).high_um


def hole_limits(zone: str, size_mm: float) -> Limits:
    """Limit deviations of a hole such as 'N7' by ISO 286-2, nominal size [mm]; refuses as `grade_width_um`."""
    return _limits("hole", zone, size_mm)


def outside_limits(size_mm: float) -> Limits:
    """Deviations of a normal-class bearing's mean outside diameter (ISO 492); refuses as `grade_width_um`."""
    return _limits("bearing", "outside", size_mm)


def bore_limits(size_mm: float) -> Limits:
    """Deviations of a normal-class bearing's mean bore (ISO 492); refuses as `grade_width_um`."""
    return _limits("bearing", "bore", size_mm)


def radial_clearance(group: str, bore_mm: float) -> Limits:
    """Radial internal clearance of a deep-groove ball bearing that is not mounted, by ISO 5753-1.

    Parameters
    ----------
    group : str
        One of `GROUPS`; an unmarked bearing is CN.
    bore_mm : float
        Nominal bore [mm].

    Raises
    ------
    InputError
        The group is not in the table, or not for this bore.
    """
    return _limits("clearance", group, bore_mm)


def roughness_allowance(finish: str) -> Limits:
    """What the surfaces' peaks take off an interference [um], both surfaces together.

    Parameters
    ----------
    finish : str
        'turned' (reamed and bored seats, turned cups), 'ground', or 'none' to take nothing off.

    Raises
    ------
    InputError
        The finish is not in the table.
    """
    row = _named("finish", _table().finish, finish)[0]
    return Limits(row.low_um, row.high_um, row.source)


def material_row(name: str) -> MaterialRow:
    """Look up a material; raises InputError where there is none of that name."""
    return _named("material", _table().material, name)[0]


def _limits(kind: Sized, name: str, size_mm: float) -> Limits:
    table = _table()
    kinds = {"grade": table.grade, "hole": table.hole, "bearing": table.bearing, "clearance": table.clearance}
    rows = _named(kind, kinds[kind], name)
    for row in rows:
        if row.over_mm < size_mm <= row.up_to_mm:
            return Limits(row.low_um, row.high_um, row.source)
    known = ", ".join(f"over {row.over_mm:g} up to {row.up_to_mm:g} mm" for row in rows)
    found = f"{_WORDS[kind]} {name} is known here for sizes {known}, but the size is {size_mm:g} mm"
    raise InputError(found, hint="Check the size, or take the limits from the standard and give them yourself")


class _Span(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    name: Text
    low_um: float
    high_um: float
    source: Text

    def __post_init__(self) -> None:
        if not self.low_um <= self.high_um:
            raise ValueError(f"field 'low_um': {self.low_um:g} um passes high_um, {self.high_um:g} um")


class _SizedSpan(_Span, frozen=True, forbid_unknown_fields=True, kw_only=True):
    over_mm: Annotated[float, msgspec.Meta(ge=0)]
    up_to_mm: AboveZero


class MaterialRow(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A material as the table has it; `Material` in interference.py says what the numbers are."""

    name: Text
    modulus_mpa: AboveZero
    poisson: Annotated[float, msgspec.Meta(ge=0, le=0.5)]
    strain_per_k: Annotated[float, msgspec.Meta(ge=0)]
    usual_wall_mm: AboveZero
    source: Text


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    grade: tuple[_SizedSpan, ...]
    hole: tuple[_SizedSpan, ...]
    bearing: tuple[_SizedSpan, ...]
    clearance: tuple[_SizedSpan, ...]
    finish: tuple[_Span, ...]
    material: tuple[MaterialRow, ...]


_Row = TypeVar("_Row", _SizedSpan, _Span, MaterialRow)


def _named(kind: str, rows: Sequence[_Row], name: str) -> list[_Row]:
    found = [row for row in rows if row.name == name]
    if not found:
        names = dict.fromkeys(row.name for row in rows)
        raise InputError(f"{_WORDS[kind]} {name!r} is not known here", hint=f"Use one of {', '.join(names)}")
    return found


@cache
def _table() -> _File:
    hint = "See the tables beside it for what each needs"
    return checked(read_toml(_FILE, hint=hint), _File, _FILE.name, hint=hint)
