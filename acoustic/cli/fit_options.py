"""The options that say what is pressed into what, for the commands that compute a fit."""

from __future__ import annotations

from collections.abc import Callable

import click

from acoustic.cli.bearing_options import catalogue_option
from acoustic.cli.questions import OTHER, WHICH_BEARING, under
from acoustic.cli.types import Number

SHELLS = ("aluminium", "steel", "stainless", "titanium", "magnesium", "carbon")
SPINDLES = ("steel", "stainless", "aluminium", "titanium", "carbon")
THICK, USUAL_GAUGE_UM = "thick", 5.0  # as acoustic.install.fit.asked has them, which a help text need not load

_SEAT = (
    click.option(
        "--bore",
        "readings",
        multiple=True,
        metavar="MM[@DEPTH[/DEG]]",
        help="A reading of the seat's bore, one option each: 36.982@5/90 is 5 mm deep, at 90 degrees.",
    ),
    click.option(
        "--gauge",
        "gauge_um",
        type=Number(above=0),
        metavar="UM",
        help=f"How far a reading may be off [um]; {USUAL_GAUGE_UM:g} if not given, 25 for a calliper.",
    ),
    click.option(
        "--limits",
        metavar="LOW:HIGH|ZONE",
        help="Bore that the frame's maker allows: smallest and largest [mm], or a zone such as N7. Without --bore "
        "the seat is taken as drawn.",
    ),
    click.option("--offset", type=Number(), metavar="MM", help="Distance between the axes of the two seats [mm]."),
    click.option("--shell-width", type=Number(), metavar="MM", help="Distance between the two seats [mm]."),
)
_PARTS = (
    click.option(
        "--group",
        type=click.Choice(["C2", "CN", "C3", "C4"]),
        default="CN",
        show_default=True,
        help="Clearance group marked on the bearing; CN if none is.",
    ),
    click.option(
        "--rings",
        type=click.Choice(["steel", "stainless"]),
        default="steel",
        show_default=True,
        help="What the bearing's rings are made of.",
    ),
    click.option("--rows", type=click.IntRange(1, 2), default=1, show_default=True, help="Rows of balls."),
    click.option(
        "--balls",
        type=click.Choice(["steel", "ceramic"]),
        default="steel",
        show_default=True,
        help="What its balls are made of.",
    ),
    click.option(
        "--shell",
        type=click.Choice(SHELLS),
        default="aluminium",
        show_default=True,
        help="What the shell about the seat is made of.",
    ),
    click.option(
        "--shell-outside",
        metavar=f"MM|{THICK}",
        help=f"Outside diameter of the shell's wall [mm], or {THICK}; a usual one if not given.",
    ),
    click.option(
        "--finish",
        type=click.Choice(["turned", "ground", "none"]),
        default="turned",
        show_default=True,
        help="The seat's surface; none takes nothing off for its peaks.",
    ),
    click.option(
        "--cup",
        metavar="MM:LOW:HIGH:MATERIAL",
        help="A cup around the bearing [mm, um], for example 41:-20:0:polyamide.",
    ),
    click.option("--spindle", type=Number(), metavar="MM", help="Measured diameter of a pressed spindle [mm]."),
    click.option(
        "--spindle-bore", type=Number(), default=0.0, metavar="MM", help="Bore of a hollow spindle [mm]."
    ),
    click.option(
        "--spindle-metal",
        type=click.Choice(SPINDLES),
        default="steel",
        show_default=True,
        help="What the spindle is made of.",
    ),
)
_TEMPERATURES = (
    click.option(
        "--shell-temp",
        type=Number(),
        metavar="C",
        help="Temperature of the shell while it was measured [C], the gauge at 20; 20 if not given.",
    ),
    click.option("--ride-temp", type=Number(), metavar="C", help="Temperature in use [C]; 20 if not given."),
    click.option(
        "--press-temp", type=Number(), metavar="C", help="Temperature of a warmed shell at pressing [C]."
    ),
    click.option(
        "--warmer",
        type=Number(),
        default=0.0,
        metavar="K",
        help="How much warmer the inner ring is than the outer [K].",
    ),
)
_SURE = click.option("--sure", is_flag=True, help="The sizes are right, however unlikely they look.")


def fit_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add the options of a fit: seat, parts, temperatures."""
    command = under(OTHER, _SURE)(under(WHICH_BEARING, catalogue_option)(command))
    command = under("How warm", *_TEMPERATURES)(command)
    return under("What was measured", *_SEAT)(under("What is pressed into what", *_PARTS)(command))
