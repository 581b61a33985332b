"""`acoustic demo`: the main job over recordings whose truth is known."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click
import msgspec

from acoustic.cli.progress import Progress
from acoustic.conditions import Level
from acoustic.errors import EXIT_AT_OR_PAST_GRADE, EXIT_PLUGIN_FAILED, InputError
from acoustic.structures import AboveZero, Text, checked, read_toml

if TYPE_CHECKING:
    from acoustic.model import Analysis
    from acoustic.plugin.registry import Registry

MANIFEST = "manifest.toml"
HINT = "Add a [[recording]] table for each recording; see DEVELOPERS.md."


class Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A recording of the manifest, what is known of it, and what the check is to find."""

    file: Text
    bearing: Text
    grade: Level
    detected: tuple[str, ...]
    story: str = ""
    truth: str = ""
    marks: Text | None = None
    ticks: bool = False
    speed_rpm: AboveZero | None = None


class Manifest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The recordings of a folder."""

    recording: Annotated[tuple[Entry, ...], msgspec.Meta(min_length=1)]


@click.command(short_help="Judge the demo recordings; show expected and found.")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--book", metavar="FILE", help="Write an invented workshop's year into this new book instead.")
def demo(folder: Path | None, book: str | None) -> None:
    """Judge every recording in FOLDER's manifest and show what was expected and what was found.

    Without FOLDER, the recordings that come with the program: an invented
    workshop's bikes, simulated. Exits with 1 if a grade or a condition differs.

    With --book, a year of visits, installs and replacements is simulated, checked and
    written into a new book, to try trend, install and lifetimes on.
    """
    if book is not None:
        _write_book(book)
        return
    folder = folder or demo_folder()
    entries = _entries(folder)
    from acoustic.plugin.registry import load_plugins
    from acoustic.plugin.run import telling

    registry, progress = load_plugins(), Progress(quiet=False)
    click.echo(f"{'recording':<32}{'expected':<44}{'found':<44}")
    wrong, failed = 0, False
    for entry in entries:
        progress(entry.file)
        with telling(progress):
            result = _judge(folder, entry, registry)
        names = {code: condition.name for code, condition in result.conditions.items()}
        expected = _words(entry.grade, entry.detected, names)
        heard = [finding.condition for finding in result.findings if finding.detected]
        same = result.verdict.level == entry.grade and set(entry.detected) == set(heard)
        wrong, failed = wrong + (not same), failed or bool(result.failures)
        found = _words(result.verdict.level, heard, names)
        click.echo(f"{Path(entry.file).stem:<32}{expected:<44}{found:<44}{'' if same else '<- differs'}".rstrip())
    click.echo(f"{len(entries) - wrong} of {len(entries)} as expected.")
    sys.exit(EXIT_PLUGIN_FAILED if failed else EXIT_AT_OR_PAST_GRADE if wrong else 0)


def _write_book(where: str) -> None:
    """Write the invented year, and say what to look at."""
    from acoustic.book.invented import write_year
    from acoustic.cli.book_options import opened
    from acoustic.plugin.registry import load_plugins
    from acoustic.simulator.workshop import LAST, SQUEEZED, WEARING

    with opened(where, create=True) as it:
        count = write_year(it, load_plugins(), Progress(quiet=False))
    click.echo(f"{count} visits are in {where}. Try:")
    for call in (
        f'trend "{WEARING}" --today {LAST}',
        f'install seat "{SQUEEZED}"',
        f'install final "{SQUEEZED}"',
        f"lifetimes --by shell --today {LAST}",
    ):
        click.echo(f"  acoustic {call} --book {where}")


def demo_folder() -> Path:
    """Find the demo recordings: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[1]
    for folder in (package / "recordings_demo", package.parent / "recordings_demo"):
        if (folder / MANIFEST).is_file():
            return folder
    raise InputError("the demo recordings are not installed", hint="Give their folder: acoustic demo FOLDER.")


def _entries(folder: Path) -> tuple[Entry, ...]:
    """Read and check the manifest."""
    path = folder / MANIFEST
    if not path.exists():
        raise InputError(f"there is no {MANIFEST} in {folder}", hint="Give the folder that holds it.")
    return checked(
        read_toml(path, hint="Mend the file; see DEVELOPERS.md."), Manifest, str(path), hint=HINT
    ).recording


def _judge(folder: Path, entry: Entry, registry: Registry) -> Analysis:
    from acoustic.bearings.search import resolve_bearing
    from acoustic.check.pipeline import check_recording
    from acoustic.model import SpeedRequest

    request = SpeedRequest(
        speed_rpm=entry.speed_rpm,
        marks=None if entry.marks is None else folder / entry.marks,
        ticks=entry.ticks,
    )
    bearing = resolve_bearing(name=entry.bearing)
    return check_recording(folder / entry.file, bearing=bearing, request=request, registry=registry)


def _words(grade: str, conditions: Sequence[str], names: Mapping[str, str]) -> str:
    return f"{grade}: {', '.join(names[c] for c in conditions)}" if conditions else grade
