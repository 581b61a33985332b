"""Several benches write into one book at the same moment."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import closing
from datetime import date
from typing import Any

import pytest
import sqlalchemy as sa

from acoustic.book import opening
from acoustic.book.bikes import add_bike, all_bikes, bearings_of, fit_bearing, known_bike
from acoustic.book.opening import Book, open_book
from acoustic.book.records import Fitted, Visit
from acoustic.book.replacing import replace_bearing
from acoustic.book.slips import merge_bikes
from acoustic.book.visits import add_visit, list_visits
from acoustic.errors import InputError

MARCH, MAY = date(2026, 3, 10), date(2026, 5, 10)


def at_once(where: str, count: int, write: Callable[[sa.Connection, int], object]) -> list[BaseException]:
    """Let so many, each with a book of its own, begin together; what any of them raised."""
    raised: list[BaseException] = []
    ready = threading.Barrier(count)

    def run(number: int) -> None:
        try:
            book = open_book(where)
            ready.wait()
            with closing(book), book.writing() as connection:
                write(connection, number)
        except BaseException as error:
            raised.append(error)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


def test_eight_who_write_of_the_same_new_bike(book: Book, where: str, judged: Callable[..., Any]) -> None:
    """With one recording among them all, and spelt differently: none is refused, one bike, all visits."""
    heard = judged(book)

    def write(connection: sa.Connection, number: int) -> None:
        bike = known_bike(connection, "red road" if number % 2 else "Red  ROAD")
        add_visit(connection, Visit(bike=bike.name, on_date=MARCH, notes=str(number), verdicts=(heard,)))

    assert at_once(where, 8, write) == []
    with book.reading() as connection:
        (bike,) = all_bikes(connection)
        assert sorted(visit.notes for visit in list_visits(connection, bike=bike.name)) == list("01234567")


def test_six_who_replace_the_same_bearing(book: Book, where: str) -> None:
    """One does it; the rest are told of the one that went in that day."""
    with book.writing() as connection:
        add_bike(connection, "red")
        fit_bearing(connection, Fitted(bike="red", installed_on=MARCH, designation="6805"))

    def write(connection: sa.Connection, number: int) -> None:
        replace_bearing(connection, Fitted(bike="red", installed_on=MAY, designation="6805", lot=str(number)))

    raised = at_once(where, 6, write)
    assert len(raised) == 5
    assert all(isinstance(error, InputError) and "the same day" in error.found for error in raised), raised
    with book.reading() as connection:
        assert [one.removed_on for one in bearings_of(connection, "red")] == [MAY, None]


def test_six_who_fit_into_an_empty_seat(book: Book, where: str) -> None:
    def write(connection: sa.Connection, number: int) -> None:
        known_bike(connection, "red")
        fit_bearing(connection, Fitted(bike="red", installed_on=MAY))

    raised = at_once(where, 6, write)
    assert len(raised) == 5
    assert all(isinstance(error, InputError) and "has been in red" in error.found for error in raised), raised


def test_a_visit_written_while_its_bike_is_merged_goes_where_the_bike_went(book: Book, where: str) -> None:
    with book.writing() as connection:
        add_bike(connection, "red")
        add_bike(connection, "rde")

    def write(connection: sa.Connection, number: int) -> None:
        if number == 0:
            merge_bikes(connection, "rde", "red", "typed wrong")
        else:
            add_visit(connection, Visit(bike="rde", on_date=MARCH, notes=str(number)))

    assert at_once(where, 6, write) == []
    with book.reading() as connection:
        assert len(list_visits(connection, bike="red")) == 5


def test_a_lock_that_another_program_holds_is_not_waited_for_without_end(
    where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "WAIT_S", 1)
    with closing(open_book(where)) as first, closing(open_book(where)) as second:
        with first.writing() as connection:
            add_bike(connection, "red")
        with first.writing() as connection:
            known_bike(connection, "red")
            with pytest.raises(InputError, match=r"cannot be used \(.*lock"), second.writing() as other:
                known_bike(other, "red")


@pytest.mark.parametrize("crosswise", [("red", "blue"), ("blue", "red")])
def test_two_who_merge_crosswise_do_not_wait_for_each_other(
    book: Book, where: str, crosswise: tuple[str, str]
) -> None:
    with book.writing() as connection:
        add_bike(connection, "red")
        add_bike(connection, "blue")

    def write(connection: sa.Connection, number: int) -> None:
        names = crosswise if number else crosswise[::-1]
        merge_bikes(connection, *names, "the same bike")

    raised = at_once(where, 2, write)
    assert [str(error.found) for error in raised if isinstance(error, InputError)] in (
        ["red and blue are the same bike"],
        ["blue and red are the same bike"],
    )
    with book.reading() as connection:
        assert len(all_bikes(connection)) == 1
