"""`acoustic bike rename`, `merge`, `correct`, `restore`, `withdraw`: slips put right; what stood there is kept."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from acoustic.cli.bearing_options import catalogue_option
from acoustic.cli.book_options import (
    KILOMETRES,
    anyway_option,
    because_option,
    book_option,
    day_option,
    fitted_options,
    opened,
    say_recheck,
    settled_bearing,
    told_fields,
)
from acoustic.errors import InputError


@click.command()
@click.argument("name")
@click.argument("new")
@because_option
@book_option
def rename(name: str, new: str, because: str, book: str | None) -> None:
    """Give the bike NAME the name NEW."""
    from acoustic.book.slips import rename_bike

    with opened(book) as it, it.writing() as connection:
        renamed = rename_bike(connection, name, new, because)
    click.echo(f"{name} is called {renamed.name} now.")


@click.command()
@click.argument("name")
@click.argument("into")
@because_option
@book_option
def merge(name: str, into: str, because: str, book: str | None) -> None:
    """Make the bikes NAME and INTO one: INTO gets the visits and bearings of NAME.

    The name NAME leads to INTO afterwards.
    """
    from acoustic.book.slips import merge_bikes

    with opened(book) as it, it.writing() as connection:
        one = merge_bikes(connection, name, into, because)
    click.echo(f"the visits and bearings of {name} are those of {one.name} now.")


@click.command()
@click.argument("number", type=int)
@fitted_options
@catalogue_option
@day_option("--on", "The correct day it went in.", today=False)
@day_option("--out", "The correct day it came out.", today=False)
@click.option("--out-because", metavar="WORDS", help="The correct reason why it came out.")
@click.option("--out-km", type=KILOMETRES, metavar="KM", help="Total distance ridden when it came out.")
@click.option("--notes", metavar="WORDS", help="Free text.")
@because_option
@anyway_option
@book_option
def correct(
    number: int, because: str, catalogue: Path | None, anyway: bool, book: str | None, **said: Any
) -> None:
    """Correct what is written about the bearing NUMBER. The earlier entry stays on record."""
    from acoustic.book.bikes import require_bearing
    from acoustic.book.distance import refuse_count
    from acoustic.book.given import judged_otherwise
    from acoustic.book.slips import correct_bearing

    names = {"on": "installed_on", "out": "removed_on", "out_because": "removed_because", "out_km": "removed_km"}
    values = settled_bearing({names.get(name, name): value for name, value in said.items()}, catalogue)
    if not values:
        raise InputError(
            "no correction was given", hint="Give what is to be put right: --bearing, --on, --side ..."
        )
    with opened(book) as it, it.writing() as connection:
        before = require_bearing(connection, number)
        out = [name for name in ("removed_on", "removed_because", "removed_km") if name in values]
        if out and before.removed_on is None:
            raise InputError(
                f"{before.told} still sits in {before.bike}",
                hint=f"Record that it came out: acoustic bike removed {number} --because worn",
            )
        if not anyway:
            for day, km in (("installed_on", "installed_km"), ("removed_on", "removed_km")):
                on = values.get(day, getattr(before, day))
                refuse_count(connection, before.bike, on or date.today(), values.get(km), but=(before.uid,))
        correct_bearing(connection, number, values, because)
        otherwise = judged_otherwise(connection, before.bike, it.files)
    click.echo(f"bearing {number} corrected: {', '.join(told_fields(values))}.")
    say_recheck(otherwise)


@click.command()
@click.argument("number", type=int)
@because_option
@book_option
def restore(number: int, because: str, book: str | None) -> None:
    """Undo that the bearing NUMBER came out, or that its entry was taken back."""
    from acoustic.book.slips import restore_bearing

    with opened(book) as it, it.writing() as connection:
        fitted = restore_bearing(connection, number, because)
    sits = "sits in" if fitted.removed_on is None else "is on record in"
    click.echo(f"{fitted.told} {sits} {fitted.bike} again.")


@click.command()
@click.argument("number", type=int)
@because_option
@book_option
def withdraw(number: int, because: str, book: str | None) -> None:
    """Take the entry of the bearing NUMBER back, if it should never have been made.

    It is kept, with the reason, and counts nowhere.
    """
    from acoustic.book.slips import withdraw_bearing

    with opened(book) as it, it.writing() as connection:
        fitted = withdraw_bearing(connection, number, because)
    click.echo(f"the entry of {fitted.told} in {fitted.bike} is taken back: {because}.")


SLIPS = (rename, merge, correct, restore, withdraw)
