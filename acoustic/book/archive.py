"""The whole book as one file: JSON and the recordings. What it holds, how it is written, how it is opened safely.

The file is a zip archive with `book.json` (schema `acoustic.book/1`) and, under `recordings/`, every file that a
visit names, each called by the SHA-256 of its content and its ending. Bikes, bearings and visits carry a `uid`
that is the same in every copy of the book, so that an archive can be read into a book that holds some of it.

An archive may come from anybody. Names, sizes and kinds are checked before anything is unpacked, and what is
unpacked stops at the size that was declared.
"""

from __future__ import annotations

import os
import re
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import sqlalchemy as sa

from acoustic.book.about import branch_of
from acoustic.book.archived import ArchivedBearing, ArchivedBike, ArchivedBook, Head, archived_visit
from acoustic.book.bikes import all_bearings, all_bikes
from acoustic.book.files import ENDINGS, SHA256, usual_mode
from acoustic.book.history import histories
from acoustic.book.opening import Book
from acoustic.book.question import AskedFile
from acoustic.book.records import row_of
from acoustic.book.visits import list_visits
from acoustic.errors import InputError

SCHEMA = "acoustic.book/1"
_HINT = "Give a file that `acoustic book export` wrote."
# A visit takes some 6.5 kB of JSON, so this is a book of 15 000 visits; whatever stands in it, it is read in less
# than 700 MB of memory.
MOST_JSON_BYTES = 100_000_000
MOST_RECORDING_BYTES = 2_000_000_000  # half an hour of film, judgement
# Judgement: sound and verdicts shrink to a tenth, what repeats itself to a hundredth; bombs to a thousandth.
MOST_SHRINKING, SURE_BYTES = 150, 1_000_000


@dataclass(frozen=True, slots=True)
class Exported:
    """What an archive was given.

    Attributes
    ----------
    bikes, bearings, visits, files : int
    missing : tuple of str
        Why each recording that is left out is left out.
    """

    bikes: int
    bearings: int
    visits: int
    files: int
    missing: tuple[str, ...] = ()


def export(book: Book, path: Path) -> Exported:
    """Write the whole book into a new archive; a recording that is missing or was altered is left out and named.

    Parameters
    ----------
    book : Book
    path : Path
        Must not exist yet; it appears when the archive is whole.

    Returns
    -------
    Exported

    Raises
    ------
    InputError
        The file exists or cannot be written.
    """
    with book.reading() as connection:
        document = _document(connection)
    named, missing = document.files(), {}
    try:
        with _appearing(path) as partial, zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as archive:
            for sha256, suffix in named.items():
                try:
                    source = book.files.require(sha256, suffix)
                except InputError as error:
                    missing[sha256] = error.found
                    continue
                # Recordings are packed already.
                archive.write(source, _member(sha256, suffix), zipfile.ZIP_STORED)
            left_out = tuple(AskedFile(sha256=sha256, suffix=named[sha256]) for sha256 in missing)
            archive.writestr("book.json", _json(msgspec.structs.replace(document, missing=left_out)))
    except FileExistsError:
        raise InputError(f"{path} already exists", hint="Choose another name, or move it away.") from None
    except OSError as error:
        raise InputError(
            f"the archive {path} cannot be written ({error.strerror})", hint="Choose a folder with free space."
        ) from None
    counts = (len(document.bikes), len(document.bearings), len(document.visits), len(named) - len(missing))
    return Exported(*counts, tuple(missing.values()))


def _document(connection: sa.Connection) -> ArchivedBook:
    told = {of: histories(connection, of) for of in ("bike", "bearing", "visit")}
    bikes = all_bikes(connection, merged=True)
    bearings = all_bearings(connection, withdrawn=True)
    return ArchivedBook(
        schema=SCHEMA,
        branch=branch_of(connection),
        bikes=tuple(ArchivedBike(**row_of(one), changes=told["bike"].get(one.number, ())) for one in bikes),
        bearings=tuple(
            ArchivedBearing(**row_of(one), changes=told["bearing"].get(one.number, ())) for one in bearings
        ),
        visits=tuple(
            archived_visit(one, told["visit"].get(one.number, ())) for one in list_visits(connection, removed=True)
        ),
    )


def _json(document: ArchivedBook) -> bytes:
    plain: dict[str, Any] = {
        "schema": document.schema,
        "branch": document.branch,
        "missing": document.missing,
        "bikes": [_row(one) for one in document.bikes],
        "bearings": [_row(one) for one in document.bearings],
        "visits": document.visits,
    }
    written = msgspec.json.encode(plain)
    if len(written) > MOST_JSON_BYTES:
        raise InputError(
            f"the book is too large for an archive: {len(written) / 1e6:.0f} MB without its recordings, and "
            f"{MOST_JSON_BYTES / 1e6:.0f} MB is the most",
            hint="Copy the database and the folder of recordings instead.",
        )
    return written


def _row(one: ArchivedBike | ArchivedBearing) -> dict[str, Any]:
    return {name: getattr(one, name) for name in one.__dataclass_fields__ if name != "number"}


@contextmanager
def _appearing(path: Path) -> Iterator[Path]:
    """A new file to write beside a path; it takes the path's name when it is whole, unless somebody else has."""
    if path.exists():
        raise FileExistsError
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".partial", dir=path.parent)
    os.close(handle)
    partial = Path(name)
    try:
        yield partial
        partial.chmod(usual_mode())
        with partial.open("rb") as whole:
            os.fsync(whole.fileno())
        try:
            os.link(partial, path)
        except FileExistsError:
            raise
        except OSError:  # a file system without links
            if path.exists():
                raise FileExistsError from None
            partial.rename(path)
    finally:
        with suppress(OSError):
            partial.unlink(missing_ok=True)


def _member(sha256: str, suffix: str) -> str:
    return f"recordings/{sha256}{suffix}"


class Archive:
    """An archive that was opened and checked.

    Attributes
    ----------
    held : ArchivedBook
    """

    def __init__(self, archive: zipfile.ZipFile, name: str) -> None:
        """Check and read.

        Raises
        ------
        InputError
            It is no archive of a book, a newer version wrote it, or something in it cannot be right.
        """
        self._zip, self._name = archive, name
        self._members = {info.filename: info for info in archive.infolist()}
        for info in self._members.values():
            self._refuse_odd(info)
        self.held = self._read()
        named = {_member(sha256, suffix) for sha256, suffix in self.held.files().items()}
        for member in self._members.keys() - named - {"book.json"}:
            raise InputError(f"{name} holds {member}, which no visit names", hint=_HINT)

    def recordings(self) -> dict[str, str]:
        """Endings of the recordings that it holds, by their hashes."""
        return {sha: suffix for sha, suffix in self.held.files().items() if _member(sha, suffix) in self._members}

    def bytes_of(self, sha256: str, suffix: str) -> int:
        """Declared size of a recording."""
        return self._members[_member(sha256, suffix)].file_size

    def unpack(self, sha256: str, suffix: str, target: Path) -> None:
        """Write a recording into a file, no more than was declared."""
        left = self.bytes_of(sha256, suffix)
        with self._zip.open(_member(sha256, suffix)) as source, target.open("wb") as sink:
            while left > 0 and (block := source.read(min(left, 1 << 20))):
                sink.write(block)
                left -= len(block)

    def _refuse_odd(self, info: zipfile.ZipInfo) -> None:
        name = info.filename
        sha256, dot, ending = name.removeprefix("recordings/").partition(".")
        recording = name.startswith("recordings/") and re.fullmatch(SHA256, sha256) and dot + ending in ENDINGS
        if name != "book.json" and not recording:
            raise InputError(
                f"{self._name} holds {name[:120]!r}, which is neither book.json nor a recording", hint=_HINT
            )
        if info.flag_bits & 1 or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise InputError(f"{name} in {self._name} is packed in a way that is not read here", hint=_HINT)
        most = MOST_JSON_BYTES if name == "book.json" else MOST_RECORDING_BYTES
        if info.file_size > most:
            raise InputError(
                f"{name} in {self._name} says that it holds {info.file_size / 1e6:.0f} MB; {most / 1e6:.0f} MB is "
                "the most that is read",
                hint=_HINT,
            )
        if info.file_size > max(SURE_BYTES, MOST_SHRINKING * info.compress_size):
            raise InputError(
                f"{name} in {self._name} says that it holds {info.file_size / 1e6:.0f} MB in "
                f"{info.compress_size / 1e6:.1f} MB, which no recording or book does",
                hint=_HINT,
            )

    def _read(self) -> ArchivedBook:
        """What the archive says that it holds."""
        if "book.json" not in self._members:
            raise InputError(f"{self._name} is not an archive of a workshop's book", hint=_HINT)
        content = self._zip.read("book.json")
        schema = msgspec.json.decode(content, type=Head).schema
        if schema != SCHEMA:
            told = f"the schema {schema[:40]!r}" if schema else "no schema"
            raise InputError(
                f"{self._name} has {told}; {SCHEMA} is known here",
                hint="Update the program: pip install --upgrade acoustic-crank",
            )
        held = msgspec.json.decode(content, type=ArchivedBook)
        for visit in held.visits:
            visit.visit()  # refused here where a verdict cannot be read
        return held


@contextmanager
def open_archive(path: Path) -> Iterator[Archive]:
    """Open an archive of a book.

    Raises
    ------
    InputError
        It cannot be read, or as `Archive`.
    """
    if path.exists() and not path.is_file():
        raise InputError(f"{path} is not a file", hint=_HINT)
    try:
        with zipfile.ZipFile(path) as archive:
            yield Archive(archive, path.name)
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror or error})", hint="Check the path.") from None
    except msgspec.ValidationError as error:
        said, _, place = str(error).partition(" - at `$")
        raise InputError(
            f"book.json in {path.name} is not as it should be, at {place.strip('.`') or 'its top'}: {said}",
            hint=_HINT,
        ) from None
    # What zipfile and zlib raise for damaged files, and msgspec for what is no JSON or nested without end.
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RecursionError,
        msgspec.DecodeError,
    ) as error:
        raise InputError(
            f"{path.name} is not an archive of a workshop's book, or it is damaged ({error})", hint=_HINT
        ) from None
