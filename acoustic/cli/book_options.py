"""The options that every command about the workshop's book shares."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.opening import Book

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

book_option = click.option(
    "--book",
    metavar="FILE|URL",
    help="The workshop's book: a file, or the URL of a PostgreSQL database. [default: the one that "
    "ACOUSTIC_BOOK names, or a file in your own data folder]",
)


class Day(click.ParamType[date]):
    """A day, as 2026-05-31 or 31.05.2026; what was typed otherwise than it is kept is said back."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """Read a day; the future is refused."""
        if isinstance(value, date):
            return value
        from acoustic.typed import day_in

        try:
            day = day_in(value)
        except ValueError as error:
            found, _, hint = str(error).partition("; ")
            raise InputError(found, hint=f"{hint[:1].upper()}{hint[1:]}.") from None
        if day > date.today():
            raise InputError(f"{day} is in the future", hint="Check the year and the month.")
        if str(day) != value.strip():
            click.echo(f"acoustic: {value.strip()} is read as {day.day} {day:%B %Y}.", err=True)
        return day


def day_option(name: str, told: str, *, today: bool = True) -> Decorator:
    """An option for a day; today's if it is not given, or none."""
    given: dict[str, Any] = {"default": date.today, "show_default": "today"} if today else {}
    return click.option(name, type=Day(), metavar="YYYY-MM-DD", help=told, **given)


@contextmanager
def opened(where: str | None) -> Iterator[Book]:
    """Open the book, and close it at the end."""
    from acoustic.book.opening import open_book

    book = open_book(where)
    try:
        yield book
    finally:
        book.close()


def table(rows: list[tuple[str, ...]]) -> str:
    """Set rows in columns; the first row is the heading."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )
