"""`acoustic book`: made, named, and the whole of it out and in."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from acoustic.cli.book_options import book_option, counted, opened
from acoustic.errors import EXIT_UNUSABLE, InputError


@click.group(short_help="Make a book; export or import the whole of it as one file.")
def book() -> None:
    """Make a workshop's book, name its branch, and export or import the whole of it as one file."""


@book.command()
@click.argument("where", metavar="FILE|URL")
@click.option("--branch", metavar="TOWN", help="The branch that keeps it, if the shop has several.")
def new(where: str, branch: str | None) -> None:
    """Make a new book: a file, or the tables in an empty PostgreSQL database."""
    from acoustic.book.about import name_branch, settled_branch

    if branch is not None:
        settled_branch(branch)  # before anything is made
    with opened(where, create=True) as it:
        if not it.made:
            raise InputError(f"{it.place} is a book already", hint="Use it, or choose another name.")
        if branch is not None:
            with it.writing() as connection:
                name_branch(connection, branch)
        click.echo(f"{it.place} is a new book. Name it with --book, or in the environment as ACOUSTIC_BOOK.")


@book.command()
@click.argument("name", required=False)
@book_option
def branch(name: str | None, book: str | None) -> None:
    """Name the branch that keeps the book, or show its name.

    Bikes of other branches carry its name in brackets where books are read together.
    """
    from acoustic.book.about import branch_of, name_branch

    with opened(book) as it:
        if name is None:
            with it.reading() as connection:
                click.echo(
                    branch_of(connection) or "The book has no branch; name it with: acoustic book branch TOWN"
                )
            return
        with it.writing() as connection:
            click.echo(f"{it.place} is the book of {name_branch(connection, name)} now.")


@book.command()
@click.argument("file", type=click.Path(path_type=Path))
@book_option
def export(file: Path, book: str | None) -> None:
    """Write the whole book, recordings included, into the new archive FILE.

    A recording that is missing or was altered is left out and named; the exit code is 2 then.
    """
    from acoustic.book import archive

    with opened(book) as it:
        done = archive.export(it, file)
    click.echo(f"{file}: {_told(done.bikes, done.bearings, done.visits, done.files)}")
    for one in done.missing:
        click.echo(f"acoustic: left out: {one}.", err=True)
    if done.missing:
        click.echo("  Everything else is in the archive. Put the recordings back, and export again.", err=True)
        sys.exit(EXIT_UNUSABLE)


@book.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--branch", metavar="TOWN", help="The branch that the archive is from, if it names none.")
@click.option("--same-bikes", is_flag=True, help="Bikes of the same name are the same bikes.")
@click.option("--dry-run", is_flag=True, help="Only say what would be done.")
@book_option
def import_book(file: Path, branch: str | None, same_bikes: bool, dry_run: bool, book: str | None) -> None:
    """Read the archive FILE into the book. Entries that are already there stay as they are.

    Bikes of another branch stay apart from those of the same name here: 'ticket 1' of the
    branch North is called 'ticket 1 (North)'. No bike gets two bearings in one seat.
    """
    from acoustic.book.importing import import_archive

    with opened(book) as it:
        done = import_archive(it, file, branch=branch, same_bikes=same_bikes, dry_run=dry_run)
    new = "would be new in the book" if dry_run else "new in the book"
    click.echo(f"{new}: {_told(done.bikes, done.bearings, done.visits, done.files)}")
    for sentence in done.told:
        click.echo(f"  {sentence}")


def _told(bikes: int, bearings: int, visits: int, files: int) -> str:
    named = {"bike": bikes, "bearing": bearings, "visit": visits, "file": files}
    return ", ".join(counted(count, thing) for thing, count in named.items())
