"""The whole book as one file: JSON and the recordings, out and in again.

The file is a zip archive with `book.json` (schema `acoustic.book/1`) and, under `recordings/`, every file that a
visit names, each called by the SHA-256 of its content and its ending. Bikes, bearings and visits carry a `uid`
that is the same in every copy of the book, so that an archive can be read into a book that holds some of it.
"""

from __future__ import annotations

import json
import shutil
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from acoustic.book.bikes import add_bike, all_bearings, all_bikes, find_bike
from acoustic.book.opening import Book
from acoustic.book.records import Judged, Visit, row_of
from acoustic.book.tables import bearings, bikes, changes, visits
from acoustic.book.visits import add_visit, list_visits
from acoustic.errors import InputError

SCHEMA = "acoustic.book/1"
DAYS = ("installed_on", "removed_on", "on_date")


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
            document = json.loads(archive.read("book.json"))
            if document.get("schema") != SCHEMA:
                raise InputError(
                    f"{path.name} has the schema {document.get('schema')}; {SCHEMA} is known here",
                    hint="Update the program: pip install --upgrade acoustic-crank",
                )
            files = _keep_all(book, archive)
    except (zipfile.BadZipFile, KeyError, ValueError):
        raise InputError(
            f"{path.name} is not an archive of a workshop's book",
            hint="Give a file that `acoustic book export` wrote.",
        ) from None
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror})", hint="Check the path.") from None
    with book.writing() as connection:
        known = {table: set(connection.scalars(sa.select(table.c.uid))) for table in (bikes, bearings, visits)}
        return Counts(
            sum(_read_bike(connection, row) for row in document["bikes"] if row["uid"] not in known[bikes]),
            sum(
                _read_bearing(connection, row) for row in document["bearings"] if row["uid"] not in known[bearings]
            ),
            sum(_read_visit(connection, row) for row in document["visits"] if row["uid"] not in known[visits]),
            files,
        )


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


def _read_bike(connection: sa.Connection, row: Mapping[str, Any]) -> bool:
    """Write a bike; one of the same name that another bench wrote is taken for the same."""
    if find_bike(connection, row["name"]) is not None:
        return False
    add_bike(connection, row["name"], notes=row["notes"], uid=row["uid"])
    return True


def _read_bearing(connection: sa.Connection, row: Mapping[str, Any]) -> bool:
    bike = connection.execute(sa.select(bikes.c.number).where(bikes.c.name == row["bike"])).scalar_one()
    connection.execute(sa.insert(bearings).values(**_with_days(row) | {"bike": bike}))
    return True


def _read_visit(connection: sa.Connection, row: Mapping[str, Any]) -> bool:
    said = dict(_with_days(row))
    notes, judged = said.pop("changes"), said.pop("verdicts")
    heard = tuple(Judged(**one | {"judged_at": datetime.fromisoformat(one["judged_at"])}) for one in judged)
    visit = add_visit(connection, Visit(**said, verdicts=heard))
    for note in notes:
        note["changed_at"] = datetime.fromisoformat(note["changed_at"])
        connection.execute(sa.insert(changes).values(visit=visit.number, **note))
    return True


def _with_days(row: Mapping[str, Any]) -> dict[str, Any]:
    return {key: date.fromisoformat(value) if key in DAYS and value else value for key, value in row.items()}
