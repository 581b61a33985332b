"""`acoustic bike`: the bikes in the book, and the bearings that sit in them."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.book.naming import quoted
from acoustic.cli.bearing_options import catalogue_option
from acoustic.cli.bike_slips import SLIPS
from acoustic.cli.book_options import (
    KILOMETRES,
    anyway_option,
    book_option,
    day_option,
    fitted_options,
    opened,
    settled_bearing,
    table,
)
from acoustic.text import DAY

if TYPE_CHECKING:
    from acoustic.book.records import Bike, Fitted


@click.group(short_help="Keep a list of bikes and their bearings.")
def bike() -> None:
    """Keep a list of bikes and their bearings.

    Any name will do that tells a bike from the others: a ticket number, a colour. Leave
    out the customer's name. Capital and small letters make no difference.
    """


@bike.command()
@click.argument("name")
@click.option("--notes", default="", metavar="WORDS", help="Free text; leave out the owner's name.")
@book_option
def add(name: str, notes: str, book: str | None) -> None:
    """Add the bike NAME."""
    from acoustic.book.bikes import add_bike

    with opened(book) as it, it.writing() as connection:
        made = add_bike(connection, name, notes=notes)
    click.echo(f"{made.name} is in the book.")


@bike.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the table.")
@book_option
def list_bikes(as_json: bool, book: str | None) -> None:
    """List the bikes and the bearing in each, with the number that other commands ask for."""
    from acoustic.book.bikes import all_bearings, all_bikes

    with opened(book) as it, it.reading() as connection:
        bikes, bearings = all_bikes(connection), all_bearings(connection)
    if as_json:
        from acoustic.book.document import bikes_document
        from acoustic.structures import encode

        click.echo(encode(bikes_document(bikes, bearings)))
        return
    if not bikes:
        click.echo("The book has no bikes yet; add one with: acoustic bike add NAME")
        return
    rows: list[tuple[str, ...]] = [("bike", "bearing", "kind", "side", "since")]
    for one in bikes:
        rows += _rows(one, [fitted for fitted in bearings if fitted.bike == one.name and not fitted.removed_on])
    click.echo(table(rows))


def _rows(bike: Bike, there: list[Fitted]) -> list[tuple[str, ...]]:
    if not there:
        return [(bike.name, "", "", "", "")]
    return [
        (bike.name, str(one.number), one.designation or "not named", one.side, one.installed_on.isoformat())
        for one in there
    ]


@bike.command()
@click.argument("name")
@fitted_options
@catalogue_option
@day_option("--on", "The day it went in.")
@click.option("--notes", default="", metavar="WORDS", help="Free text.")
@anyway_option
@book_option
def fit(
    name: str, on: date, notes: str, anyway: bool, catalogue: Path | None, book: str | None, **said: Any
) -> None:
    """Record that a bearing was fitted into the bike NAME. A new name is added."""
    from acoustic.book.bikes import find_bike, fit_bearing, known_bike, near_names
    from acoustic.book.distance import refuse_count
    from acoustic.book.records import Fitted

    words = settled_bearing(said, catalogue)
    with opened(book) as it, it.writing() as connection:
        near = near_names(connection, name) if find_bike(connection, name) is None else []
        there = known_bike(connection, name)
        if not anyway:
            refuse_count(connection, there.name, on, words.get("installed_km"))
        fitted = fit_bearing(connection, Fitted(bike=there.name, installed_on=on, notes=notes, **words))
    click.echo(f"{fitted.told} has been in {fitted.bike} since {on}.")
    if near:
        merge = f"acoustic bike merge {quoted(fitted.bike)} {quoted(near[0])} --because WORDS"
        click.echo(
            f"acoustic: {fitted.bike} is a new bike in the book. If you meant {near[0]}:\n    {merge}", err=True
        )


@bike.command()
@click.argument("name")
@fitted_options
@catalogue_option
@day_option("--on", "The day it was replaced.")
@click.option(
    "--because",
    default="worn",
    show_default=True,
    metavar="WORDS",
    help="Why the old one came out. Only 'worn' counts as wear; say where it was a crash, another noise ...",
)
@click.option("--notes", default="", metavar="WORDS", help="Free text about the new one.")
@anyway_option
@book_option
def replaced(
    name: str,
    on: date,
    because: str,
    notes: str,
    anyway: bool,
    catalogue: Path | None,
    book: str | None,
    **said: Any,
) -> None:
    """Record that the bearing of the bike NAME was replaced: the old one out, a new one in.

    What belongs to the frame (shell, bore, spindle, use) stays unless you say otherwise, and
    without --bearing the new one is of the same kind. Then record a final spin.
    """
    from acoustic.book.distance import refuse_count
    from acoustic.book.records import Fitted
    from acoustic.book.replacing import replace_bearing

    words = settled_bearing(said, catalogue)
    with opened(book) as it, it.writing() as connection:
        if not anyway:
            refuse_count(connection, name, on, words.get("installed_km"))
        new = Fitted(bike=name, installed_on=on, notes=notes, **words)
        done = replace_bearing(connection, new, because=because, same_day=anyway)
    if done.out is None:
        click.echo(f"{done.fitted.told} has been in {done.fitted.bike} since {on}; the book knew of none before.")
        return
    lasted = DAY.counted((on - done.out.installed_on).days)
    click.echo(f"{done.out.told} came out of {done.out.bike} on {on} after {lasted}: {because}.")
    click.echo(f"{done.fitted.told} went in.")
    if done.visit is not None:
        click.echo(f"visit {done.visit.number} of {on}: done: replacement.")


@bike.command()
@click.argument("number", type=int)
@day_option("--on", "The day it came out.")
@click.option(
    "--because",
    required=True,
    metavar="WORDS",
    help="'worn' if it failed. Any other reason (crash, sold, other bearing) is not counted as wear.",
)
@click.option("--km", type=KILOMETRES, metavar="KM", help="Total distance that the bike had ridden by then.")
@anyway_option
@book_option
def removed(number: int, on: date, because: str, km: float | None, anyway: bool, book: str | None) -> None:
    """Record that the bearing NUMBER came out, and why. `acoustic bike list` shows the number."""
    from acoustic.book.bikes import require_bearing, take_out
    from acoustic.book.distance import refuse_count

    with opened(book) as it, it.writing() as connection:
        if not anyway:
            refuse_count(connection, require_bearing(connection, number).bike, on, km)
        fitted = take_out(connection, number, on, because, km=km)
    lasted = DAY.counted((on - fitted.installed_on).days)
    click.echo(f"bearing {number} came out of {fitted.bike} on {on} after {lasted}: {because}.")


@bike.command()
@click.argument("name")
@book_option
def show(name: str, book: str | None) -> None:
    """Show the bike NAME: its bearings, its last visits, and what was put right."""
    from acoustic.book.bikes import bearings_of, require_bike
    from acoustic.book.history import histories, history
    from acoustic.book.visits import list_visits

    with opened(book) as it, it.reading() as connection:
        found = require_bike(connection, name)
        bearings = bearings_of(connection, found.name, withdrawn=True)
        visits = list_visits(connection, bike=found.name, newest=10)
        changed = history(connection, "bike", found.number)
        later = histories(connection, "bearing", [one.number for one in bearings])
    lines = [found.name if not found.notes else f"{found.name}: {found.notes}"]
    if found.branch:
        lines.append(f"  from the branch {found.branch}")
    for one in bearings:
        lines.append(f"  {_told(one)}")
        lines += [f"    {change}" for change in later.get(one.number, ())]
    if not bearings:
        lines.append("  no bearing on record")
    for visit in visits:
        grades = ", ".join(judged.grade for judged in visit.verdicts) or "no recording"
        lines.append(f"  visit {visit.number}, {visit.on_date}{_km(visit.distance_km)}: {grades}")
    lines += [f"  {change}" for change in changed]
    click.echo("\n".join(lines))


def _told(fitted: Fitted) -> str:
    """One bearing on one line."""
    words = [fitted.designation or "bearing", fitted.side, fitted.seal, fitted.shell, fitted.use, fitted.supplier]
    words += [f"lot {fitted.lot}" if fitted.lot else ""]
    sizes = [
        f"{text} {value:g} mm"
        for text, value in (("bore", fitted.bore_mm), ("spindle", fitted.spindle_mm))
        if value is not None
    ]
    out = ""
    if fitted.removed_on:
        out = f", out {fitted.removed_on}{_km(fitted.removed_km)} ({fitted.removed_because})"
    if fitted.withdrawn_because is not None:
        out += f"; entry taken back: {fitted.withdrawn_because}"
    kind = ", ".join(word for word in (*words, *sizes) if word)
    return f"bearing {fitted.number}: {kind}; in {fitted.installed_on}{_km(fitted.installed_km)}{out}"


def _km(km: float | None) -> str:
    """The bike's count behind a day, where it is known."""
    return "" if km is None else f" at {km:g} km"


for slip in SLIPS:
    bike.add_command(slip)
