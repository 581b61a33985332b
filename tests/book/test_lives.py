"""From bearings in the book to lives: what ends one, since when it is watched, in days, kilometres and rides."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from acoustic.book.bikes import add_bike, all_bearings, fit_bearing
from acoustic.book.lives import Reading, began_on, labels_of, lives, matching, readings_of
from acoustic.book.opening import Book
from acoustic.book.records import Fitted, Visit
from acoustic.book.visits import add_visit, remove
from acoustic.cli.lifetimes import FIELDS, MEASURES
from acoustic.errors import InputError
from acoustic.lifetimes import kinds

DAY, TODAY = date(2026, 3, 1), date(2026, 6, 9)


def fitted(on: date = DAY, **said: object) -> Fitted:
    return replace(Fitted(bike="red", installed_on=on), **said)  # type: ignore[arg-type]


def out(days: int, because: str = "worn", **said: object) -> Fitted:
    return fitted(removed_on=DAY + timedelta(days), removed_because=because, **said)


@pytest.mark.parametrize(
    ("one", "days", "ended"),
    [
        (out(30), 30.0, True),
        (out(30, "Worn out by salt"), 30.0, True),
        (out(30, "frame sold"), 30.0, False),
        (fitted(), 100.0, False),
        (out(0), 0.0, True),
        (fitted(TODAY), 0.0, False),
        (out(101), 100.0, False),  # not known of yet on the day asked about
    ],
)
def test_only_wear_ends_a_life_and_a_day_of_none_counts(one: Fitted, days: float, ended: bool) -> None:
    (life,) = lives([one], today=TODAY).lives
    assert (life.ran, life.ended, life.entered) == (days, ended, 0.0)


def test_what_goes_in_later_has_no_life_yet() -> None:
    assert lives([fitted(TODAY + timedelta(1))], today=TODAY).lives == ()


def test_bearings_from_before_the_book_count_from_its_first_day() -> None:
    """The book began on day 60; the second came out on it, the third before, the last went in on it."""
    began = DAY + timedelta(60)
    taken = lives([fitted(), out(60), out(40), fitted(began)], today=TODAY, began=began)
    assert [(life.ran, life.entered) for life in taken.lives] == [(100.0, 60.0), (40.0, 0.0)]
    assert (taken.began, taken.joined, taken.came_out, taken.unknown) == (began, 1, 2, 0)
    assert lives([fitted(began)], today=TODAY, began=began).began is None, "none is from before"


def test_a_book_begins_with_its_first_visit_or_a_removal_before() -> None:
    reading = Reading("red", DAY + timedelta(50), None)
    assert began_on([out(40)], [reading]) == DAY + timedelta(40)
    assert began_on([out(60)], [reading]) == reading.day
    assert began_on([out(40)], []) is None, "no visit tells when"


def test_kilometres_from_the_bike_s_own_count() -> None:
    """2000 km on day 20, 4000 km on day 60: 100/2 = 50 km a day between, so 2500 km on day 30."""
    readings = [Reading("red", DAY + timedelta(days), km) for days, km in ((20, 2000.0), (60, 4000.0))]
    readings.append(Reading("blue", DAY + timedelta(70), 9999.0))
    new = {"installed_km": 500.0}
    cases = {
        2000.0: out(30, **new),
        1500.0: out(30, removed_km=2000.0, **new),
        3500.0: fitted(**new),  # still running: as far as it was seen
    }
    for km, one in cases.items():
        (life,) = lives([one], today=TODAY, measure="km", readings=readings).lives
        assert life.ran == pytest.approx(km)
    rides = lives([out(30, **new)], today=TODAY, measure="rides", readings=readings, ride_km=50.0).lives
    assert rides[0].ran == pytest.approx(40.0)
    unknown = [out(30), out(90, **new), out(30, removed_km=400.0, **new)]  # no count in, none out, a falling one
    taken = lives(unknown, today=TODAY, measure="km", readings=readings)
    assert (taken.lives, taken.unknown) == ((), 3)


def test_kilometres_before_the_book_began() -> None:
    readings = [Reading("red", DAY + timedelta(days), km) for days, km in ((20, 2000.0), (60, 4000.0))]
    began = DAY + timedelta(40)
    taken = lives([fitted(installed_km=0.0)], today=TODAY, measure="km", readings=readings, began=began)
    assert (taken.lives[0].ran, taken.lives[0].entered) == (4000.0, 3000.0)
    assert taken.joined == 1


def test_labels_and_those_wanted() -> None:
    said = {
        "designation": "6805-2RS",
        "rows": 2,
        "spindle_mm": 24.0,
        "use": "wet",
        "supplier": "east",
        "lot": "B7",
    }
    one = fitted(**said)
    assert labels_of(one) == {
        "designation": "6805",
        "kind": "deep groove",
        "rows": "double row",
        "spindle": "24 mm",
        "use": "wet",
        "supplier": "east",
        "lot": "B7",
    }
    assert labels_of(fitted(designation="3805"))["rows"] == "double row", "by the catalogue where nobody said"
    assert "rows" not in labels_of(fitted(designation="banana"))
    found = lives([one, replace(one, use="road", designation="banana")], today=TODAY).lives
    for name, word in (
        ("use", "Wet"),
        ("designation", "61805"),
        ("rows", "2"),
        ("spindle", "24mm"),
        ("lot", " b7 "),
    ):
        assert matching(found, {name: word})[0].labels["use"] == "wet"
    assert len(matching(found, {"designation": "banana"})) == 1, "what the catalogue does not know stays as it is"
    with pytest.raises(InputError, match=r"use snow\. On record are use: road, wet"):
        matching(found, {"use": "snow"})


def test_help_knows_every_field_and_measure() -> None:
    assert tuple(kinds.FIELDS) == FIELDS
    assert MEASURES == ("days", "km", "rides")


def test_a_removed_visit_tells_no_day(book: Book) -> None:
    with book.writing() as connection:
        add_bike(connection, "red")
        fit_bearing(connection, fitted())
        add_visit(connection, Visit(bike="red", on_date=DAY, distance_km=12.0))
        wrong = add_visit(connection, Visit(bike="red", on_date=DAY - timedelta(9)))
        remove(connection, wrong.number, "wrong bike")
        assert readings_of(connection) == (Reading("red", DAY, 12.0),)
        assert began_on(all_bearings(connection), readings_of(connection)) == DAY
