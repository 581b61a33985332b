"""The options that the commands about the workshop's book share, and how they print tables."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.book.records import USES
from acoustic.cli.types import Number
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.given import JudgedOtherwise
    from acoustic.book.opening import Book

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

book_option = click.option(
    "--book",
    metavar="FILE|URL",
    help="The workshop's book: a file that `acoustic book new` made, or the URL of a PostgreSQL database. "
    "[default: the one that ACOUSTIC_BOOK names, or a file in your own data folder]",
)
because_option = click.option("--because", required=True, metavar="WORDS", help="Why; it is kept with the entry.")
anyway_option = click.option(
    "--anyway", is_flag=True, help="Write it even where the program asks whether it is right."
)
KILOMETRES = Number(0, thousands=True)  # no bike has ridden less than nothing
_FITTED = (
    click.option(
        "--side",
        type=click.Choice(["drive", "non-drive"]),
        help="Its side, if the two sides have different bearings.",
    ),
    click.option("--bearing", "designation", metavar="NAME", help="Designation or size: 6805 or 25x37x7."),
    click.option("--rows", type=click.IntRange(1, 2), help="Rows of balls in one bearing."),
    click.option("--seal", metavar="WORDS", help="Kind of seal: contact, low-friction, shield ..."),
    click.option("--supplier", metavar="WORDS", help="Who sold the bearing."),
    click.option("--lot", metavar="WORDS", help="Lot or batch on its box."),
    click.option("--shell", metavar="WORDS", help="Kind of shell: press-fit 41 mm, press-fit 46 mm, threaded ..."),
    click.option("--shell-width", "shell_width_mm", type=Number(), metavar="MM", help="Width of the shell [mm]."),
    click.option("--bore", "bore_mm", type=Number(), metavar="MM", help="Measured bore of the seat [mm]."),
    click.option("--spindle", "spindle_mm", type=Number(), metavar="MM", help="Spindle diameter [mm]."),
    click.option("--use", type=click.Choice(USES), help="How the bike is ridden."),
    click.option(
        "--km",
        "installed_km",
        type=KILOMETRES,
        metavar="KM",
        help="Total distance that the bike had ridden when it went in.",
    ),
)


def fitted_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that describe a bearing in its seat; the command gets them by the names of `Fitted`."""
    for option in reversed(_FITTED):  # decorators apply from the bottom up
        command = option(command)
    return command


def settled_bearing(said: Mapping[str, Any], catalogue: Path | None) -> dict[str, Any]:
    """What was said of a bearing, without what was not; its name as the catalogue has it.

    A seal that its name tells is taken from there, unless one was said.

    Raises
    ------
    InputError
        The catalogue has no such bearing.
    """
    words = {name: value for name, value in said.items() if value is not None}
    if "designation" not in words:
        return words
    from acoustic.bearings.catalogue import load_catalogue
    from acoustic.bearings.names import settle

    settled = settle(load_catalogue(catalogue), words["designation"])
    seal = {"seal": settled.seal} if settled.seal else {}
    return {**seal, **words, "designation": settled.designation}


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
def opened(where: str | None, *, create: bool = False) -> Iterator[Book]:
    """Open the book, and close it at the end.

    Parameters
    ----------
    where : str or None
        What --book says. That book, or else the one of the environment, has to be there, so that a typing error
        makes no empty one. Only the user's own is made when it is first used, and that is said.
    create : bool
        Make it in any case.
    """
    from acoustic.book.opening import is_named, open_book

    book = open_book(where, create=create or not is_named(where))
    if book.made and not create:
        click.echo(f"acoustic: a new book was made: {book.place}", err=True)
    try:
        yield book
    finally:
        book.close()


def told_fields(values: Iterable[str]) -> list[str]:
    """Names of columns in words."""
    from acoustic.book.history import FIELDS

    return [FIELDS.get(name, name.replace("_", " ")) for name in values]


def say_recheck(otherwise: Iterable[JudgedOtherwise]) -> None:
    """Say which visits were judged as another bearing than the book has now, and what to type."""
    from acoustic.book.given import recheck_told

    told = recheck_told(otherwise)
    if told:
        click.echo(f"acoustic: {told}", err=True)


def counted(count: int, thing: str) -> str:
    """A number of things, as '1 visit' or '2 visits'."""
    return f"{count} {thing}" + ("" if count == 1 else "s")


def table(rows: list[tuple[str, ...]]) -> str:
    """Set rows in columns; the first row is the heading."""
    widths = [max(_width(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "\n".join(
        "  ".join(cell + " " * (width - _width(cell)) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )


def _width(text: str) -> int:
    """Columns that a terminal needs: wide letters and emoji take two, marks on letters none (Unicode annex 11)."""
    return sum(
        0 if unicodedata.combining(one) else 1 + (unicodedata.east_asian_width(one) in "WF") for one in text
    )
