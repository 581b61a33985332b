"""`acoustic bike`: the bikes in the book, and the bearings that sit in them."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from acoustic.book.records import USES
from acoustic.cli.book_options import book_option, day_option, opened, table

if TYPE_CHECKING:
    from acoustic.book.records import Fitted

SIDES = ("drive", "non-drive")
FITTED = (
    click.option(
        "--side",
        type=click.Choice(SIDES),
        default=None,
        help="Its side, if the two sides have different bearings.",
    ),
    click.option("--bearing", "designation", metavar="NAME", help="Designation, for example 6805."),
    click.option("--rows", type=click.IntRange(1, 2), help="Rows of balls in one bearing."),
    click.option("--seal", metavar="WORDS", help="Kind of seal: contact, low-friction, shield ..."),
    click.option("--shell", metavar="WORDS", help="Kind of shell: press-fit 41 mm, press-fit 46 mm, threaded ..."),
    click.option("--shell-width", "shell_width_mm", type=float, metavar="MM", help="Width of the shell [mm]."),
    click.option("--bore", "bore_mm", type=float, metavar="MM", help="Measured bore of the seat [mm]."),
    click.option("--spindle", "spindle_mm", type=float, metavar="MM", help="Spindle diameter [mm]."),
    click.option("--use", type=click.Choice(USES), help="How the bike is ridden."),
    click.option("--supplier", metavar="WORDS", help="Who sold the bearing."),
    click.option("--lot", metavar="WORDS", help="Lot or batch on its box."),
    click.option(
        "--km",
        "installed_km",
        type=click.FloatRange(min=0),
        metavar="KM",
        help="Total distance that the bike had ridden when it went in.",
    ),
)


@click.group(short_help="Keep a list of bikes and their bearings.")
def bike() -> None:
    """Keep a list of bikes and their bearings.

    Any name will do that tells a bike from the others: a ticket number, a colour. Leave
    out the customer's name.
    """


@bike.command()
@click.argument("name")
@click.option("--notes", default="", metavar="WORDS", help="Free text; leave out the owner's name.")
@book_option
def add(name: str, notes: str, book: str | None) -> None:
    """Add the bike NAME."""
    from acoustic.book.bikes import add_bike

    with opened(book) as it, it.writing() as connection:
        add_bike(connection, name, notes=notes)
    click.echo(f"{name} is in the book.")


@bike.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the table.")
@book_option
def list_bikes(as_json: bool, book: str | None) -> None:
    """List the bikes and the bearing in each."""
    from acoustic.book.bikes import all_bearings, all_bikes

    with opened(book) as it, it.reading() as connection:
        bikes, bearings = all_bikes(connection), all_bearings(connection)
    there: dict[str, list[str]] = {one.name: [] for one in bikes}
    for fitted in bearings:
        if fitted.removed_on is None:
            there[fitted.bike].append(f"{fitted.designation or 'bearing'} since {fitted.installed_on}")
    if as_json:
        click.echo(json.dumps({"schema": "acoustic.bikes/1", "bikes": there}, ensure_ascii=False, indent=2))
        return
    if not bikes:
        click.echo("The book has no bikes yet; add one with: acoustic bike add NAME")
        return
    click.echo(table([("bike", "bearing"), *((name, ", ".join(what)) for name, what in there.items())]))


def _fitted_options(command: Any) -> Any:
    for option in reversed(FITTED):
        command = option(command)
    return command


@bike.command()
@click.argument("name")
@_fitted_options
@day_option("--on", "The day it went in.")
@click.option("--notes", default="", metavar="WORDS", help="Free text.")
@book_option
def fit(name: str, on: date, notes: str, book: str | None, **said: Any) -> None:
    """Record that a bearing was fitted into the bike NAME. A new name is added."""
    from acoustic.book.bikes import fit_bearing, known_bike
    from acoustic.book.records import Fitted

    words = {key: value for key, value in said.items() if value is not None}
    with opened(book) as it, it.writing() as connection:
        known_bike(connection, name)
        fitted = fit_bearing(connection, Fitted(bike=name, installed_on=on, notes=notes, **words))
    click.echo(f"bearing {fitted.number} has been in {name} since {on}.")


@bike.command()
@click.argument("number", type=int)
@day_option("--on", "The day it came out.")
@click.option(
    "--because",
    required=True,
    metavar="WORDS",
    help="'worn' if it failed. Any other reason (crash, sold, other bearing) is not counted as wear.",
)
@click.option(
    "--km", type=click.FloatRange(min=0), metavar="KM", help="Total distance that the bike had ridden by then."
)
@book_option
def removed(number: int, on: date, because: str, km: float | None, book: str | None) -> None:
    """Record that the bearing NUMBER came out, and why."""
    from acoustic.book.bikes import take_out

    with opened(book) as it, it.writing() as connection:
        fitted = take_out(connection, number, on, because, km=km)
    lasted = (on - fitted.installed_on).days
    click.echo(f"bearing {number} came out of {fitted.bike} on {on} after {lasted} days: {because}.")


@bike.command()
@click.argument("name")
@book_option
def show(name: str, book: str | None) -> None:
    """Show the bike NAME: its bearings and its last visits."""
    from acoustic.book.bikes import bearings_of, require_bike
    from acoustic.book.visits import list_visits

    with opened(book) as it, it.reading() as connection:
        found = require_bike(connection, name)
        bearings, visits = bearings_of(connection, name), list_visits(connection, bike=name, newest=10)
    click.echo(name if not found.notes else f"{name}: {found.notes}")
    click.echo("\n".join(f"  {_told(one)}" for one in bearings) if bearings else "  no bearing on record")
    for visit in visits:
        grades = ", ".join(judged.grade for judged in visit.verdicts) or "no recording"
        click.echo(f"  visit {visit.number}, {visit.on_date}: {grades}")


def _told(fitted: Fitted) -> str:
    """One bearing on one line."""
    words = [fitted.designation or "bearing", fitted.side, fitted.seal, fitted.shell, fitted.use, fitted.supplier]
    words += [f"lot {fitted.lot}" if fitted.lot else ""]
    sizes = [
        f"{text} {value:g} mm"
        for text, value in (("bore", fitted.bore_mm), ("spindle", fitted.spindle_mm))
        if value is not None
    ]
    out = f", out {fitted.removed_on} ({fitted.removed_because})" if fitted.removed_on else ""
    return f"bearing {fitted.number}: {', '.join(w for w in (*words, *sizes) if w)}; in {fitted.installed_on}{out}"
