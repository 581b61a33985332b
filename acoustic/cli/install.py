"""`acoustic install`: before a bearing is pressed, after it, and the finished crank."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.book_options import book_option, opened
from acoustic.cli.file_options import check_page, write_page
from acoustic.cli.fit_options import fit_options
from acoustic.cli.language_option import language_option
from acoustic.cli.progress import Progress
from acoustic.cli.questions import WHAT_TO_WRITE, WHICH_BEARING, ByQuestion, under
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.book.records import Visit
    from acoustic.install.spins import Told
    from acoustic.install.units import Upkeep, Use
    from acoustic.lifetimes.lives import Life


@click.group(short_help="Check a fresh install: fit, seat, final spin.")
def install() -> None:
    """Check a fresh install: the fit before pressing, what the seat did, the final spin."""


@install.command(cls=ByQuestion)
@under(
    WHICH_BEARING,
    click.option("--bearing", "name", required=True, metavar="NAME", help="Designation or size: 6805 or 25x37x7."),
)
@fit_options
@under(
    WHAT_TO_WRITE,
    click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the sheet."),
)
def fit(name: str, as_json: bool, **said: Any) -> None:
    """Say whether a bearing fits its seat, before it is pressed in: loose, tight, or fits.

    Measure the bore at the mouth and deeper, in two directions each. The makers of frame
    and bearing have the last word. Ream and face a frame only if you are equipped for it.
    """
    from acoustic.install.fit.asked import asked_sheet
    from acoustic.report.fit_text import fit_document, fit_text
    from acoustic.structures import encode

    asked = asked_sheet(name, said)
    click.echo(encode(fit_document(asked.sheet, asked.taken)) if as_json else fit_text(asked.sheet, asked.taken))


@install.command(cls=ByQuestion)
@under(
    WHICH_BEARING, click.option("--bearing", "name", metavar="NAME", help="What the seat is for: 6805 or 25x37x7.")
)
@fit_options
@click.option(
    "--use",
    type=click.Choice(["racing", "everyday", "wet", "off-road"]),
    default="everyday",
    show_default=True,
    help="What the bike is for.",
)
@click.option(
    "--upkeep",
    type=click.Choice(["none", "yearly", "often"]),
    default="yearly",
    show_default=True,
    help="How often its owner has it cleaned and greased.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the ranking.")
@book_option
def choose(name: str | None, use: Use, upkeep: Upkeep, as_json: bool, book: str | None, **said: Any) -> None:
    """Say which kind of bearing unit suits a frame and its rider, what speaks for and against each, and how long
    each kind lasted in this shop.

    Without --bearing and --bore the seat counts as not measured, and the kind that forgives most comes first.
    """
    from acoustic.install.choose import Situation, rank_units, spindle_of, with_seat
    from acoustic.install.fit.asked import asked_sheet, bore_mm, tilt_rad
    from acoustic.report.choose_text import choose_document, choose_text
    from acoustic.structures import encode

    if name is None and (said["readings"] or said["limits"]):
        raise InputError(
            "a bore was given, and not what is to go into it",
            hint="Add --bearing NAME, for example --bearing 6806 or 30x42x7.",
        )
    sheet = None if name is None or not (said["readings"] or said["limits"]) else asked_sheet(name, said).sheet
    spindle = spindle_of(said["spindle"] or bore_mm(name, said["catalogue"]))
    rider = Situation(use=use, upkeep=upkeep, shell=said["shell"], spindle=spindle)
    situation = with_seat(rider, sheet, tilt_rad(said["offset"], said["shell_width"]))
    lives = _lives(book)
    ranked = rank_units(situation, lives), rank_units(situation, lives, seals=True)
    click.echo(encode(choose_document(situation, *ranked)) if as_json else choose_text(situation, *ranked))


def _lives(book: str | None) -> tuple[Life, ...]:
    """The shop's own lives; none where there is no book and none was named."""
    from acoustic.book.bikes import all_bearings
    from acoustic.book.lives import began_on, lives, readings_of

    try:
        with opened(book) as it, it.reading() as connection:
            bearings, began = all_bearings(connection), began_on(all_bearings(connection), readings_of(connection))
        return lives(bearings, today=date.today(), began=began).lives
    except InputError:
        if book is not None:
            raise
        return ()


@install.command()
@click.argument("bike")
@click.option(
    "--report",
    "page",
    type=click.Path(path_type=Path),
    metavar="FILE.html",
    help="Write both recordings as one page, before and after, to show, mail or print.",
)
@language_option
@book_option
def seat(bike: str, page: Path | None, language: str, book: str | None) -> None:
    """Compare the bearing of BIKE in the hand with the same bearing pressed into its seat.

    Record the bearing free in the hand and again in its seat, and add both:
    acoustic visit add --bike BIKE --kind free REC, then --kind pressed.
    """
    from acoustic.install.spins import what_the_seat_did

    if page is not None:
        check_page("--report", page)
    visits = _visits(bike, book)
    pressed = _newest(visits, "pressed", bike)
    free = _newest(visits[: visits.index(pressed)], "free", bike)
    told = what_the_seat_did(*([judged.check for judged in one.verdicts] for one in (free, pressed)))
    _say(told, f"visit {free.number} in the hand, visit {pressed.number} in its seat")
    if page is not None:
        _write_before_after(page, bike, (free, pressed), language, book)


def _write_before_after(
    page: Path, bike: str, visits: tuple[Visit, Visit], language: str, book: str | None
) -> None:
    """Judge both visits' recordings again and write them as one page."""
    from acoustic.cli.report import judged_again
    from acoustic.report.before_after import before_after_page

    progress = Progress(quiet=False)
    with opened(book) as it:
        heard = judged_again(it, visits[0], progress), judged_again(it, visits[1], progress)
    progress("drawing")
    write_page("--report", page, before_after_page(bike, visits, heard, progress, language=language))


@install.command()
@click.argument("bike")
@book_option
def final(bike: str, book: str | None) -> None:
    """Say whether the finished install of BIKE runs clean. Later visits are compared with it.

    Set the preload so that the play is just gone, spin the crank by hand with the chain
    off, and add it: acoustic visit add --bike BIKE --kind final REC.
    """
    from acoustic.install.spins import runs_clean

    newest = _newest(_visits(bike, book), "final", bike)
    _say(runs_clean(newest.verdicts[-1].check), f"visit {newest.number}, {newest.on_date}")


def _visits(bike: str, book: str | None) -> tuple[Visit, ...]:
    from acoustic.book.bikes import require_bike
    from acoustic.book.visits import list_visits

    with opened(book) as it, it.reading() as connection:
        require_bike(connection, bike)
        return list_visits(connection, bike=bike)


def _newest(visits: tuple[Visit, ...], kind: str, bike: str) -> Visit:
    found = [visit for visit in visits if visit.kind == kind and visit.verdicts]
    if not found:
        raise InputError(
            f"the book has no recording of the kind '{kind}' for {bike}",
            hint=f"Add it with: acoustic visit add --bike '{bike}' --kind {kind} REC",
        )
    return found[-1]


def _say(told: Told, rests_on: str) -> None:
    from acoustic.report.layout import paragraphs

    lines = [f"{told.outcome.upper()}  ({rests_on})", ""]
    lines += paragraphs("why", told.reasons)
    lines += paragraphs("next", told.advice)
    click.echo("\n".join(lines))
