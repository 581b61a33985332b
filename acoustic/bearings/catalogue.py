"""The catalogue's rows, and reading them from TOML: the program's own and a user's.

TOML, since people edit it by hand and the standard library reads it.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from acoustic.dsp.geometry import BearingGeometry
from acoustic.errors import InputError

KINDS = ("deep groove", "angular contact", "cup and cone")
_REQUIRED = ("designation", "pitch_diameter_mm", "ball_diameter_mm", "ball_counts", "kind", "source")
_SIZES = ("bore_mm", "outside_mm", "width_mm")
_FIELDS = (*_REQUIRED, *_SIZES, "aliases", "contact_angle_deg", "fits")
_BUILT_IN = Path(__file__).with_name("catalogue.toml")
_FILE_HINT = "Write each bearing as a [[bearing]] table of designation, kind, ball_counts and so on"


@dataclass(frozen=True, slots=True)
class Fit:
    """Where a bearing is used.

    Attributes
    ----------
    place : str
        A shell by its size ("41 mm press-fit"), or a part ("hub").
    spindle_mm : float or None
        Diameter of the spindle it carries [mm], where the place has one.
    """

    place: str
    spindle_mm: float | None = None


@dataclass(frozen=True, slots=True)
class BallSet:
    """A ball count and ball diameter [mm] that some maker builds."""

    balls: int
    ball_diameter_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CatalogueRow:
    """One bearing of the catalogue.

    Attributes
    ----------
    designation : str
    aliases : tuple of str
    bore_mm, outside_mm, width_mm : float or None
        Boundary sizes [mm]; None for a cup and cone, which has none of its own.
    pitch_diameter_mm : float
    contact_angle_deg : float
    ball_sets : tuple of BallSet
        Likeliest first.
    kind : str
        One of `KINDS`.
    source : str
        Where the figures come from; the first clause says how sure the ball data are.
    fits : tuple of Fit
    """

    designation: str
    aliases: tuple[str, ...]
    bore_mm: float | None
    outside_mm: float | None
    width_mm: float | None
    pitch_diameter_mm: float
    contact_angle_deg: float
    ball_sets: tuple[BallSet, ...]
    kind: str
    source: str
    fits: tuple[Fit, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The designation and its aliases."""
        return (self.designation, *self.aliases)

    @property
    def size(self) -> str:
        """Bore x outside x width in words, or "no rings" for a cup and cone."""
        if self.bore_mm is None or self.outside_mm is None or self.width_mm is None:
            return "no rings"
        return f"{self.bore_mm:g} x {self.outside_mm:g} x {self.width_mm:g}"

    def geometries(self) -> tuple[BearingGeometry, ...]:
        """Every geometry that makers build, likeliest first, inner ring turning."""
        return tuple(
            BearingGeometry(
                balls=ball_set.balls,
                ball_diameter_mm=ball_set.ball_diameter_mm,
                pitch_diameter_mm=self.pitch_diameter_mm,
                contact_angle_deg=self.contact_angle_deg,
            )
            for ball_set in self.ball_sets
        )


@dataclass(frozen=True, slots=True)
class _Table:
    """A TOML table being read, with where it stands for the messages."""

    where: str
    values: dict[str, Any]

    def wrong(self, field: str, found: str, hint: str) -> InputError:
        return InputError(f"{self.where}, field '{field}': {found}", hint=hint)

    def check_fields(self, required: Sequence[str], known: Sequence[str]) -> None:
        for field in required:
            if field not in self.values:
                raise self.wrong(field, "it is missing", f"Add {field} to this row")
        for field in self.values:
            if field not in known:
                fields = ", ".join(known)
                raise self.wrong(field, "no such field is known", f"Remove it or use one of {fields}")

    def text(self, field: str) -> str:
        value = self.values[field]
        if not isinstance(value, str) or not value.strip():
            raise self.wrong(field, f"text is needed, got {value!r}", f'Write it as {field} = "..."')
        return value.strip()

    def number(self, field: str, *, zero_allowed: bool = False, default: float | None = None) -> float:
        value = self.values.get(field, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.wrong(field, f"a number is needed, got {value!r}", f"Write it as {field} = 12.5")
        if not math.isfinite(value) or value < 0 or (value == 0 and not zero_allowed):
            lowest = "0 or more" if zero_allowed else "above 0"
            raise self.wrong(field, f"a number {lowest} is needed, got {value}", "Correct the number")
        return float(value)

    def whole(self, field: str) -> int:
        value = self.values[field]
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.wrong(field, f"a whole number is needed, got {value!r}", f"Write it as {field} = 16")
        return value

    def items(self, field: str, *, example: str) -> list[Any]:
        value = self.values.get(field, [])
        if not isinstance(value, list):
            raise self.wrong(field, f"a list is needed, got {value!r}", f"Write it as {field} = {example}")
        return value


def _read_fit(table: _Table, item: object) -> Fit:
    if not isinstance(item, dict):
        example = '{place = "41 mm press-fit", spindle_mm = 24.0}'
        raise table.wrong("fits", f"each entry must be a table, got {item!r}", f"Write it as {example}")
    entry = _Table(f"{table.where}, field 'fits'", item)
    entry.check_fields(["place"], ["place", "spindle_mm"])
    return Fit(entry.text("place"), entry.number("spindle_mm") if "spindle_mm" in item else None)


def _read_ball_set(table: _Table, item: object, diameter_mm: float) -> BallSet:
    if not isinstance(item, dict):
        return BallSet(_Table(table.where, {"ball_counts": item}).whole("ball_counts"), diameter_mm)
    entry = _Table(f"{table.where}, field 'ball_counts'", item)
    fields = ["balls", "ball_diameter_mm"]
    entry.check_fields(fields, fields)
    return BallSet(entry.whole("balls"), entry.number("ball_diameter_mm"))


def _read_alias(table: _Table, item: object) -> str:
    return _Table(table.where, {"aliases": item}).text("aliases")


def _check_room(table: _Table, row: CatalogueRow) -> None:
    """Refuse balls that do not fit round the circle, or between bore and outside."""
    for ball_set in row.ball_sets:
        reach_mm = row.pitch_diameter_mm + ball_set.ball_diameter_mm
        if row.outside_mm is not None and reach_mm >= row.outside_mm:
            raise table.wrong(
                "outside_mm",
                f"the balls reach out to {reach_mm:g} mm, past the outside of {row.outside_mm:g} mm",
                "Correct outside_mm, pitch_diameter_mm or the ball diameter",
            )
        inner_mm = row.pitch_diameter_mm - ball_set.ball_diameter_mm
        if row.bore_mm is not None and inner_mm <= row.bore_mm:
            raise table.wrong(
                "bore_mm",
                f"the balls reach in to {inner_mm:g} mm, past the bore of {row.bore_mm:g} mm",
                "Correct bore_mm, pitch_diameter_mm or the ball diameter",
            )
    try:
        row.geometries()
    except ValueError as error:
        raise table.wrong("ball_counts", str(error), "Correct the counts or the diameters") from error


def _read_row(table: _Table) -> CatalogueRow:
    table.check_fields(_REQUIRED, _FIELDS)
    kind = table.text("kind")
    if kind not in KINDS:
        raise table.wrong("kind", f"no such kind is known: {kind!r}", f"Use one of {', '.join(KINDS)}")
    if kind != "cup and cone" or any(field in table.values for field in _SIZES):
        table.check_fields(_SIZES, _FIELDS)
    sizes = {field: table.number(field) if field in table.values else None for field in _SIZES}
    diameter_mm = table.number("ball_diameter_mm")
    counts = table.items("ball_counts", example="[16, 15]")
    if not counts:
        raise table.wrong("ball_counts", "the list is empty", "Name at least one ball count")
    row = CatalogueRow(
        designation=table.text("designation"),
        aliases=tuple(_read_alias(table, item) for item in table.items("aliases", example='["61805"]')),
        **sizes,
        pitch_diameter_mm=table.number("pitch_diameter_mm"),
        contact_angle_deg=table.number("contact_angle_deg", zero_allowed=True, default=0.0),
        ball_sets=tuple(_read_ball_set(table, item, diameter_mm) for item in counts),
        kind=kind,
        source=table.text("source"),
        fits=tuple(_read_fit(table, item) for item in table.items("fits", example='[{place = "hub"}]')),
    )
    _check_room(table, row)
    return row


def _read_file(path: Path) -> list[tuple[str, CatalogueRow]]:
    """Read and check one file: where each row stands, and the row."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        found = f"{path}: the bearing catalogue cannot be read: {error.strerror or error}"
        raise InputError(found, hint="Check --catalogue and ACOUSTIC_CATALOGUE") from error
    except ValueError as error:  # not TOML, or not UTF-8
        raise InputError(f"{path}: a TOML file is needed, but {error}", hint=_FILE_HINT) from error
    unknown = [key for key in content if key != "bearing"]
    if unknown:
        raise InputError(f"{path}: '{unknown[0]}' is not known at the top of a catalogue", hint=_FILE_HINT)
    tables = content.get("bearing", [])
    if not isinstance(tables, list) or not tables or not all(isinstance(table, dict) for table in tables):
        raise InputError(f"{path}: no rows were found; at least one is needed", hint=_FILE_HINT)
    rows = []
    for number, values in enumerate(tables, start=1):
        where = f"{path}, row {number} ({values.get('designation', 'no designation')})"
        rows.append((where, _read_row(_Table(where, values))))
    return rows


def load_catalogue(extra: Path | None = None) -> tuple[CatalogueRow, ...]:
    """Read the bearing catalogue.

    Parameters
    ----------
    extra : Path or None
        A user's own TOML file in the form of the program's: its rows are added,
        and replace rows of the same designation.

    Returns
    -------
    tuple of CatalogueRow

    Raises
    ------
    InputError
        The file cannot be read or is not TOML; or a row lacks a field, has an
        unknown one, one of the wrong type, balls that do not fit, or a name that
        another row has. The message names file, row and field.
    """
    rows = _read_file(_BUILT_IN)
    if extra is not None:
        own = _read_file(extra)
        replaced = {plain(row.designation) for _, row in own}
        rows = [(where, row) for where, row in rows if plain(row.designation) not in replaced] + own
    owners: dict[str, str] = {}
    for where, row in rows:
        for name in row.names:
            owner = owners.setdefault(plain(name), where)
            if owner != where:
                field = "designation" if name == row.designation else "aliases"
                hint = f"Rename this one, or use the other's designation to replace it ({owner})"
                raise _Table(where, {}).wrong(field, f"another row has the name '{name}' already", hint)
    return tuple(row for _, row in rows)


def plain(name: str) -> str:
    """Fold case, spaces and hyphens, so that one bearing has one spelling."""
    return re.sub(r"[\s\-_]", "", name).upper().replace("×", "X")
