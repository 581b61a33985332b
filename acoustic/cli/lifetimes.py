"""`acoustic lifetimes`: how long bearings last, over all bikes in the book."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.book_options import book_option, day_option, opened
from acoustic.cli.file_options import check_picture, said
from acoustic.cli.types import Number
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.lives import Taken
    from acoustic.lifetimes.lives import Measure

# As `acoustic.lifetimes` has them, which a help text need not load; a test holds them equal.
FIELDS = (
    *("designation", "kind", "shell", "shell-width", "spindle", "use"),
    *("seal", "side", "rows", "supplier", "lot"),
)
MEASURES = ("days", "km", "rides")


@click.command(short_help="Show which bearing lasts in which frame and use.")
@click.option("--by", type=click.Choice(FIELDS), help="Compare bearings by this.")
@click.option(
    "--where", "wanted", multiple=True, metavar="FIELD=WORDS", help="Only bearings with this; may be repeated."
)
@click.option(
    "--in",
    "measure",
    type=click.Choice(MEASURES),
    default="days",
    show_default=True,
    help="Count lives in this; kilometres come from the bikes' own counts.",
)
@click.option(
    "--ride-km",
    type=Number(above=0),
    metavar="KM",
    help="Length of a usual ride [km], for --in rides.",
)
@day_option(
    "--since",
    "The day the book began: bearings that went in before are counted from then on. "
    "[default: the first visit or removal on record]",
    today=False,
)
@day_option("--today", "Count running bearings up to this day.")
@click.option("--plot", type=click.Path(path_type=Path), metavar="FILE.png|.svg", help="Draw the curves.")
@click.option(
    "--csv", "table", type=click.Path(path_type=Path), metavar="FILE.csv", help="Write a line for each bearing."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the report.")
@book_option
def lifetimes(by: str | None, wanted: tuple[str, ...], book: str | None, as_json: bool, **asked: Any) -> None:
    """Show how long bearings last, and whether one kind lasts longer than another.

    A life ends when a bearing comes out because it is worn. A bearing that still runs, or
    came out for another reason, counts for the time that it was in use.
    """
    plot, table = asked.pop("plot"), asked.pop("table")
    check_picture(plot)
    labels = dict(_pair(text) for text in wanted)
    from acoustic.book.lives import matching
    from acoustic.lifetimes.kinds import lifetimes_of
    from acoustic.report.lifetimes_text import lifetimes_csv, lifetimes_document, lifetimes_text

    taken = _taken(book, **asked)
    kept = matching(taken.lives, labels)
    told = lifetimes_of(kept, by=by, measure=asked["measure"])
    if as_json:
        from acoustic.structures import encode

        click.echo(encode(lifetimes_document(told, taken)))
    else:
        click.echo(lifetimes_text(told, taken))
    if table is not None:
        with said("--csv", table, "wrote"):
            table.write_text(lifetimes_csv(kept, told.measure), encoding="utf-8")
    if plot is not None:
        from acoustic.report.book_pictures import save_figure
        from acoustic.report.lifetimes_picture import lifetimes_figure

        with said("--plot", plot, "drew"):
            save_figure(lifetimes_figure(told, title="Bearings still good"), plot)


def _taken(book: str | None, *, measure: Measure, ride_km: float | None, since: date | None, today: date) -> Taken:
    """The lives in the book."""
    if (measure == "rides") != (ride_km is not None):
        found = "--in rides needs the length of a ride" if ride_km is None else "--ride-km is for --in rides alone"
        raise InputError(found, hint="Give both, for example --in rides --ride-km 40.")
    from acoustic.book.bikes import all_bearings
    from acoustic.book.lives import began_on, lives, readings_of

    with opened(book) as it, it.reading() as connection:
        bearings, readings = all_bearings(connection), readings_of(connection)
    began = since or began_on(bearings, readings)
    if began is None and bearings:
        click.echo(
            "acoustic: no visit tells when the book began. If bearings went in before, add --since.", err=True
        )
    return lives(bearings, today=today, began=began, measure=measure, readings=readings, ride_km=ride_km or 1.0)


def _pair(text: str) -> tuple[str, str]:
    field, sign, words = text.partition("=")
    field = field.strip()
    if not sign or field not in FIELDS:
        raise InputError(
            f"--where {text}: a field and its value are needed",
            hint=f"Write FIELD=WORDS. The fields are {', '.join(FIELDS)}.",
        )
    return field, words.strip()
