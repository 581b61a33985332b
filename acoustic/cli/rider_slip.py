"""`acoustic visit slip`: what the rider takes home."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from acoustic.cli.book_options import book_option, opened
from acoustic.cli.file_options import check_page, write_page
from acoustic.cli.language_option import language_option
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.records import Visit


@click.command("slip")
@click.argument("number", type=int)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE.html",
    help="The page to write; print it from a browser.",
)
@language_option
@book_option
def rider_slip(number: int, out: Path, language: str, book: str | None) -> None:
    """Write what the rider is told of the visit NUMBER, on one sheet to take home.

    Nothing is judged again: the slip says what the book holds.
    """
    check_page("--out", out)
    from acoustic.book.bikes import bearings_of
    from acoustic.book.visits import list_visits, require_visit
    from acoustic.report.bike_sections import bike_lead
    from acoustic.report.page import page_of_slip

    with opened(book) as it, it.reading() as connection:
        found = require_visit(connection, number)
        visits, bearings = list_visits(connection, bike=found.bike), bearings_of(connection, found.bike)
    _require_recording(found)
    until = [one.number for one in visits].index(number) + 1
    checks, lead = [judged.check for judged in found.verdicts], bike_lead(visits[:until], bearings)
    write_page("--out", out, page_of_slip(checks, language, bike=found.bike, on=found.on_date, lead=lead))
    click.echo(f"{out}: {found.bike}, visit {number} of {found.on_date}")


def _require_recording(found: Visit) -> None:
    """Refuse a visit that has nothing to tell a rider."""
    if found.removed_because is not None:
        why = f"was removed ({found.removed_because})"
    elif not found.verdicts:
        why = "has no recording"
    else:
        return
    raise InputError(
        f"visit {found.number} {why}, so that there is no slip to give a rider",
        hint=f"Give one with a recording; list them with: acoustic visit list --bike '{found.bike}'",
    )
