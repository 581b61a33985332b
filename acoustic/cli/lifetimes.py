"""`acoustic lifetimes`: how long bearings last, over all bikes in the book."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from acoustic.cli.book_options import book_option, day_option, opened
from acoustic.cli.file_options import check_picture, said
from acoustic.errors import InputError

FIELDS = ("designation", "shell", "use", "seal", "side", "rows", "spindle")


@click.command(short_help="Show which bearing lasts in which frame and use.")
@click.option("--by", type=click.Choice(FIELDS), help="Compare bearings by this.")
@click.option(
    "--where", "wanted", multiple=True, metavar="FIELD=WORDS", help="Only bearings with this; may be repeated."
)
@day_option("--today", "Count running bearings up to this day.")
@click.option("--plot", type=click.Path(path_type=Path), metavar="FILE.png|.svg", help="Draw the curves.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the report.")
@book_option
def lifetimes(
    by: str | None, wanted: tuple[str, ...], today: date, plot: Path | None, as_json: bool, book: str | None
) -> None:
    """Show how long bearings last, and whether one kind lasts longer than another.

    A life ends when a bearing comes out because it is worn. A bearing that still runs, or
    came out for another reason, counts for the time that it was in use.
    """
    check_picture(plot)
    from acoustic.book.bikes import all_bearings
    from acoustic.book.series import lives, matching
    from acoustic.lifetimes.kinds import lifetimes_of
    from acoustic.report.lifetimes_text import lifetimes_document, lifetimes_text
    from acoustic.structures import encode

    asked = dict(_pair(text) for text in wanted)
    with opened(book) as it, it.reading() as connection:
        found = matching(lives(all_bearings(connection), today=today), asked)
    told = lifetimes_of(found, by=by)
    if as_json:
        click.echo(encode(lifetimes_document(told)))
    else:
        click.echo(lifetimes_text(told))
    if plot is None:
        return
    from acoustic.report.book_pictures import lifetimes_figure, save_figure

    with said("--plot", plot, "drew"):
        save_figure(lifetimes_figure(told.curves, title="Bearings still good"), plot)


def _pair(text: str) -> tuple[str, str]:
    field, sign, words = text.partition("=")
    if not sign or field not in FIELDS:
        raise InputError(
            f"--where {text}: a field and its value are needed",
            hint=f"Write FIELD=WORDS. The fields are {', '.join(FIELDS)}.",
        )
    return field, words
