"""Limits of holes, bearings, clearances and surfaces by size, looked up in a table that names its sources.

No limits of shells' bores are built in: only hobby lists state any.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from acoustic.errors import InputError

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
        'turned' (reamed and bored seats, turned cups) or 'ground'.

    Raises
    ------
    InputError
        The finish is not in the table.
    """
    row = named_row("finish", finish)
    return Limits(row["low_um"], row["high_um"], row["source"])


def named_row(kind: str, name: str) -> dict[str, Any]:
    """Look up a row that holds for all sizes; raises InputError where there is none of that name."""
    return _rows(kind, name)[0]


def _limits(kind: str, name: str, size_mm: float) -> Limits:
    rows = _rows(kind, name)
    for row in rows:
        if row["over_mm"] < size_mm <= row["up_to_mm"]:
            return Limits(row["low_um"], row["high_um"], row["source"])
    known = ", ".join(f"over {row['over_mm']} up to {row['up_to_mm']} mm" for row in rows)
    found = f"{_WORDS[kind]} {name} is known here for sizes {known}, but the size is {size_mm:g} mm"
    raise InputError(found, hint="Check the size, or take the limits from the standard and give them yourself")


def _rows(kind: str, name: str) -> list[dict[str, Any]]:
    rows = [row for row in _table()[kind] if row["name"] == name]
    if not rows:
        names = dict.fromkeys(row["name"] for row in _table()[kind])
        found = f"{_WORDS[kind]} {name!r} is not known here"
        raise InputError(found, hint=f"Use one of {', '.join(names)}")
    return rows


@cache
def _table() -> dict[str, list[dict[str, Any]]]:
    text = resources.files("acoustic.install.fit").joinpath("tolerances.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
