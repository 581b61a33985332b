"""Visits and their verdicts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from checked import plain_check

from acoustic.book import visits
from acoustic.book.bikes import add_bike, fit_bearing
from acoustic.book.history import history
from acoustic.book.judging import differences
from acoustic.book.opening import Book
from acoustic.book.records import Fitted, Visit
from acoustic.book.tables import verdicts
from acoustic.errors import InputError

Judge = Callable[..., Any]


@pytest.fixture
def written(book: Book, judged: Judge, day: date) -> Visit:
    with book.writing() as connection:
        add_bike(connection, "red road")
        fitted = fit_bearing(connection, Fitted(bike="red road", installed_on=day))
        heard = (judged(book, grade="watch", outer_raceway=-14.0), judged(book, content=b"another"))
        made = Visit(
            bike="red road", bearing=fitted.uid, on_date=day, distance_km=812.5, verdicts=heard, notes="x"
        )
        return visits.add_visit(connection, made)


def test_what_is_written_is_read_back(book: Book, written: Visit) -> None:
    with book.reading() as connection:
        assert visits.require_visit(connection, written.number) == written
        assert visits.list_visits(connection) == (written,)


def test_visits_are_listed_by_day_even_those_added_late(book: Book, written: Visit, day: date) -> None:
    with book.writing() as connection:
        add_bike(connection, "blue")
        early = visits.add_visit(connection, Visit(bike="blue", on_date=day - timedelta(days=400)))
        late = visits.add_visit(connection, Visit(bike="red road", on_date=day + timedelta(days=9)))
    with book.reading() as connection:
        listed = visits.list_visits(connection)
        assert [one.number for one in listed] == [early.number, written.number, late.number]
        assert [one.number for one in visits.list_visits(connection, newest=2)] == [written.number, late.number]
        assert [one.number for one in visits.list_visits(connection, bike="blue")] == [early.number]
        assert [one.number for one in visits.list_visits(connection, since=day)] == [written.number, late.number]


def test_corrections_keep_what_was_said_before(book: Book, written: Visit) -> None:
    with book.writing() as connection:
        values = {"distance_km": 813.0, "done": "service"}
        now = visits.correct(connection, written.number, values, "read wrongly")
        assert now == replace(written, distance_km=813.0, done="service")
        kept = history(connection, "visit", written.number)
        told = [(one.field, one.was, one.became, one.because) for one in kept]
    assert told == [
        ("distance_km", "812.5", "813.0", "read wrongly"),
        ("done", "nothing", "service", "read wrongly"),
    ]


def test_a_removed_visit_is_kept_with_its_reason(book: Book, written: Visit) -> None:
    with book.writing() as connection:
        with pytest.raises(InputError, match="only for a reason"):
            visits.remove(connection, written.number, " ")
        visits.remove(connection, written.number, "wrong bike")
        with pytest.raises(InputError, match="wrong bike"):
            visits.remove(connection, written.number, "again")
    with book.reading() as connection:
        assert visits.list_visits(connection) == ()
        (kept,) = visits.list_visits(connection, removed=True)
    assert kept == replace(written, removed_because="wrong bike")


def test_a_renewed_verdict_stands_and_the_old_one_is_kept(book: Book, written: Visit, judged: Judge) -> None:
    again = tuple(replace(judged(book, grade="replace"), sha256=one.sha256) for one in written.verdicts)
    with book.writing() as connection:
        visits.renew(connection, written.number, again)
        assert [one.grade for one in visits.require_visit(connection, written.number).verdicts] == ["replace"] * 2
        kept = connection.execute(sa.select(verdicts.c.grade, verdicts.c.stands).order_by(verdicts.c.number)).all()
    assert [tuple(row) for row in kept] == [
        ("watch", False),
        ("clean", False),
        ("replace", True),
        ("replace", True),
    ]


def test_an_unknown_bike_or_number(book: Book, day: date) -> None:
    with book.writing() as connection, pytest.raises(InputError, match="no bike"):
        visits.add_visit(connection, Visit(bike="nobody", on_date=day))
    with book.reading() as connection, pytest.raises(InputError, match="no visit 3"):
        visits.require_visit(connection, 3)


def test_what_two_verdicts_say_differently(book: Book, judged: Judge) -> None:
    before = judged(book, grade="watch", outer_raceway=-12.0, ball=-4.0)
    now = judged(book, grade="replace", outer_raceway=-3.0, inner_raceway=-5.0, ball=-20.0)
    before = replace(before, document=plain_check(level="watch", ball=-4.0))
    assert differences(before, now) == [
        "watch became replace",
        "inner raceway is found now",
        "outer raceway is found now",
        "ball is no longer found",
    ]
    assert differences(now, now) == []
