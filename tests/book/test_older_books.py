"""Books that earlier versions wrote open here, with all that was in them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from acoustic.book import opening
from acoustic.book.bikes import bearings_of
from acoustic.book.opening import Book, open_book
from acoustic.book.visits import list_visits


def written_by(step: str, where: str, monkeypatch: pytest.MonkeyPatch) -> Book:
    """A book as the version with this step left it."""

    def upgrade(connection: sa.Connection) -> None:
        config = Config()
        config.set_main_option("script_location", str(opening.MIGRATIONS))
        config.set_main_option("path_separator", "os")
        config.attributes["connection"] = connection
        command.upgrade(config, step)

    with monkeypatch.context() as then:
        then.setattr(opening, "_upgrade", upgrade)
        return open_book(where)


@pytest.fixture
def first(where: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """A book of the first version: a bike, the bearing in it, a visit."""
    book = written_by("0001", where, monkeypatch)
    with book.writing() as connection:
        for statement in (
            f"INSERT INTO bikes (uid, name) VALUES ('{'a' * 32}', 'red road')",
            "INSERT INTO bearings (uid, bike, designation, installed_on)"
            f" VALUES ('{'b' * 32}', 1, '6805', '2025-03-01')",
            "INSERT INTO visits (uid, bike, bearing, on_date, kind, done, distance_km)"
            f" VALUES ('{'c' * 32}', 1, 1, '2025-06-01', 'check', 'nothing', 812.5)",
        ):
            connection.execute(sa.text(statement))
    book.close()
    yield where


def test_a_book_of_the_first_version_keeps_all_that_it_held(first: str) -> None:
    book = open_book(first)
    with book.reading() as connection:
        (fitted,) = bearings_of(connection, "red road")
        (visit,) = list_visits(connection)
    book.close()
    assert (fitted.uid, fitted.designation, fitted.installed_on) == ("b" * 32, "6805", date(2025, 3, 1))
    assert (fitted.supplier, fitted.lot, fitted.installed_km, fitted.removed_km) == ("", "", None, None)
    assert (visit.uid, visit.bearing, visit.distance_km) == ("c" * 32, "b" * 32, 812.5)
