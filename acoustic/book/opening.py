"""Find the book and open it; an older one is updated, after a copy of it is made.

SQLite refuses a reader that turns writer while another writes, so every change begins as a writer and waits up
to 20 s; readers see one moment. On PostgreSQL the first to open a book makes its tables under an advisory lock.
"""

from __future__ import annotations

import json
import os
import re
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from acoustic.book.files import FileStore
from acoustic.book.naming import quoted
from acoustic.errors import InputError

VARIABLE = "ACOUSTIC_BOOK"  # of the environment
HEAD = "0003"  # the newest step in `migrations/versions`
MIGRATIONS = Path(__file__).parent / "migrations"
# Judgement: another command holds the book for less; a server that is up answers sooner.
WAIT_S = 20
_COPY = "Go back to a copy of it, or read an archive of it into a new book: acoustic book import FILE"
LOCK = 0x63_72_61_6E_6B  # any number, the same in every program that opens a book on a server


@dataclass(frozen=True, slots=True)
class Book:
    """An open book.

    Attributes
    ----------
    engine : sqlalchemy.Engine
    files : FileStore
    place : str
        Where it lies, for people; holds no password.
    made : bool
        Whether it was made just now.
    """

    engine: sa.Engine
    files: FileStore
    place: str
    made: bool = False

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A connection that sees the book as of one moment."""
        options = {"isolation_level": "REPEATABLE READ"} if self.engine.dialect.name == "postgresql" else {}
        with _told_plainly(self.place), self.engine.connect() as connection:
            connection.execution_options(reading=True, **options)
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A connection whose changes are all made at its end, or none."""
        with _told_plainly(self.place), self.engine.begin() as connection:
            yield connection

    def close(self) -> None:
        """Close the file or the connection."""
        self.engine.dispose()


def open_book(where: str | None = None, *, create: bool = True) -> Book:
    """Open the book, making or updating it as needed.

    Parameters
    ----------
    where : str or None
        A file, or the URL of a database; if None, what ACOUSTIC_BOOK says, or else a file in the user's
        data folder.
    create : bool
        Make it where there is none yet.

    Returns
    -------
    Book

    Raises
    ------
    InputError
        It cannot be opened or written, a newer version wrote it, or there is none and none is to be made.
    """
    said = where or os.environ.get(VARIABLE) or str(_data_folder() / "book.db")
    missing = None if create else _no_book(said, by_environment=not where)
    if _is_url(said):
        url = _url(said)
        # No password, and no other word of the URL that may hold one.
        book = Book(_server_engine(url), _server_files(), f"postgresql://{url.host or ''}/{url.database or ''}")
    else:
        path = Path(said).expanduser()
        if missing is not None and not path.exists():
            raise missing
        _require_folder(path)
        book = Book(_file_engine(path), FileStore(path.with_name(f"{path.stem}.recordings")), str(path))
    try:
        made = _bring_up_to_date(book, missing)
    except BaseException:
        book.close()
        raise
    return replace(book, made=made)


def is_named(where: str | None) -> bool:
    """Whether somebody named the book, in the call or in the environment; else it is the user's own."""
    return bool(where or os.environ.get(VARIABLE))


def _data_folder() -> Path:
    from platformdirs import user_data_path

    return user_data_path("acoustic-crank", appauthor=False)


def _no_book(said: str, *, by_environment: bool) -> InputError:
    """The refusal to make a book that nobody asked for."""
    url, named = _is_url(said), f", which {VARIABLE} names" if by_environment else ""
    return InputError(
        f"there is no book at {'this URL' if url else said}{named}",
        hint=f"Check the name. To make a new book: acoustic book new {'URL' if url else quoted(said)}",
    )


def _is_url(said: str) -> bool:
    """Whether it begins as a URL does; a single letter is a drive of Windows."""
    return "://" in said or re.match(r"[A-Za-z][A-Za-z0-9+.-]+:/", said) is not None


def _url(said: str) -> sa.URL:
    url: sa.URL | None = None
    with suppress(sa.exc.ArgumentError, ValueError):  # ValueError: the port is no number
        url = sa.make_url(said)
    if url is None or "@" in (url.host or "") or "://" not in said:
        raise InputError(
            "the book's URL cannot be read",
            hint="Write postgresql://user@host/name, or the path of a file. In a password write @ as %40, : as "
            "%3A and / as %2F.",
        )
    if url.get_backend_name() != "postgresql":
        raise InputError(
            f"the book's URL names the database {url.get_backend_name()}; only PostgreSQL is supported",
            hint="Write postgresql://user@host/name, or the path of a file.",
        )
    return url.set(drivername="postgresql+psycopg")


def _server_files() -> FileStore:
    """Several benches share one server: they share the recordings' folder if it is named."""
    said = os.environ.get("ACOUSTIC_RECORDINGS")
    return FileStore(Path(said).expanduser() if said else _data_folder() / "recordings")


def _require_folder(path: Path) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"the folder {path.parent} of the book cannot be created ({error.strerror})",
            hint="Use --book to name a book in a folder that you may write to.",
        ) from None
    if path.is_dir():
        raise InputError(f"--book: {path} is a folder", hint=f"Name a file in it, for example {path / 'book.db'}.")


def _server_engine(url: sa.URL) -> sa.Engine:
    try:
        waits = {"connect_timeout": WAIT_S, "options": f"-c lock_timeout={WAIT_S}s"}
        return sa.create_engine(url, connect_args=waits, isolation_level="READ COMMITTED")
    except ModuleNotFoundError:
        raise InputError(
            "a book on a PostgreSQL server needs the package psycopg, which is not installed",
            hint="Run: pip install 'acoustic-crank[postgres]'",
        ) from None


def _file_engine(path: Path) -> sa.Engine:
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), connect_args={"timeout": WAIT_S})

    @sa.event.listens_for(engine, "connect")
    def _(connection: sqlite3.Connection, record: object) -> None:
        connection.isolation_level = None  # the transactions are begun below
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")

    @sa.event.listens_for(engine, "begin")
    def _(connection: sa.Connection) -> None:
        # A reader that later writes would be refused where another writes too: writers queue from the start.
        reading = connection.get_execution_options().get("reading")
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")

    return engine


@contextmanager
def _told_plainly(place: str) -> Iterator[None]:
    """Turn the database's complaints into sentences."""
    try:
        yield
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"the book {place} is damaged ({error})", hint=_COPY) from None
    except DBAPIError as error:
        told = str(error.orig).strip().splitlines()[0] if str(error.orig).strip() else type(error.orig).__name__
        raise InputError(
            f"the book {place} cannot be used ({told}); nothing was changed",
            hint="Check that it is a book of this program, that you may write to its folder, that there is free "
            "space, and that no other program has it open.",
        ) from None


def _version(connection: sa.Connection) -> str | None:
    """The step a book was last brought to; None for an empty database."""
    tables = sa.inspect(connection).get_table_names()
    if "alembic_version" in tables:
        return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    if tables:
        raise InputError(
            "this database is not a workshop's book",
            hint="Name another file or database with --book.",
        )
    return None


def _bring_up_to_date(book: Book, nothing_there: InputError | None) -> bool:
    """Run the steps that are missing, all or none, after a copy; whether there was no book before."""
    with book.reading() as connection:
        _refuse_damaged(connection, book.place)
        version = _version(connection)
    if version == HEAD:
        return False
    if version is None and nothing_there is not None:
        raise nothing_there
    with book.writing() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
        version = _version(connection)  # another program may have been faster
        if version == HEAD:
            return False
        _refuse_newer(version)
        if version is not None:
            _copy(book, connection, version)
        _upgrade(connection)
    return version is None


def _refuse_damaged(connection: sa.Connection, place: str) -> None:
    """Refuse a file whose pages do not fit together, before anything is written into it; a server does its own."""
    if connection.dialect.name != "sqlite":
        return
    told = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
    if told != "ok":
        raise InputError(f"the book {place} is damaged ({str(told).strip()[:80]})", hint=_COPY)


def _refuse_newer(version: str | None) -> None:
    known = {path.name.split("_")[0] for path in (MIGRATIONS / "versions").glob("[0-9]*.py")}
    if version is not None and version not in known:
        raise InputError(
            f"the book was written by a newer version of this program (step {version}; this one knows {HEAD})",
            hint="Update the program: pip install --upgrade acoustic-crank",
        )


def _upgrade(connection: sa.Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _copy(book: Book, connection: sa.Connection, version: str) -> None:
    """Set a copy of the book aside: a file beside it, or the tables of a server as JSON beside the recordings."""
    stamp = f"before-{HEAD}-{datetime.now(UTC):%Y%m%d-%H%M%S}"
    if connection.dialect.name == "sqlite":
        path = Path(book.place)
        with (
            closing(sqlite3.connect(path)) as source,
            closing(sqlite3.connect(path.with_name(f"{path.stem}.{stamp}.db"))) as target,
        ):
            source.backup(target)
        return
    tables = sa.MetaData()
    tables.reflect(connection)
    book.files.folder.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(book.files.folder / f"book.{stamp}.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for table in tables.sorted_tables:
            rows = [dict(row) for row in connection.execute(sa.select(table)).mappings()]
            archive.writestr(f"{table.name}.json", json.dumps({"version": version, "rows": rows}, default=str))
