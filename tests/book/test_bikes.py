"""Bikes and the bearings in them."""

from __future__ import annotations

from datetime import date

import pytest

from acoustic.book.bikes import (
    add_bike,
    all_bearings,
    bearings_of,
    find_bike,
    fit_bearing,
    require_bike,
    sitting,
    take_out,
)
from acoustic.book.opening import Book
from acoustic.book.records import Fitted
from acoustic.errors import InputError

JANUARY, MARCH, MAY = date(2026, 1, 10), date(2026, 3, 10), date(2026, 5, 10)


def test_a_bike_is_found_by_its_name(book: Book) -> None:
    with book.writing() as connection:
        made = add_bike(connection, "ticket 7: blue, tall", notes="rings when it rains")
    with book.reading() as connection:
        assert find_bike(connection, "ticket 7: blue, tall") == made
        assert find_bike(connection, "ticket 7") is None


def test_names_are_taken_once_and_near_ones_are_offered(book: Book) -> None:
    with book.writing() as connection:
        add_bike(connection, "red road")
    with book.writing() as connection, pytest.raises(InputError, match="already"):
        add_bike(connection, "red road")
    with book.writing() as connection, pytest.raises(InputError, match="no name"):
        add_bike(connection, "  ")
    with book.reading() as connection, pytest.raises(InputError, match="red road"):
        require_bike(connection, "red raod")


def test_what_is_written_of_a_bearing_is_read_back(book: Book) -> None:
    fitted = Fitted(
        bike="red road",
        installed_on=JANUARY,
        side="drive",
        designation="6805",
        rows=2,
        seal="low-friction",
        shell="press-fit 41 mm",
        shell_width_mm=86.5,
        bore_mm=40.97,
        spindle_mm=24.0,
        use="wet",
        notes="a, b",
        supplier="the wholesaler",
        lot="B7",
        installed_km=1200.5,
    )
    with book.writing() as connection:
        add_bike(connection, "red road")
        written = fit_bearing(connection, fitted)
    with book.reading() as connection:
        assert bearings_of(connection, "red road") == (written,)
        assert all_bearings(connection) == (written,)
    assert written.number > 0 and len(written.uid) == 32


def test_a_seat_holds_one_bearing_at_a_time(book: Book) -> None:
    with book.writing() as connection:
        add_bike(connection, "red road")
        first = fit_bearing(connection, Fitted(bike="red road", installed_on=JANUARY, side="drive"))
        fit_bearing(connection, Fitted(bike="red road", installed_on=JANUARY, side="non-drive"))
        with pytest.raises(InputError, match="has been in red road"):
            fit_bearing(connection, Fitted(bike="red road", installed_on=MARCH, side="drive"))
        out = take_out(connection, first.number, MARCH, "worn")
        assert (out.removed_on, out.removed_because) == (MARCH, "worn")
        fit_bearing(connection, Fitted(bike="red road", installed_on=MARCH, side="drive"))


def test_a_bearing_comes_out_once_and_not_before_it_went_in(book: Book) -> None:
    with book.writing() as connection:
        add_bike(connection, "red road")
        number = fit_bearing(connection, Fitted(bike="red road", installed_on=MARCH)).number
        with pytest.raises(InputError, match="after"):
            take_out(connection, number, JANUARY, "worn")
        take_out(connection, number, MAY, "worn")
        with pytest.raises(InputError, match="already"):
            take_out(connection, number, MAY, "worn")
        with pytest.raises(InputError, match="no bearing"):
            take_out(connection, number + 1, MAY, "worn")


def test_which_bearing_sat_there_on_a_day() -> None:
    first = Fitted(uid="1", bike="x", installed_on=JANUARY, removed_on=MARCH)
    second = Fitted(uid="2", bike="x", installed_on=MARCH)
    assert sitting((first, second), date(2026, 2, 1)) == first
    assert sitting((first, second), MARCH) == second, "heard on the day of the replacement, the new one is meant"
    assert sitting((first, second), date(2025, 12, 1)) is None
    left, right = (Fitted(uid=side, bike="x", installed_on=MARCH, side=side) for side in ("drive", "non-drive"))
    assert sitting((left, right), MAY) is None
    assert sitting((left, right), MAY, "drive") == left
