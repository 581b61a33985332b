"""`acoustic report`: one page for a visit or a bike."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acoustic.cli.book_options import book_option, day_option, opened
from acoustic.cli.file_options import check_page, write_page
from acoustic.cli.progress import Progress
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.opening import Book
    from acoustic.book.records import Visit
    from acoustic.model import Analysis


@click.command(short_help="Write one page about a bike: verdict, pictures, sound, trend.")
@click.argument("bike")
@click.argument("page", type=click.Path(path_type=Path), metavar="FILE.html")
@click.option("--visit", "number", type=int, metavar="NUMBER", help="About this visit; the newest if not given.")
@day_option("--today", "The day to reckon from.")
@book_option
@click.option("--quiet", is_flag=True, help="No progress.")
def report(bike: str, page: Path, number: int | None, today: date, book: str | None, quiet: bool) -> None:
    """Write a page about BIKE into FILE.html: for the customer above, for the bench below.

    It holds the verdict and next step of one visit, its recordings to play, how the
    bearing declined over all visits, and the install. The recordings are judged anew by
    this version. The file loads nothing from elsewhere and can be mailed or printed.
    """
    check_page("FILE.html", page)
    from acoustic.book.bikes import bearings_of, require_bike
    from acoustic.book.series import all_series
    from acoustic.book.visits import list_visits
    from acoustic.report.bike_sections import bike_sections
    from acoustic.report.page import page as made_page

    progress = Progress(quiet=quiet)
    with opened(book) as it:
        with it.reading() as connection:
            require_bike(connection, bike)
            visits, bearings = list_visits(connection, bike=bike), bearings_of(connection, bike)
        chosen = _chosen(visits, number, bike)
        analyses = _heard(it, chosen, progress)
    progress("drawing")
    sections = bike_sections(visits, bearings, all_series(visits, bearings, None, today))
    subtitle = f"Visit of {chosen.on_date}, {len(visits)} visits in the book"
    write_page("FILE.html", page, made_page(bike, subtitle, analyses, sections))
    click.echo(f"{page}: {bike}, visit {chosen.number} of {chosen.on_date}")


def _chosen(visits: tuple[Visit, ...], number: int | None, bike: str) -> Visit:
    """The visit asked for, or the newest one with a recording in the frame."""
    if number is not None:
        wanted = [visit for visit in visits if visit.number == number]
        if not wanted:
            raise InputError(
                f"{bike} has no visit {number}", hint=f"List them with: acoustic visit list --bike '{bike}'"
            )
        return wanted[0]
    heard = [visit for visit in visits if visit.verdicts and visit.kind != "free"]
    if not heard:
        raise InputError(
            f"the book has no recording of {bike}",
            hint=f"Add one with: acoustic visit add --bike '{bike}' REC",
        )
    return heard[-1]


def _heard(book: Book, visit: Visit, progress: Progress) -> tuple[Analysis, ...]:
    """Judge the visit's recordings as they were asked about then."""
    from acoustic.book.asked import read_asked
    from acoustic.book.judging import listen_to
    from acoustic.plugin.registry import load_plugins

    registry, found = load_plugins(), []
    for judged in visit.verdicts:
        progress(judged.name)
        path = book.files.require(judged.sha256, judged.suffix)
        found.append(listen_to(path, read_asked(judged.asked, book.files), registry, progress))
    return tuple(found)
