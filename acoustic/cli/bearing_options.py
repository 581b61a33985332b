"""The options that say which bearing is meant, for every command that needs one."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.questions import WHICH_BEARING, under
from acoustic.cli.types import Number
from acoustic.dsp.geometry import Ring

if TYPE_CHECKING:
    from acoustic.model import Bearing

Command = Callable[..., None]

catalogue_option = click.option(
    "--catalogue",
    type=click.Path(path_type=Path),
    metavar="FILE",
    envvar="ACOUSTIC_CATALOGUE",
    show_envvar=True,
    help="File (TOML) of your own bearings. They add to the catalogue, or replace an equal designation.",
)

_OPTIONS = (
    click.option("--bearing", "name", metavar="NAME", help="Designation or size: 6805 or 25x37x7."),
    click.option(
        "--balls",
        type=int,
        metavar="N",
        help="Number of balls in one row, if counted; it replaces the catalogue's.",
    ),
    click.option("--ball-diameter", "ball_diameter_mm", type=Number(), metavar="MM", help="Ball diameter [mm]."),
    click.option(
        "--pitch-diameter",
        "pitch_diameter_mm",
        type=Number(),
        metavar="MM",
        help="Diameter of the circle through the ball centres [mm].",
    ),
    click.option(
        "--contact-angle",
        "contact_angle_deg",
        type=Number(),
        metavar="DEG",
        help="Contact angle [degrees]; 0 unless the catalogue has another.",
    ),
    click.option(
        "--turning",
        type=click.Choice(["inner", "outer"], case_sensitive=False),
        default="inner",
        show_default=True,
        help="The ring that turns.",
    ),
    click.option(
        "--rows",
        type=click.IntRange(1, 2),
        help="Rows of balls in the bearing. [default: the catalogue's, or 1]",
    ),
    catalogue_option,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BearingChoice:
    """What the user said about the bearing, not looked up yet.

    Attributes
    ----------
    name : str or None
    balls : int or None
    ball_diameter_mm, pitch_diameter_mm : float or None
    contact_angle_deg : float or None
    turning : {'inner', 'outer'}
    rows : int or None
    catalogue : Path or None
    """

    name: str | None
    balls: int | None
    ball_diameter_mm: float | None
    pitch_diameter_mm: float | None
    contact_angle_deg: float | None
    turning: Ring
    rows: int | None
    catalogue: Path | None

    def resolve(self) -> Bearing:
        """Look the bearing up.

        Raises
        ------
        InputError
            No such bearing is known or can be built.
        """
        from acoustic.bearings.search import resolve_bearing  # reads tables, which --help does not need

        return resolve_bearing(**asdict(self))


def bearing_options(command: Command) -> Command:
    """Add the bearing options; the command gets them as one `BearingChoice` named `bearing`."""

    @functools.wraps(command)
    def with_choice(**values: Any) -> None:
        said = {field.name: values.pop(field.name) for field in fields(BearingChoice)}
        command(bearing=BearingChoice(**said), **values)

    return under(WHICH_BEARING, *_OPTIONS)(with_choice)
