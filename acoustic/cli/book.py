"""`acoustic book`: the whole book out and in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from acoustic.cli.book_options import book_option, opened

if TYPE_CHECKING:
    from acoustic.book.archive import Counts


@click.group(short_help="Export or import the whole book as one file.")
def book() -> None:
    """Export or import the workshop's whole book as one file."""


@book.command()
@click.argument("file", type=click.Path(path_type=Path))
@book_option
def export(file: Path, book: str | None) -> None:
    """Write the whole book, recordings included, into the new archive FILE."""
    from acoustic.book import archive

    with opened(book) as it:
        click.echo(f"{file}: {_told(archive.export(it, file))}")


@book.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@book_option
def import_book(file: Path, book: str | None) -> None:
    """Read the archive FILE into the book. Entries that are already there stay as they are."""
    from acoustic.book import archive

    with opened(book) as it:
        click.echo(f"new in the book: {_told(archive.import_archive(it, file))}")


def _told(counts: Counts) -> str:
    named = {"bikes": counts.bikes, "bearings": counts.bearings, "visits": counts.visits, "files": counts.files}
    return ", ".join(f"{count} {name}" for name, count in named.items())
