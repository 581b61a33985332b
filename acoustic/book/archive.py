"""The whole book as one file: JSON and the recordings, out and in again.

The file is a zip archive with `book.json` (schema `acoustic.book/1`) and, under `recordings/`, every file that a
visit names, each called by the SHA-256 of its content and its ending. Bikes, bearings and visits carry a `uid`
that is the same in every copy of the book, so that an archive can be read into a book that holds some of it.
"""

from __future__ import annotations

import json
import shutil
import zipfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
import sqlalchemy as sa

from acoustic.book.bikes import add_bike, all_bearings, all_bikes, find_bike
from acoustic.book.opening import Book
from acoustic.book.records import Bike, Fitted, Visit, row_of
from acoustic.book.tables import bearings, bikes, changes, visits
from acoustic.book.visits import add_visit, list_visits
from acoustic.errors import InputError
from acoustic.structures import checked

SCHEMA = "acoustic.book/1"
_HINT = "Give a file that `acoustic book export` wrote."


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What was changed about a visit, when and why."""

    changed_at: datetime
    field: str
    was: str
    became: str
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchivedVisit(Visit):
    """A visit with what was changed about it since."""

    changes: tuple[Change, ...] = ()


class ArchivedBook(msgspec.Struct, frozen=True, kw_only=True):
    """What `book.json` holds; numbers are left out, they mean nothing in another copy."""

    schema: str
    bikes: tuple[Bike, ...]
    bearings: tuple[Fitted, ...]
    visits: tuple[ArchivedVisit, ...]


@dataclass(frozen=True, slots=True)
class Counts:
    """How much of an archive was written or read.

    Attributes
    ----------
    bikes, bearings, visits, files : int
    """

    bikes: int
    bearings: int
    visits: int
    files: int


def export(book: Book, path: Path) -> Counts:
    """Write the whole book into a new archive.

    Parameters
    ----------
    book : Book
    path : Path
        Must not exist yet.

    Returns
    -------
    Counts

    Raises
    ------
    InputError
        The file exists or cannot be written, or a recording is missing from the store.
    """
    with book.reading() as connection:
        held = (all_bikes(connection), all_bearings(connection), list_visits(connection, removed=True))
        changed = _changes(connection)
    named = dict(sorted(_files(held[2])))
    document = {
        "schema": SCHEMA,
        "bikes": [row_of(bike) for bike in held[0]],
        "bearings": [row_of(fitted) for fitted in held[1]],
        "visits": [{**row_of(visit), "changes": changed.get(visit.number, [])} for visit in held[2]],
    }
    partial = path.with_name(f".{path.name}.partial")
    try:
        with path.open("xb"):  # taken, so that nobody else writes there
            pass
        with zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("book.json", json.dumps(document, ensure_ascii=False, indent=1, default=str))
            for sha256, suffix in named.items():
                # Recordings are packed already.
                archive.write(
                    book.files.require(sha256, suffix), f"recordings/{sha256}{suffix}", zipfile.ZIP_STORED
                )
        partial.replace(path)
    except FileExistsError:
        raise InputError(f"{path} already exists", hint="Choose another name, or move it away.") from None
    except BaseException as error:
        partial.unlink(missing_ok=True)
        path.unlink(missing_ok=True)
        if not isinstance(error, OSError):
            raise
        raise InputError(
            f"the archive {path} cannot be written ({error.strerror})", hint="Choose a folder with free space."
        ) from None
    return Counts(len(held[0]), len(held[1]), len(held[2]), len(named))


def _files(held: tuple[Visit, ...]) -> Iterator[tuple[str, str]]:
    """Hash and ending of every file that a visit names."""
    for visit in held:
        for judged in visit.verdicts:
            yield judged.sha256, judged.suffix
            for file in judged.asked["files"].values():
                yield file["sha256"], file["suffix"]


def _changes(connection: sa.Connection) -> dict[int, list[dict[str, Any]]]:
    told: dict[int, list[dict[str, Any]]] = {}
    for row in connection.execute(sa.select(changes).order_by(changes.c.number)).mappings():
        note = {key: value for key, value in row.items() if key not in ("number", "visit")}
        told.setdefault(row["visit"], []).append(note)
    return told


def import_archive(book: Book, path: Path) -> Counts:
    """Read an archive into a book; what the book holds already is left as it is.

    Parameters
    ----------
    book : Book
    path : Path

    Returns
    -------
    Counts
        What was new.

    Raises
    ------
    InputError
        It is not an archive of a book, a newer version wrote it, or a recording in it is damaged.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            held = _held(archive, path)
            files = _keep_all(book, archive)
    except (zipfile.BadZipFile, KeyError, ValueError):
        raise InputError(f"{path.name} is not an archive of a workshop's book", hint=_HINT) from None
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror})", hint="Check the path.") from None
    with book.writing() as connection:
        known = {table: set(connection.scalars(sa.select(table.c.uid))) for table in (bikes, bearings, visits)}
        return Counts(
            sum(_read_bike(connection, one) for one in held.bikes if one.uid not in known[bikes]),
            sum(_read_bearing(connection, one) for one in held.bearings if one.uid not in known[bearings]),
            sum(_read_visit(connection, one) for one in held.visits if one.uid not in known[visits]),
            files,
        )


def _held(archive: zipfile.ZipFile, path: Path) -> ArchivedBook:
    """What an archive says that it holds."""
    content = json.loads(archive.read("book.json"))
    schema = content.get("schema") if isinstance(content, dict) else None
    if schema != SCHEMA:
        raise InputError(
            f"{path.name} has {f'the schema {schema}' if schema else 'no schema'}; {SCHEMA} is known here",
            hint="Update the program: pip install --upgrade acoustic-crank",
        )
    return checked(content, ArchivedBook, f"book.json in {path.name}", hint=_HINT)


def _keep_all(book: Book, archive: zipfile.ZipFile) -> int:
    """Put the archive's recordings into the store; how many were new."""
    new = 0
    for name in archive.namelist():
        folder, _, file = name.partition("/")
        if folder != "recordings" or not file:
            continue
        sha256, dot, ending = file.partition(".")
        if len(sha256) != 64 or not sha256.isalnum() or "/" in ending or "\\" in ending:
            raise InputError(
                f"the archive holds {name}, which is not a recording", hint="It may have been altered."
            )

        def write(target: Path, name: str = name) -> None:
            with archive.open(name) as source, target.open("wb") as sink:
                shutil.copyfileobj(source, sink)

        new += not book.files.path_of(sha256, dot + ending).is_file()
        book.files.place(sha256, dot + ending, write)
    return new


def _read_bike(connection: sa.Connection, bike: Bike) -> bool:
    """Write a bike; one of the same name that another bench wrote is taken for the same."""
    if find_bike(connection, bike.name) is not None:
        return False
    add_bike(connection, bike.name, notes=bike.notes, uid=bike.uid)
    return True


def _read_bearing(connection: sa.Connection, fitted: Fitted) -> bool:
    bike = connection.execute(sa.select(bikes.c.number).where(bikes.c.name == fitted.bike)).scalar_one()
    connection.execute(sa.insert(bearings).values(**row_of(fitted) | {"bike": bike}))
    return True


def _read_visit(connection: sa.Connection, archived: ArchivedVisit) -> bool:
    visit = add_visit(connection, archived)
    for change in archived.changes:
        connection.execute(sa.insert(changes).values(visit=visit.number, **asdict(change)))
    return True
