"""`acoustic report`: one page for a visit or a bike."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acoustic.cli.book_options import book_option, day_option, opened
from acoustic.cli.file_options import check_page, write_page
from acoustic.cli.language_option import language_option
from acoustic.cli.progress import Progress
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.opening import Book
    from acoustic.book.records import Visit
    from acoustic.model import Analysis


@click.command(short_help="Write one page about a bike: verdict, pictures, sound, trend.")
@click.argument("bike")
@click.argument("page", type=click.Path(path_type=Path), metavar="FILE.html")
@click.option(
    "--visit", "number", type=int, metavar="NUMBER", help="The visit to write about; the newest if not given."
)
@day_option("--today", "Count from this day.")
@language_option
@book_option
@click.option("--quiet", is_flag=True, help="No progress.")
def report(
    bike: str, page: Path, number: int | None, today: date, language: str, book: str | None, quiet: bool
) -> None:
    """Write a page about BIKE into FILE.html: the customer's part on top, the bench's part below.

    It holds the verdict and next step of one visit, its recordings to play, how the
    bearing wore over all visits, and the install. The recordings are judged again by this
    version. The file needs no network and no other file, so you can mail or print it.
    """
    check_page("FILE.html", page)
    from acoustic.book.bikes import bearings_of, require_bike
    from acoustic.book.series import all_series
    from acoustic.book.visits import list_visits
    from acoustic.report.bike_sections import bike_lead, bike_sections
    from acoustic.report.page import page as made_page

    progress = Progress(quiet=quiet)
    with opened(book) as it:
        with it.reading() as connection:
            require_bike(connection, bike)
            visits, bearings = list_visits(connection, bike=bike), bearings_of(connection, bike)
        chosen = _chosen(visits, number, bike)
        analyses = judged_again(it, chosen, progress)
    progress("drawing")
    sections = bike_sections(visits, bearings, all_series(visits, bearings, None, today))
    subtitle = f"Visit of {chosen.on_date}, {len(visits)} visits in the book"
    lead = bike_lead(visits, bearings) if number is None else None
    made = made_page(bike, subtitle, analyses, sections, progress, lead=lead, language=language)
    write_page("FILE.html", page, made)
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


def judged_again(book: Book, visit: Visit, progress: Progress) -> tuple[Analysis, ...]:
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
