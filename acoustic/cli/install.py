"""`acoustic install`: before a bearing is pressed, after it, and the finished crank."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.bearing_options import catalogue_option
from acoustic.cli.book_options import book_option, opened
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.records import Visit
    from acoustic.install.fit.parts import Cup, FittedBearing, Spindle
    from acoustic.install.fit.seat import BoreReading, SizeLimits
    from acoustic.install.spins import Told

METALS = ("aluminium", "steel", "titanium")


@click.group(short_help="Check a fresh install: fit, seat, final spin.")
def install() -> None:
    """Check a fresh install: the fit before pressing, what the seat did, the final spin."""


@install.command()
@click.option("--bearing", "name", required=True, metavar="NAME", help="Designation or size: 6805 or 25x37x7.")
@click.option(
    "--bore",
    "readings",
    multiple=True,
    required=True,
    metavar="MM[@DEPTH[/DEG]]",
    help="A reading of the seat's bore, one option each: 36.982@5/90 is 5 mm deep, at 90 degrees.",
)
@click.option(
    "--gauge",
    "gauge_um",
    type=click.FloatRange(min=0),
    default=5.0,
    show_default=True,
    metavar="UM",
    help="How far a reading may be off [um].",
)
@click.option("--limits", metavar="LOW:HIGH", help="Smallest and largest bore that the frame's maker allows [mm].")
@click.option(
    "--group",
    type=click.Choice(["C2", "CN", "C3", "C4"]),
    default="CN",
    show_default=True,
    help="Clearance group marked on the bearing; CN if none is.",
)
@click.option(
    "--shell", type=click.Choice(METALS), default="aluminium", show_default=True, help="Metal of the shell."
)
@click.option("--shell-outside", type=float, metavar="MM", help="Outside diameter of the shell's wall [mm].")
@click.option(
    "--cup",
    metavar="MM:LOW:HIGH:MATERIAL",
    help="A cup around the bearing [mm, um], for example 41:-20:0:polyamide.",
)
@click.option("--spindle", type=float, metavar="MM", help="Measured diameter of the spindle [mm].")
@click.option("--spindle-bore", type=float, default=0.0, metavar="MM", help="Bore of a hollow spindle [mm].")
@click.option(
    "--spindle-metal", type=click.Choice(METALS), default="steel", show_default=True, help="Metal of the spindle."
)
@click.option("--offset", type=float, metavar="MM", help="Distance between the axes of the two seats [mm].")
@click.option("--shell-width", type=float, metavar="MM", help="Distance between the two seats [mm].")
@click.option(
    "--warmer", type=float, default=0.0, metavar="K", help="How much warmer the inner ring is than the outer [K]."
)
@catalogue_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the sheet.")
def fit(as_json: bool, **said: Any) -> None:
    """Compute how much clearance a measured seat leaves in a bearing, before it is pressed in.

    Measure the bore at the mouth and deeper, in two directions each. The makers of frame
    and bearing have the last word. Ream and face a frame only if you are equipped for it.
    """
    from acoustic.install.fit.interference import material
    from acoustic.install.fit.parts import Shell
    from acoustic.install.fit.seat import measure_seat
    from acoustic.install.fit.sheet import fit_sheet
    from acoustic.report.fit_text import fit_document, fit_text
    from acoustic.structures import encode

    sheet = fit_sheet(
        measure_seat([_reading(text) for text in said["readings"]], uncertainty_um=said["gauge_um"]),
        _bearing(said["name"], said["catalogue"], said["group"]),
        Shell(material=material(said["shell"]), outside_mm=said["shell_outside"]),
        cup=_cup(said["cup"]),
        spindle=_spindle(said["spindle"], said["spindle_bore"], said["spindle_metal"], said["gauge_um"]),
        limits=_limits(said["limits"]),
        tilt_rad=_tilt_rad(said["offset"], said["shell_width"]),
        inner_warmer_k=said["warmer"],
    )
    click.echo(encode(fit_document(sheet)) if as_json else fit_text(sheet))


def _number(text: str, where: str, example: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(f"{where}: {text or 'nothing'} is not a number", hint=f"Write {example}.") from None


def _reading(text: str) -> BoreReading:
    from acoustic.install.fit.seat import BoreReading

    size, _, place = text.partition("@")
    depth, _, direction = place.partition("/")
    where, example = f"--bore {text}", "36.982, 36.982@5 or 36.982@5/90"
    return BoreReading(
        _number(size, where, example),
        depth_mm=_number(depth, where, example) if depth else None,
        direction_deg=_number(direction, where, example) if direction else None,
    )


def _bearing(name: str, catalogue: Path | None, group: str) -> FittedBearing:
    from acoustic.bearings.catalogue import load_catalogue
    from acoustic.bearings.search import find
    from acoustic.install.fit.parts import FittedBearing

    row = find(load_catalogue(catalogue), name)
    if row.bore_mm is None or row.outside_mm is None:
        raise InputError(
            f"{row.designation} has no bore and outside diameter in the catalogue",
            hint="Name a ring bearing, or add one of your own with --catalogue.",
        )
    return FittedBearing(
        bore_mm=row.bore_mm,
        outside_mm=row.outside_mm,
        ball_diameter_mm=row.ball_sets[0].ball_diameter_mm,
        pitch_diameter_mm=row.pitch_diameter_mm,
        group=group,
    )


def _cup(text: str | None) -> Cup | None:
    if text is None:
        return None
    from acoustic.install.fit.interference import material
    from acoustic.install.fit.parts import Cup
    from acoustic.install.fit.tolerances import Limits

    size, low, high, name = [*text.split(":"), "", "", "", ""][:4]
    example = "41:-20:0:polyamide: outside [mm], its least and most deviation [um], what it is made of"
    numbers = [_number(part, f"--cup {text}", example) for part in (size, low, high)]
    return Cup(
        outside_mm=numbers[0],
        outside=Limits(numbers[1], numbers[2], "as measured"),
        material=material(name),
    )


def _spindle(outside_mm: float | None, inside_mm: float, metal: str, gauge_um: float) -> Spindle | None:
    if outside_mm is None:
        return None
    from acoustic.install.fit.interference import material
    from acoustic.install.fit.parts import Spindle

    return Spindle(outside_mm=outside_mm, inside_mm=inside_mm, material=material(metal), uncertainty_um=gauge_um)


def _limits(text: str | None) -> SizeLimits | None:
    if text is None:
        return None
    from acoustic.install.fit.seat import SizeLimits

    low, _, high = text.partition(":")
    numbers = [_number(part, f"--limits {text}", "36.970:36.990 [mm]") for part in (low, high)]
    return SizeLimits(numbers[0], numbers[1], "the frame's maker, as given")


def _tilt_rad(offset_mm: float | None, width_mm: float | None) -> float | None:
    if (offset_mm is None) != (width_mm is None):
        raise InputError(
            "--offset and --shell-width are needed together, and only one was given",
            hint="Give both, or leave both out.",
        )
    if offset_mm is None or width_mm is None:
        return None
    from acoustic.install.fit.advice import tilt_of_seats_rad

    return tilt_of_seats_rad(offset_mm, width_mm)


@install.command()
@click.argument("bike")
@book_option
def seat(bike: str, book: str | None) -> None:
    """Compare the bearing of BIKE in the hand with the same bearing pressed into its seat.

    Record the bearing free in the hand and again in its seat, and add both:
    acoustic visit add --bike BIKE --kind free REC, then --kind pressed.
    """
    from acoustic.install.spins import what_the_seat_did

    visits = _visits(bike, book)
    free, pressed = (_newest(visits, kind, bike) for kind in ("free", "pressed"))
    told = what_the_seat_did(*([judged.check for judged in one.verdicts] for one in (free, pressed)))
    _say(told, f"visit {free.number} in the hand, visit {pressed.number} in its seat")


@install.command()
@click.argument("bike")
@book_option
def final(bike: str, book: str | None) -> None:
    """Say whether the finished install of BIKE runs clean. Later visits are compared with it.

    Set the preload so that the play is just gone, spin the crank by hand with the chain
    off, and add it: acoustic visit add --bike BIKE --kind final REC.
    """
    from acoustic.install.spins import runs_clean

    newest = _newest(_visits(bike, book), "final", bike)
    _say(runs_clean(newest.verdicts[-1].check), f"visit {newest.number}, {newest.on_date}")


def _visits(bike: str, book: str | None) -> tuple[Visit, ...]:
    from acoustic.book.bikes import require_bike
    from acoustic.book.visits import list_visits

    with opened(book) as it, it.reading() as connection:
        require_bike(connection, bike)
        return list_visits(connection, bike=bike)


def _newest(visits: tuple[Visit, ...], kind: str, bike: str) -> Visit:
    found = [visit for visit in visits if visit.kind == kind and visit.verdicts]
    if not found:
        raise InputError(
            f"the book has no recording of the kind '{kind}' for {bike}",
            hint=f"Add it with: acoustic visit add --bike '{bike}' --kind {kind} REC",
        )
    return found[-1]


def _say(told: Told, rests_on: str) -> None:
    from acoustic.report.layout import paragraphs

    lines = [f"{told.outcome.upper()}  ({rests_on})", ""]
    lines += paragraphs("why", told.reasons)
    lines += paragraphs("next", told.advice)
    click.echo("\n".join(lines))
