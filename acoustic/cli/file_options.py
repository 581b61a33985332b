"""The options that name files to write, besides the result on stdout."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.language_option import language_option
from acoustic.cli.progress import Progress
from acoustic.cli.questions import WHAT_TO_WRITE, under
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.model import Analysis

Command = Callable[..., None]

PICTURES = (".png", ".svg")
PAGES = (".html",)

_OPTIONS = (
    click.option(
        "--report",
        type=click.Path(path_type=Path),
        metavar="FILE.html",
        help="Write one page for rider and bench, with pictures and sounds. It needs no network.",
    ),
    language_option,
    click.option(
        "--plot",
        type=click.Path(path_type=Path),
        metavar="FILE.png|.svg",
        help="Draw recording, speed and order spectrum.",
    ),
)


@dataclass(frozen=True, slots=True)
class Files:
    """What is to be written, and where.

    Attributes
    ----------
    plot, report : Path or None
    language : str
        Of the page's half for the rider.
    """

    plot: Path | None
    report: Path | None
    language: str

    def refuse_many(self, count: int) -> None:
        """Refuse a file that is made of one recording where several are given."""
        for option, path in (("--report", self.report), ("--plot", self.plot)):
            if path is not None and count > 1:
                raise InputError(
                    f"{option} writes the {'page' if option == '--report' else 'picture'} of one recording, and "
                    f"{count} were given",
                    hint=f"Leave {option} out, or check each recording in a call of its own.",
                )

    def write(self, result: Analysis, progress: Progress) -> None:
        """Write what was asked for, and say so."""
        if self.plot is not None:
            _draw(result, self.plot)
        if self.report is not None:
            _write_page(result, self.report, progress, self.language)


def file_options(command: Command) -> Command:
    """Add the options; the command gets them as one `Files` named `files`, refused before any work is done."""

    @functools.wraps(command)
    def with_files(**values: Any) -> None:
        files = Files(plot=values.pop("plot"), report=values.pop("report"), language=values.pop("language"))
        check_picture(files.plot)
        check_page("--report", files.report)
        command(files=files, **values)

    return under(WHAT_TO_WRITE, *_OPTIONS)(with_files)


def check_picture(plot: Path | None) -> None:
    """Refuse a picture that could not be written before the work is done."""
    _check_target("--plot", plot, PICTURES, "picture")


def check_page(option: str, page: Path | None) -> None:
    """Refuse a page that could not be written before the work is done."""
    _check_target(option, page, PAGES, "page")


def _check_target(option: str, path: Path | None, endings: tuple[str, ...], kind: str) -> None:
    if path is None:
        return
    if path.suffix.lower() not in endings:
        raise InputError(
            f"{option} {path.name}: the ending {path.suffix or '(none)'} is not a known {kind} format",
            hint=f"Use {' or '.join(endings)} as the ending.",
        )
    if path.is_dir():
        raise InputError(f"{option}: {path} is a folder", hint="Give the name of a file in it.")
    if not path.parent.is_dir():
        raise InputError(f"{option}: there is no folder {path.parent}", hint="Create the folder first.")


def _draw(result: Analysis, plot: Path) -> None:
    if result.features is None or not result.quality.usable:
        click.echo(f"acoustic: {plot.name} was not drawn, since the recording cannot be used.", err=True)
        return
    from acoustic.report.picture import save_picture

    with said("--plot", plot, "drew"):
        save_picture(result, plot)


def _write_page(result: Analysis, report: Path, progress: Progress, language: str) -> None:
    from acoustic.report.page import page_of_check

    write_page("--report", report, page_of_check(result, progress, language=language))


def write_page(option: str, path: Path, text: str) -> None:
    """Write a page whole or not at all, and say so."""
    from acoustic.report.whole_file import whole_file

    with said(option, path, "wrote"), whole_file(path) as half_written:
        # A file's name may hold bytes that are no letters.
        half_written.write_text(text, encoding="utf-8", errors="replace")


@contextmanager
def said(option: str, path: Path, done: str) -> Iterator[None]:
    """Say that a file was written.

    Raises
    ------
    InputError
        It could not be.
    """
    try:
        yield
    except OSError as error:
        raise InputError(
            f"{option}: {path} cannot be written ({error.strerror})", hint="Choose a folder you may write to."
        ) from None
    click.echo(f"acoustic: {done} {path}", err=True)
