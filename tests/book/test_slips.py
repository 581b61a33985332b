"""Slips put right, and what stood there before."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from acoustic.book.bikes import (
    add_bike,
    all_bikes,
    bearings_of,
    find_bike,
    fit_bearing,
    require_bike,
    take_out,
)
from acoustic.book.distance import refuse_count
from acoustic.book.history import history
from acoustic.book.opening import Book
from acoustic.book.records import Fitted, Visit
from acoustic.book.replacing import replace_bearing
from acoustic.book.slips import (
    correct_bearing,
    merge_bikes,
    move_visit,
    rename_bike,
    restore_bearing,
    restore_visit,
    withdraw_bearing,
)
from acoustic.book.visits import add_visit, list_visits, refuse_known, remove, require_visit
from acoustic.errors import InputError

JANUARY, MARCH, MAY = date(2026, 1, 10), date(2026, 3, 10), date(2026, 5, 10)


@pytest.fixture
def numbers(book: Book) -> tuple[int, int]:
    """Bearing and visit of a red bike, beside a blue one."""
    with book.writing() as connection:
        add_bike(connection, "Red Road")
        add_bike(connection, "blue")
        fitted = fit_bearing(connection, Fitted(bike="red road", installed_on=JANUARY, designation="6805"))
        visit = add_visit(
            connection, Visit(bike="RED ROAD", bearing=fitted.uid, on_date=MARCH, distance_km=1200.0)
        )
    return fitted.number, visit.number


def told(book: Book, of: Any, number: int) -> list[tuple[str, str, str, str]]:
    with book.reading() as connection:
        return [(one.field, one.was, one.became, one.because) for one in history(connection, of, number)]


def test_a_bike_gets_another_name(book: Book, numbers: tuple[int, int]) -> None:
    with book.writing() as connection:
        bike = rename_bike(connection, "red ROAD", "  ticket   7 ", "customer came back")
        assert bike.name == "ticket 7" and find_bike(connection, "red road") is None
        assert [visit.bike for visit in list_visits(connection, bike="TICKET 7")] == ["ticket 7"]
        with pytest.raises(InputError, match="leads to the bike blue already"):
            rename_bike(connection, "ticket 7", "Blue", "x")
        with pytest.raises(InputError, match="only for a reason"):
            rename_bike(connection, "ticket 7", "ticket 8", " ")
        assert rename_bike(connection, "ticket 7", "Ticket 7", "capital").name == "Ticket 7"
    with book.reading() as connection, pytest.raises(InputError, match="called Ticket 7 by now: acoustic bike"):
        require_bike(connection, "red road")
    assert told(book, "bike", bike.number)[0] == ("name", "Red Road", "ticket 7", "customer came back")


def test_two_bikes_that_are_one_become_one(book: Book, numbers: tuple[int, int]) -> None:
    with book.writing() as connection:
        late = add_visit(connection, Visit(bike="blue", on_date=MAY))
        merge_bikes(connection, "blue", "red road", "entered twice")
        assert [bike.name for bike in all_bikes(connection)] == ["Red Road"]
        assert require_bike(connection, "BLUE").name == "Red Road", "the old name leads there"
        moved = require_visit(connection, late.number)
        assert (moved.bike, bool(moved.bearing)) == ("Red Road", True), "heard was the bearing that sits there"
        with pytest.raises(InputError, match="are the same bike"):
            merge_bikes(connection, "blue", "red road", "again")
        with pytest.raises(InputError, match="was merged into Red Road"):
            add_bike(connection, "Blue")
        with pytest.raises(InputError, match="leads to"):
            rename_bike(connection, "red road", "blue", "back")
    assert told(book, "visit", late.number)[0] == ("bike", "blue", "Red Road", "entered twice")


def test_bikes_are_not_merged_where_two_bearings_would_sit_in_one(book: Book, numbers: tuple[int, int]) -> None:
    with book.writing() as connection:
        twin = fit_bearing(connection, Fitted(bike="blue", installed_on=MARCH, designation="6805"))
        with pytest.raises(InputError, match="two bearings would sit in one bike") as refused:
            merge_bikes(connection, "blue", "red road", "entered twice")
        assert f"acoustic bike withdraw {twin.number}" in refused.value.hint
        withdraw_bearing(connection, twin.number, "the same bearing, entered twice")
        merge_bikes(connection, "blue", "red road", "entered twice")
        assert len(bearings_of(connection, "red road")) == 1
        assert len(bearings_of(connection, "red road", withdrawn=True)) == 2, "it is kept"


def test_a_visit_moves_to_the_bike_it_belongs_to(book: Book, numbers: tuple[int, int]) -> None:
    _, visit = numbers
    with book.writing() as connection:
        fitted = fit_bearing(connection, Fitted(bike="blue", installed_on=JANUARY))
        moved = move_visit(connection, visit, "Blue", "wrong stand")
        assert (moved.bike, moved.bearing) == ("blue", fitted.uid)
        with pytest.raises(InputError, match="is one of blue already"):
            move_visit(connection, visit, "blue", "again")
        with pytest.raises(InputError, match="no bike"):
            move_visit(connection, visit, "green", "x")
    kept = told(book, "visit", visit)
    assert [row[:3] for row in kept] == [
        ("bike", "Red Road", "blue"),
        ("bearing", "bearing 1 (6805)", f"bearing {fitted.number}"),
    ]


def test_a_removal_is_undone(book: Book, numbers: tuple[int, int]) -> None:
    bearing, visit = numbers
    with book.writing() as connection:
        with pytest.raises(InputError, match="nothing is to be undone"):
            restore_bearing(connection, bearing, "x")
        take_out(connection, bearing, MAY, "worn", km=1900.0)
        back = restore_bearing(connection, bearing, "it was the other bike")
        assert (back.removed_on, back.removed_because, back.removed_km) == (None, "", None)
        take_out(connection, bearing, MARCH, "worn")
        fit_bearing(connection, Fitted(bike="red road", installed_on=MARCH))
        with pytest.raises(InputError, match="has been in Red Road"):
            restore_bearing(connection, bearing, "x")
        remove(connection, visit, "wrong")
        assert restore_visit(connection, visit, "it was right").removed_because is None
        with pytest.raises(InputError, match="was not removed"):
            restore_visit(connection, visit, "again")
    with book.reading() as connection:
        words = [str(one).split(": ", 1)[1] for one in history(connection, "visit", visit)]
    assert words == ["removed (wrong)", "removal undone (it was right)"]
    kept = told(book, "bearing", bearing)
    assert ("removed_on", "2026-05-10", "", "it was the other bike") in kept
    assert ("removed_because", "worn", "", "it was the other bike") in kept


def test_an_entry_about_a_bearing_is_corrected(book: Book, numbers: tuple[int, int]) -> None:
    bearing, visit = numbers
    with book.writing() as connection:
        now = correct_bearing(connection, bearing, {"designation": "6806", "installed_on": MAY}, "misread")
        assert (now.designation, now.installed_on) == ("6806", MAY)
        assert require_visit(connection, visit).bearing == "", "it was not in yet on that day"
        take_out(connection, bearing, MAY, "worn")
        with pytest.raises(InputError, match="before it went in"):
            correct_bearing(connection, bearing, {"removed_on": MARCH}, "misread")
    assert told(book, "bearing", bearing)[0] == ("designation", "6805", "6806", "misread")


def test_a_bearing_cannot_have_sat_where_another_did(book: Book, numbers: tuple[int, int]) -> None:
    bearing, _ = numbers
    with book.writing() as connection:
        take_out(connection, bearing, MAY, "worn")
        with pytest.raises(InputError, match="was in Red Road from 2026-01-10 to 2026-05-10"):
            fit_bearing(connection, Fitted(bike="red road", installed_on=MARCH))
        fit_bearing(connection, Fitted(bike="red road", installed_on=MAY))


class TestReplaced:
    def test_in_one_step(self, book: Book, numbers: tuple[int, int]) -> None:
        """What belongs to the frame stays, what belongs to the bearing does not."""
        bearing, visit = numbers
        with book.writing() as connection:
            said = {"shell": "pressed", "seal": "contact", "spindle_mm": 24.0, "lot": "A1", "use": "wet"}
            correct_bearing(connection, bearing, said, "forgotten")
            new = Fitted(bike="red road", installed_on=MARCH, designation="6805", installed_km=1250.0, lot="B2")
            done = replace_bearing(connection, new)
            assert done.out is not None and done.visit is not None
            out = done.out
            assert (out.number, out.removed_on, out.removed_because) == (bearing, MARCH, "worn")
            assert out.removed_km == 1250.0
            fitted = done.fitted
            assert (fitted.shell, fitted.spindle_mm, fitted.use) == ("pressed", 24.0, "wet")
            assert (fitted.seal, fitted.lot) == ("", "B2")
            assert bearings_of(connection, "red road") == (out, fitted)
            assert (done.visit.number, require_visit(connection, visit).done) == (visit, "replacement")

    def test_of_the_same_kind_if_none_is_named(self, book: Book, numbers: tuple[int, int]) -> None:
        with book.writing() as connection:
            done = replace_bearing(connection, Fitted(bike="red road", installed_on=MAY), because="crash")
        assert done.out is not None and done.out.removed_because == "crash"
        assert (done.fitted.designation, done.visit) == ("6805", None)

    def test_into_a_seat_that_was_empty(self, book: Book) -> None:
        with book.writing() as connection:
            add_bike(connection, "red")
            done = replace_bearing(connection, Fitted(bike="red", installed_on=MAY))
        assert (done.out, done.fitted.bike) == (None, "red")

    def test_on_one_of_two_sides(self, book: Book) -> None:
        with book.writing() as connection:
            add_bike(connection, "red")
            for side in ("drive", "non-drive"):
                fit_bearing(connection, Fitted(bike="red", installed_on=MARCH, side=side))
            with pytest.raises(InputError, match="two bearings sit in red"):
                replace_bearing(connection, Fitted(bike="red", installed_on=MAY))
            done = replace_bearing(connection, Fitted(bike="red", installed_on=MAY, side="drive"))
            assert done.out is not None and done.out.side == done.fitted.side == "drive"
            assert sum(one.removed_on is None for one in bearings_of(connection, "red")) == 2

    def test_twice_on_one_day_only_if_it_is_meant(self, book: Book, numbers: tuple[int, int]) -> None:
        with book.writing() as connection:
            again = Fitted(bike="red road", installed_on=JANUARY)
            with pytest.raises(InputError, match="the same day"):
                replace_bearing(connection, again)
            done = replace_bearing(connection, again, because="damaged in pressing", same_day=True)
        assert done.out is not None and done.out.removed_on == JANUARY


def test_kilometres_do_not_fall(book: Book, numbers: tuple[int, int]) -> None:
    with book.writing() as connection:
        with pytest.raises(InputError, match="1100 km on 2026-05-10, and 1200 km before it"):
            refuse_count(connection, "red road", MAY, 1100.0)
        with pytest.raises(InputError) as refused:
            refuse_count(connection, "red road", MAY, 1100.0)
        assert f"acoustic visit correct {numbers[1]} --km KM --because" in refused.value.hint
        with pytest.raises(InputError, match="1300 km on 2026-01-10, and 1200 km after it"):
            refuse_count(connection, "red road", JANUARY, 1300.0)
        for day, km in ((MAY, 1200.0), (JANUARY, 0.0), (MARCH, 1199.0), (MAY, None)):
            refuse_count(connection, "red road", day, km)
        replace_bearing(connection, Fitted(bike="red road", installed_on=MAY, installed_km=1500.0))
        with pytest.raises(InputError, match="1500 km after it"):
            refuse_count(connection, "red road", date(2026, 4, 1), 1600.0)
        refuse_count(connection, "blue", MAY, 1.0)


def test_kilometres_that_nobody_rides_are_asked_about(book: Book, numbers: tuple[int, int]) -> None:
    """1200 km on 10 March: two months on at most 61 * 400 + 500 km more, and as many fewer before."""
    with book.writing() as connection:
        refuse_count(connection, "red road", MAY, 1200.0 + 24900.0)
        with pytest.raises(
            InputError, match="24901 km in 61 days: 26101 km on 2026-05-10, and 1200 km on 2026-03-10"
        ):
            refuse_count(connection, "red road", MAY, 1200.0 + 24901.0)
        refuse_count(connection, "red road", MARCH, 1700.0)
        with pytest.raises(InputError, match="501 km in 0 days"):
            refuse_count(connection, "red road", MARCH, 1701.0)
        add_visit(connection, Visit(bike="red road", on_date=MAY, distance_km=38800.0))
        with pytest.raises(InputError, match="and 38800 km on 2026-05-10") as refused:
            refuse_count(connection, "red road", date(2026, 5, 9), 3810.0)
        assert "acoustic visit correct" in refused.value.hint


def test_a_recording_is_not_heard_twice(book: Book, judged: Callable[..., Any]) -> None:
    heard = judged(book)
    with book.writing() as connection:
        add_bike(connection, "red")
        refuse_known(connection, [("spin.wav", heard.sha256)])
        with pytest.raises(InputError, match="given twice"):
            refuse_known(connection, [("a.wav", heard.sha256), ("b.wav", heard.sha256)])
        visit = add_visit(connection, Visit(bike="red", on_date=MARCH, verdicts=(heard,)))
        with pytest.raises(InputError, match=f"in the book already: visit {visit.number}, red, 2026-03-10"):
            refuse_known(connection, [("again.wav", heard.sha256)])
        remove(connection, visit.number, "wrong bike")
        refuse_known(connection, [("again.wav", heard.sha256)])
