"""`acoustic due`: what falls due over all bikes, soonest first."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import click

from acoustic.cli.book_options import book_option, day_option, opened
from acoustic.errors import InputError

# Days of each; the mean month and year of the Julian calendar.
UNIT_DAYS = {"d": 1.0, "w": 7.0, "m": 365.25 / 12, "y": 365.25}
_LENGTH = re.compile(r"(\d+(?:[.,]\d+)?)\s*(d|w|m|y|days?|weeks?|months?|years?)?", re.IGNORECASE)


class LengthOfTime(click.ParamType[float]):
    """A length of time, as 30d, 6 weeks or 3m; a bare number is days."""

    name = "length of time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it as days."""
        if isinstance(value, float):
            return value
        read = _LENGTH.fullmatch(value.strip())
        if read is None:
            raise InputError(
                f"{value} is no length of time", hint="Write days, weeks or months, for example 30d, 6w or 3m."
            )
        unit = (read[2] or "d")[0].lower()
        return float(read[1].replace(",", ".")) * UNIT_DAYS[unit]


@click.command(short_help="List what falls due over all bikes, soonest first.")
@click.option("--within", type=LengthOfTime(), metavar="30d", help="Only what may fall due within so long.")
@day_option("--today", "Count from this day.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the list.")
@book_option
def due(within: float | None, today: date, as_json: bool, book: str | None) -> None:
    """List over all bikes of the book which bearing falls due, soonest first.

    A bike stands there if its last visit asked for service or a new bearing and neither
    was entered since, or if its trend is shown to rise: then with the range of days.
    """
    from acoustic.book.bikes import all_bearings
    from acoustic.book.due import due_list
    from acoustic.book.visits import list_visits
    from acoustic.report.due_text import due_document, due_text
    from acoustic.structures import encode

    with opened(book) as it, it.reading() as connection:
        visits, bearings = list_visits(connection), all_bearings(connection)
    found = due_list(visits, bearings, today, within_days=within)
    click.echo(encode(due_document(found, today, within)) if as_json else due_text(found, within_days=within))
