"""`acoustic visit correct`, `move`, `remove`, `restore`: slips put right, with what stood there kept."""

from __future__ import annotations

from datetime import date
from typing import Any

import click

from acoustic.book.records import DONE, KINDS
from acoustic.cli.book_options import (
    KILOMETRES,
    anyway_option,
    because_option,
    book_option,
    day_option,
    opened,
    say_recheck,
    told_fields,
)
from acoustic.errors import InputError

km_option = click.option(
    "--km",
    "distance_km",
    type=KILOMETRES,
    metavar="KM",
    help="Total distance ridden, as the bike's computer shows.",
)
recorder_option = click.option(
    "--recorder", metavar="WORDS", help="The phone that recorded it, if you use several."
)
notes_option = click.option("--notes", metavar="WORDS", help="Free text; leave out the owner's name.")
done_option = click.option("--done", type=click.Choice(DONE), help="What was done after the check.")


@click.command()
@click.argument("number", type=int)
@day_option("--on", "The correct day.", today=False)
@click.option("--kind", type=click.Choice(KINDS), help="What was recorded.")
@done_option
@km_option
@recorder_option
@notes_option
@because_option
@anyway_option
@book_option
def correct(number: int, on: date | None, because: str, anyway: bool, book: str | None, **said: Any) -> None:
    """Correct the visit NUMBER. The earlier entry stays on record."""
    from acoustic.book.distance import refuse_count
    from acoustic.book.unnamed import replacement_untold
    from acoustic.book.visits import correct as put_right
    from acoustic.book.visits import require_visit

    values = {name: value for name, value in {"on_date": on, **said}.items() if value is not None}
    if not values:
        raise InputError("no correction was given", hint="Give --on, --done, --km, --kind, --recorder or --notes.")
    with opened(book) as it, it.writing() as connection:
        before = require_visit(connection, number)
        if not anyway:
            km = values.get("distance_km", before.distance_km if on else None)
            refuse_count(connection, before.bike, on or before.on_date, km, but=(before.uid,))
        now = put_right(connection, number, values, because)
        untold = replacement_untold(connection, now) if "done" in values else ""
    click.echo(f"visit {number} corrected: {', '.join(told_fields(values))}.")
    if untold:
        click.echo(f"acoustic: {untold}", err=True)


@click.command()
@click.argument("number", type=int)
@click.argument("bike")
@because_option
@anyway_option
@book_option
def move(number: int, bike: str, because: str, anyway: bool, book: str | None) -> None:
    """Move the visit NUMBER to the bike BIKE, if it was entered for another."""
    from acoustic.book.distance import refuse_count
    from acoustic.book.given import judged_otherwise
    from acoustic.book.slips import move_visit
    from acoustic.book.visits import require_visit

    with opened(book) as it, it.writing() as connection:
        before = require_visit(connection, number)
        if not anyway:
            refuse_count(connection, bike, before.on_date, before.distance_km)
        moved = move_visit(connection, number, bike, because)
        otherwise = judged_otherwise(connection, moved.bike, it.files)
    click.echo(f"visit {number} of {moved.on_date} belongs to {moved.bike} now, not to {before.bike}.")
    say_recheck(otherwise)


@click.command()
@click.argument("number", type=int)
@because_option
@book_option
def remove(number: int, because: str, book: str | None) -> None:
    """Remove the visit NUMBER from lists and trends. It is kept, with the reason."""
    from acoustic.book.visits import remove as take_back

    with opened(book) as it, it.writing() as connection:
        take_back(connection, number, because)
    click.echo(f"visit {number} removed: {because}.")


@click.command()
@click.argument("number", type=int)
@because_option
@book_option
def restore(number: int, because: str, book: str | None) -> None:
    """Let the removed visit NUMBER count again."""
    from acoustic.book.slips import restore_visit

    with opened(book) as it, it.writing() as connection:
        back = restore_visit(connection, number, because)
    click.echo(f"visit {number} of {back.bike}, {back.on_date}, counts again.")


SLIPS = (correct, move, remove, restore)
