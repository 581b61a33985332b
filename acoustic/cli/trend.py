"""`acoustic trend`: how a bike's bearing wears, and when it will be due."""

from __future__ import annotations

from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.book_options import book_option, day_option, opened
from acoustic.cli.file_options import check_picture, said
from acoustic.conditions import table
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.records import Fitted, Visit

QUANTITIES = (*table().conditions, "drag")


class Quantity(click.ParamType[str]):
    """What is followed: by its code, or by the words that reports print."""

    name = "quantity"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Find its code."""
        wanted = " ".join(value.casefold().replace("_", " ").split())
        for code in QUANTITIES:
            condition = table().conditions.get(code)
            words = ("drag of the hand-spun crank",) if condition is None else (condition.name, condition.noise)
            if wanted in (code.replace("_", " "), *(word.casefold() for word in words)):
                return code
        names = [code if (one := table().conditions.get(code)) is None else one.name for code in QUANTITIES]
        near = get_close_matches(wanted, names, n=1)
        hint = f"Did you mean {near[0]}? " if near else ""
        raise InputError(f"nothing is followed by the name {value}", hint=f"{hint}There are: {', '.join(names)}.")


@click.command(short_help="Show how a bearing wears and when it will be due.")
@click.argument("bike")
@click.option(
    "--of",
    "quantity",
    type=Quantity(),
    metavar="WHAT",
    help='What to follow, for example "outer ring" or drag. Without it, everything that was found.',
)
@day_option("--today", "Count from this day.")
@click.option("--plot", type=click.Path(path_type=Path), metavar="FILE.png|.svg", help="Draw the first trend.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the report.")
@book_option
def trend(
    bike: str, quantity: str | None, today: date, plot: Path | None, as_json: bool, book: str | None
) -> None:
    """Show how the bearing of BIKE wears over its visits, and when it reaches the next grade.

    The trend starts again at every service and replacement. Recordings by another phone,
    of another kind of spin or from the other side are not mixed; the answer says what it
    left out. What the book holds of later than --today is left out as well.
    """
    check_picture(plot)
    from acoustic.book.series import all_series, visits_until
    from acoustic.report.trend_text import trend_document, trend_text
    from acoustic.structures import encode

    visits, bearings = _history(bike, book)
    visits = visits_until(visits, today)
    series = all_series(visits, bearings, quantity, today)
    if as_json:
        click.echo(encode(trend_document(bike, series)))
    else:
        click.echo(trend_text(bike, series, visits=len(visits)))
    if plot is not None:
        _draw(series, plot, bike)


def _history(bike: str, book: str | None) -> tuple[tuple[Visit, ...], tuple[Fitted, ...]]:
    from acoustic.book.bikes import bearings_of, require_bike
    from acoustic.book.visits import list_visits

    with opened(book) as it, it.reading() as connection:
        require_bike(connection, bike)
        return list_visits(connection, bike=bike), bearings_of(connection, bike)


def _draw(series: tuple[Any, ...], plot: Path, bike: str) -> None:
    from acoustic.report.book_pictures import save_figure, series_figure
    from acoustic.report.trend_text import SEVERITY, UNIT, title

    if not series:
        raise InputError(
            "there is no trend to draw yet", hint="Add visits with: acoustic visit add --bike NAME REC"
        )
    worth_it = [one for one in series if not one.unchanged]
    if not worth_it:
        raise InputError(
            "nothing changes that is worth a chart: the drag is as it was",
            hint="Read the words without --plot, or add visits.",
        )
    first = worth_it[0]
    unit = UNIT.get(first.quantity, SEVERITY)
    figure = series_figure(first, title=f"{bike}: {title(first.quantity)}", unit=unit)
    with said("--plot", plot, "drew"):
        save_figure(figure, plot)
