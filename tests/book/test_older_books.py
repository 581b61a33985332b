"""Books that earlier versions wrote open here, with all that was in them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from datetime import date

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from acoustic.book import opening
from acoustic.book.bikes import all_bikes, bearings_of
from acoustic.book.history import history
from acoustic.book.naming import settled
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


def test_names_that_are_one_by_now_stay_apart_and_can_be_told(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bikes that differed by case alone get a number; what no name may hold gets its code; all on record."""
    names = ["red", "Red", "RED (2)", "ticket\t7", " blue ", "a\u202eb"]
    bearings = ["6805-2RS", "61805", "6805", "6902ZZ", "", "of my own"]
    book = written_by("0002", where, monkeypatch)
    with book.writing() as connection:
        for number, name in enumerate(names):
            values = {"uid": f"{number:032x}", "name": name}
            connection.execute(sa.text("INSERT INTO bikes (uid, name) VALUES (:uid, :name)"), values)
            values = {"uid": f"{number:032x}", "bike": number + 1, "kind": bearings[number]}
            connection.execute(
                sa.text(
                    "INSERT INTO bearings (uid, bike, designation, installed_on) "
                    "VALUES (:uid, :bike, :kind, '2025-03-01')"
                ),
                values,
            )
    book.close()
    with closing(open_book(where)) as book, book.reading() as connection:
        bikes = {bike.number: bike for bike in all_bikes(connection)}
        assert [bikes[number].name for number in range(1, 7)] == [
            "red",
            "Red (3)",
            "RED (2)",
            "bike ticket\\u00097",
            "blue",
            "bike a\\u202eb",
        ]
        assert [settled(bike.name) for bike in bikes.values()] == [bike.name for bike in bikes.values()]
        (change,) = history(connection, "bike", 2)
        assert (change.was, change.became) == ("Red", "Red (3)")
        settled_names = [bearings_of(connection, bikes[number].name)[0].designation for number in range(1, 7)]
        assert settled_names == ["6805", "6805", "6805", "6902", "", "of my own"]
        assert history(connection, "bearing", 1)[0].was == "6805-2RS"


def test_what_was_changed_about_visits_stays_on_record(first: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with closing(written_by("0002", first, monkeypatch)) as book, book.writing() as connection:
        connection.execute(
            sa.text(
                "INSERT INTO changes (visit, changed_at, field, was, became, because) "
                "VALUES (1, '2025-07-01 10:00:00.000000', 'notes', '', 'creaks', 'forgotten')"
            )
        )
    with closing(open_book(first)) as book, book.reading() as connection:
        (change,) = history(connection, "visit", 1)
    assert (change.field, change.became, change.because) == ("notes", "creaks", "forgotten")
