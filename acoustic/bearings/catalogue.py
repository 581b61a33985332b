"""The catalogue's rows, and reading them from TOML: the program's own and a user's.

TOML, since people edit it by hand and the standard library reads it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Literal

import msgspec

from acoustic.dsp.geometry import BearingGeometry
from acoustic.errors import InputError
from acoustic.structures import AboveZero, Text, checked, read_toml

Kind = Literal["deep groove", "full complement", "angular contact", "cup and cone", "one-piece unit"]
# Kinds without rings of their own between bore and outside: no sizes to check.
RINGLESS = ("cup and cone", "one-piece unit")
_BUILT_IN = Path(__file__).with_name("catalogue.toml")
_FILE_HINT = (
    "Check --catalogue and ACOUSTIC_CATALOGUE; write each bearing as a [[bearing]] table of designation, kind, "
    "ball_counts and so on"
)


@dataclass(frozen=True, slots=True)
class Fit:
    """Where a bearing is used.

    Attributes
    ----------
    place : str
        A shell by its size ("41 mm press-fit"), or a part ("hub").
    spindle_mm : float or None
        Diameter of the spindle it carries [mm], where the place has one.
    widths_mm : tuple of float
        Widths of that shell [mm].
    also : tuple of str
        What else the trade calls it.
    """

    place: str
    spindle_mm: float | None = None
    widths_mm: tuple[float, ...] = ()
    also: tuple[str, ...] = ()


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
        Boundary sizes [mm]; None for kinds that have none of their own.
    pitch_diameter_mm : float
    contact_angle_deg : float
    ball_sets : tuple of BallSet
        Likeliest first.
    kind : {'deep groove', 'full complement', 'angular contact', 'cup and cone', 'one-piece unit'}
    source : str
        Where the figures come from; the first clause says how sure the ball data are.
    fits : tuple of Fit
    rows : {1, 2}
        Rows of balls; the ball sets are of one of them.
    note : str
        What whoever handles it should know.
    """

    designation: str
    aliases: tuple[str, ...]
    bore_mm: float | None
    outside_mm: float | None
    width_mm: float | None
    pitch_diameter_mm: float
    contact_angle_deg: float
    ball_sets: tuple[BallSet, ...]
    kind: Kind
    source: str
    fits: tuple[Fit, ...]
    rows: int = 1
    note: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """The designation and its aliases."""
        return (self.designation, *self.aliases)

    @property
    def size(self) -> str:
        """Bore x outside x width in words, or what it is instead."""
        if self.bore_mm is None or self.outside_mm is None or self.width_mm is None:
            return "one body" if self.kind == "one-piece unit" else "no rings"
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


class _BallSet(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    balls: int
    ball_diameter_mm: AboveZero


class _Fit(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    place: Text
    spindle_mm: AboveZero | None = None


class _Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    designation: Text
    pitch_diameter_mm: AboveZero
    ball_diameter_mm: AboveZero
    ball_counts: Annotated[tuple[int | _BallSet, ...], msgspec.Meta(min_length=1)]
    kind: Kind
    source: Text
    bore_mm: AboveZero | None = None
    outside_mm: AboveZero | None = None
    width_mm: AboveZero | None = None
    aliases: tuple[Text, ...] = ()
    contact_angle_deg: Annotated[float, msgspec.Meta(ge=0)] = 0.0
    fits: tuple[_Fit, ...] = ()
    rows: Literal[1, 2] = 1
    note: str = ""

    def __post_init__(self) -> None:
        sizes = {"bore_mm": self.bore_mm, "outside_mm": self.outside_mm, "width_mm": self.width_mm}
        missing = [name for name, size in sizes.items() if size is None]
        if missing and (self.kind not in RINGLESS or len(missing) < len(sizes)):
            raise ValueError(f"field '{missing[0]}': it is missing")
        _check_room(self.as_row())

    def as_row(self) -> CatalogueRow:
        """The row as the catalogue lists it: every count with its ball."""
        return CatalogueRow(
            designation=self.designation.strip(),
            aliases=tuple(alias.strip() for alias in self.aliases),
            bore_mm=self.bore_mm,
            outside_mm=self.outside_mm,
            width_mm=self.width_mm,
            pitch_diameter_mm=self.pitch_diameter_mm,
            contact_angle_deg=self.contact_angle_deg,
            ball_sets=tuple(
                BallSet(count, self.ball_diameter_mm)
                if isinstance(count, int)
                else BallSet(count.balls, count.ball_diameter_mm)
                for count in self.ball_counts
            ),
            kind=self.kind,
            source=self.source.strip(),
            fits=tuple(Fit(fit.place.strip(), fit.spindle_mm) for fit in self.fits),
            rows=self.rows,
            note=self.note.strip(),
        )


class _Shell(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    place: Text
    source: Text
    widths_mm: tuple[AboveZero, ...] = ()
    also: tuple[Text, ...] = ()


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    bearing: Annotated[tuple[_Row, ...], msgspec.Meta(min_length=1)]
    shell: tuple[_Shell, ...] = ()


def _check_room(row: CatalogueRow) -> None:
    """Refuse balls that do not fit round the circle, or between bore and outside."""
    for ball_set in row.ball_sets:
        reach_mm = row.pitch_diameter_mm + ball_set.ball_diameter_mm
        if row.outside_mm is not None and reach_mm >= row.outside_mm:
            raise ValueError(
                f"field 'outside_mm': the balls reach out to {reach_mm:g} mm, past the outside of "
                f"{row.outside_mm:g} mm; one of outside_mm, pitch_diameter_mm and the ball diameter is wrong"
            )
        inner_mm = row.pitch_diameter_mm - ball_set.ball_diameter_mm
        if row.bore_mm is not None and inner_mm <= row.bore_mm:
            raise ValueError(
                f"field 'bore_mm': the balls reach in to {inner_mm:g} mm, past the bore of {row.bore_mm:g} mm; "
                "one of bore_mm, pitch_diameter_mm and the ball diameter is wrong"
            )
    try:
        row.geometries()
    except ValueError as error:
        raise ValueError(f"field 'ball_counts': {error}") from error


def _read_file(path: Path) -> tuple[list[tuple[str, CatalogueRow]], tuple[_Shell, ...]]:
    """Read and check one file: where each row stands, and the row; and the shells."""
    file = checked(read_toml(path, hint=_FILE_HINT), _File, str(path), hint=_FILE_HINT)
    rows = [
        (f"{path}, row {number} of [[bearing]] ({row.designation})", row.as_row())
        for number, row in enumerate(file.bearing, 1)
    ]
    return rows, file.shell


def _in_shells(row: CatalogueRow, shells: Mapping[str, _Shell]) -> CatalogueRow:
    """The row with what is known of the shells that it fits."""
    fits = [
        replace(fit, widths_mm=shells[fit.place].widths_mm, also=shells[fit.place].also)
        if fit.place in shells
        else fit
        for fit in row.fits
    ]
    return replace(row, fits=tuple(fits))


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
    rows, shells = _read_file(_BUILT_IN)
    if extra is not None:
        own, more = _read_file(extra)
        shells = (*shells, *more)
        replaced = {plain(row.designation) for _, row in own}
        rows = [(where, row) for where, row in rows if plain(row.designation) not in replaced] + own
    owners: dict[str, str] = {}
    for where, row in rows:
        for name in row.names:
            owner = owners.setdefault(plain(name), where)
            if owner != where:
                field = "designation" if name == row.designation else "aliases"
                hint = f"Rename this one, or use the other's designation to replace it ({owner})"
                raise InputError(f"{where}, field '{field}': another row has the name '{name}' already", hint=hint)
    known = {shell.place: shell for shell in shells}
    return tuple(_in_shells(row, known) for _, row in rows)


def plain(name: str) -> str:
    """Fold case, spaces and hyphens, so that one bearing has one spelling."""
    return re.sub(r"[\s\-_]", "", name).upper().replace("×", "X")
