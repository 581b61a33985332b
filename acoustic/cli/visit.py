"""`acoustic visit`: a bike's visits with their recordings and verdicts."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.book.naming import quoted
from acoustic.book.records import KINDS
from acoustic.cli.bearing_options import BearingChoice, bearing_options
from acoustic.cli.book_options import anyway_option, book_option, counted, day_option, opened, table
from acoustic.cli.progress import Progress
from acoustic.cli.questions import WHAT_TO_WRITE, WHICH_VISIT, ByQuestion, under
from acoustic.cli.rider_slip import rider_slip
from acoustic.cli.scene_options import scene_options
from acoustic.cli.speed_options import refuse_one_for_many, speed_options
from acoustic.cli.visit_slips import SLIPS, done_option, km_option, notes_option, recorder_option
from acoustic.errors import EXIT_UNUSABLE, InputError
from acoustic.structures import encode

if TYPE_CHECKING:
    from acoustic.book.opening import Book
    from acoustic.book.records import Fitted, Visit
    from acoustic.model import Scene, SpeedRequest

NEWEST = 20  # as many as a terminal shows at once


@click.group(short_help="Keep recordings and verdicts by bike and day.")
def visit() -> None:
    """Keep recordings and verdicts by bike and day."""


@visit.command(cls=ByQuestion)
@click.argument("recordings", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="REC...")
@under(
    WHICH_VISIT,
    click.option("--bike", required=True, metavar="NAME", help="The bike. A new name is added to the book."),
    day_option("--on", "The day of the visit."),
    click.option("--kind", type=click.Choice(KINDS), default="check", show_default=True, help="What is recorded."),
    done_option,
    km_option,
    recorder_option,
    notes_option,
)
@bearing_options
@speed_options
@scene_options
@under(
    WHAT_TO_WRITE,
    anyway_option,
    book_option,
    click.option("--quiet", is_flag=True, help="Print only the visit's line, without progress."),
)
def add(  # noqa: PLR0913, PLR0917 - one argument for each group of options
    recordings: tuple[Path, ...],
    bike: str,
    on: date,
    bearing: BearingChoice,
    request: SpeedRequest,
    scene: Scene,
    anyway: bool,
    book: str | None,
    quiet: bool,
    **said: Any,
) -> None:
    """Check each recording REC, and keep the recordings and results as one visit.

    The options hold for all recordings of the call. If the book knows the bearing of this
    bike, --bearing can be left out. A recording that is in the book already and kilometres
    that fall, or that nobody can have ridden since, are refused, unless you say --anyway.

    Keep hands, hair and sleeves clear of the spinning crank.
    """
    refuse_one_for_many(recordings, request)
    from acoustic.book.records import Visit

    words = {name: value for name, value in said.items() if value is not None}
    with opened(book) as it:
        new = _ask_first(it, bike, on, words.get("distance_km"), recordings, anyway=anyway)
        fitted = _sitting(it, bike, on, scene.side or "")
        bearing = _named(it, bearing, fitted, bike, on, scene.side or "")
        heard = _listen(it, recordings, bearing, request, scene, Progress(quiet=quiet), say=not quiet)
        made = Visit(bike=bike, on_date=on, bearing=fitted.uid if fitted else "", verdicts=heard, **words)
        fresh = _fresh(it, fitted, on)
        made, untold = _write(it, made, anyway=anyway)
    click.echo(f"visit {made.number}: {made.bike}, {on}: {', '.join(judged.grade for judged in heard)}")
    if new is not None:
        click.echo(f"acoustic: {made.bike} is a new bike in the book.{_meant(made, new)}", err=True)
    if untold:
        click.echo(f"acoustic: {untold}", err=True)
    if fresh is not None:
        _compare(made, fresh)


def _ask_first(
    book: Book, bike: str, on: date, km: float | None, recordings: tuple[Path, ...], *, anyway: bool
) -> list[str] | None:
    """Refuse what cannot be meant before the long work; the names nearest to a bike's that is new, else None."""
    from acoustic.book.bikes import find_bike, near_names
    from acoustic.book.distance import refuse_count
    from acoustic.book.files import sha256_of
    from acoustic.book.naming import settled
    from acoustic.book.visits import refuse_known

    with book.reading() as connection:
        new = near_names(connection, settled(bike)) if find_bike(connection, bike) is None else None
        if not anyway:
            refuse_count(connection, bike, on, km)
            refuse_known(connection, [(path.name, sha256_of(path)) for path in recordings if path.is_file()])
    return new


def _meant(made: Visit, near: list[str]) -> str:
    """How to put it right if another bike was meant."""
    if not near:
        return ""
    words = "--because 'typed wrong'" if "'" in quoted(near[0]) else '--because "typed wrong"'
    return f" If you meant {near[0]}:\n  acoustic visit move {made.number} {quoted(near[0])} {words}"


def _sitting(book: Book, bike: str, on: date, side: str) -> Fitted | None:
    from acoustic.book.bikes import bearings_of, sitting

    with book.reading() as connection:
        return sitting(bearings_of(connection, bike), on, side)


def _fresh(book: Book, fitted: Fitted | None, on: date) -> Visit | None:
    """The final spin of the bearing's install, before this day."""
    from acoustic.book.visits import list_visits

    if fitted is None:
        return None
    with book.reading() as connection:
        before = list_visits(connection, bike=fitted.bike)
    finals = [one for one in before if one.kind == "final" and one.bearing == fitted.uid and one.on_date <= on]
    return finals[-1] if finals else None


def _compare(made: Visit, fresh: Visit) -> None:
    """Say where the crank slows more steeply than when it was fresh."""
    from acoustic.install.spins import drags_more

    told = {drags_more(judged.check, fresh.verdicts[-1].check) for judged in made.verdicts} - {None}
    for sentence in sorted(filter(None, told)):
        click.echo(f"compared with the fresh install, visit {fresh.number} of {fresh.on_date}: {sentence}")


def _named(
    book: Book, bearing: BearingChoice, fitted: Fitted | None, bike: str, on: date, side: str
) -> BearingChoice:
    """The bearing that is in the bike, if none is named; refused where there is none."""
    from acoustic.book.unnamed import no_bearing

    if bearing.name or bearing.ball_diameter_mm or bearing.pitch_diameter_mm:
        return bearing
    if fitted is None or not fitted.designation:
        with book.reading() as connection:
            raise no_bearing(connection, bike, on, side)
    return replace(bearing, name=fitted.designation, rows=fitted.rows or bearing.rows)


def _listen(
    book: Book,
    recordings: tuple[Path, ...],
    bearing: BearingChoice,
    request: SpeedRequest,
    scene: Scene,
    progress: Progress,
    *,
    say: bool,
) -> Any:
    """Check all recordings, and keep them only if all of them can be used."""
    from dataclasses import asdict

    from acoustic.book.asked import Asked
    from acoustic.book.judging import listen_to, take_in
    from acoustic.book.question import AskedBearing
    from acoustic.plugin.registry import load_plugins
    from acoustic.report.terminal import to_text

    named = {name: value for name, value in asdict(bearing).items() if name != "catalogue"}
    asked = Asked(bearing=AskedBearing(**named), catalogue=bearing.catalogue, request=request, scene=scene)
    registry = load_plugins()
    analyses = []
    for path in recordings:
        progress(path.name)
        analysis = listen_to(path, asked, registry, progress)
        if not analysis.quality.usable:
            problem = analysis.quality.problems[0]
            raise InputError(
                f"{path.name} cannot be used, and no visit was written: {problem.detail}", hint=problem.advice
            )
        if say:
            click.echo(f"{to_text(analysis)}\n")
        analyses.append(analysis)
    pairs = zip(recordings, analyses, strict=True)
    return tuple(take_in(path, asked, analysis, book.files) for path, analysis in pairs)


def _write(book: Book, made: Visit, *, anyway: bool) -> tuple[Visit, str]:
    """Write the visit; it as it is written, and what the book was not told of a replacement."""
    from acoustic.book.bikes import known_bike
    from acoustic.book.distance import refuse_count
    from acoustic.book.unnamed import replacement_untold
    from acoustic.book.visits import add_visit, refuse_known

    with book.writing() as connection:
        there = known_bike(connection, made.bike)
        if not anyway:  # somebody else may have written meanwhile
            refuse_count(connection, there.name, made.on_date, made.distance_km)
            refuse_known(connection, [(judged.name, judged.sha256) for judged in made.verdicts])
        written = add_visit(connection, replace(made, bike=there.name))
        return written, replacement_untold(connection, written)


@visit.command("list")
@click.option("--bike", metavar="NAME", help="Only visits of this bike.")
@day_option("--since", "Only visits from this day on.", today=False)
@click.option("--all", "everything", is_flag=True, help=f"All visits, not only the newest {NEWEST}.")
@click.option("--removed", is_flag=True, help="Also show visits that were removed.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the table.")
@book_option
def list_visits(
    bike: str | None, since: date | None, everything: bool, removed: bool, as_json: bool, book: str | None
) -> None:
    """List visits, oldest first."""
    from acoustic.book import visits
    from acoustic.book.bikes import require_bike

    newest = None if everything or since else NEWEST
    with opened(book) as it, it.reading() as connection:
        if bike is not None:
            require_bike(connection, bike)
        found = visits.list_visits(connection, bike=bike, since=since, removed=removed, newest=newest)
    if as_json:
        from acoustic.book.document import visits_document

        click.echo(encode(visits_document(found)))
        return
    if not found:
        click.echo("No visits; add one with: acoustic visit add --bike NAME REC")
        return
    rows = [("visit", "day", "bike", "kind", "done", "km", "grade"), *(_row(one) for one in found)]
    click.echo(table(rows))


def _row(one: Visit) -> tuple[str, ...]:
    grades = ", ".join(judged.grade for judged in one.verdicts)
    if one.removed_because is not None:
        grades = f"(removed: {one.removed_because})"
    km = "" if one.distance_km is None else f"{one.distance_km:g}"
    return (str(one.number), one.on_date.isoformat(), one.bike, one.kind, one.done, km, grades)


@visit.command()
@click.argument("number", type=int)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of the report.")
@book_option
def show(number: int, as_json: bool, book: str | None) -> None:
    """Show the visit NUMBER: what was found, and later corrections."""
    from acoustic.book.document import visit_document, visit_text
    from acoustic.book.history import history
    from acoustic.book.visits import require_visit

    with opened(book) as it, it.reading() as connection:
        found, changed = require_visit(connection, number), history(connection, "visit", number)
    if as_json:
        click.echo(encode(visit_document(found)))
        return
    click.echo(visit_text(found, changed))


@visit.command()
@click.argument("numbers", nargs=-1, type=int, metavar="[NUMBER]...")
@click.option("--all", "everything", is_flag=True, help="Every visit in the book.")
@book_option
@click.option("--quiet", is_flag=True, help="No progress.")
def recheck(numbers: tuple[int, ...], everything: bool, book: str | None, quiet: bool) -> None:
    """Judge the recordings of visits again with this version, and say what changed.

    Where the book has another bearing by now than a visit was judged as, the book's is taken; sizes that were
    typed stay. A recording that is missing or was altered is named, and the rest goes on; the exit code is 2 then.
    """
    from acoustic.book import judging, visits
    from acoustic.book.bikes import all_bearings
    from acoustic.plugin.registry import load_plugins

    if bool(numbers) == everything:
        raise InputError(
            "no visit was named to judge again", hint="Name the visits by their numbers, or give --all."
        )
    registry, progress, changed = load_plugins(), Progress(quiet=quiet), 0
    failed: list[str] = []
    with opened(book) as it:
        with it.reading() as connection:
            if everything:
                wanted: tuple[Visit, ...] = visits.list_visits(connection)
            else:
                wanted = tuple(visits.require_visit(connection, number) for number in numbers)
            fitted = {bearing.uid: bearing for bearing in all_bearings(connection)}
        for one in wanted:
            progress(f"visit {one.number}")
            try:
                again = judging.recheck(one, fitted.get(one.bearing), it.files, registry, progress)
            except InputError as error:
                failed.append(f"visit {one.number}, {one.bike}, {one.on_date}: {error.found}")
                continue
            with it.writing() as connection:
                visits.renew(connection, one.number, again.judged)
            changed += bool(again.changed)
            for sentence in again.changed:
                click.echo(f"visit {one.number}, {one.bike}, {one.on_date}: {sentence}")
    click.echo(f"{counted(len(wanted) - len(failed), 'visit')} judged again; {changed} changed.")
    for sentence in failed:
        click.echo(f"acoustic: not judged again: {sentence}.", err=True)
    if failed:
        click.echo("  What was said of them before stands. Put the recordings back, and try again.", err=True)
        sys.exit(EXIT_UNUSABLE)


for slip in SLIPS:
    visit.add_command(slip)
visit.add_command(rider_slip)
