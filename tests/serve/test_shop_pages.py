"""Bikes, due, fit, lifetimes and the book on the page say what the commands say."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from browsing import BOUNDARY, Browser, Running, form_of, unlike_any

from acoustic.book.bikes import add_bike, all_bikes, bearings_of, find_bike, fit_bearing, take_out
from acoustic.book.records import Fitted, Visit
from acoustic.book.visits import add_visit, list_visits
from acoustic.install.choose import Situation, rank_units
from acoustic.install.fit.asked import asked_sheet
from acoustic.report.fit_text import fit_text
from acoustic.serve.pages.fit import USUAL


@pytest.fixture(scope="module")
def stocked(counter: Running, taken: Callable[..., Any]) -> Running:
    """A book with a bike, its bearing and a visit."""
    made, browser = taken("short_outer"), counter.browser()
    with counter.shop.book.writing() as connection:
        add_bike(connection, "stocked")
        on = date.today() - timedelta(days=100)
        fit_bearing(
            connection, Fitted(bike="stocked", installed_on=on, designation="6805", shell="press-fit 41 mm")
        )
        add_bike(connection, "before")
        older = Fitted(bike="before", installed_on=on - timedelta(days=300), designation="6806")
        number = fit_bearing(connection, older).number
        take_out(connection, number, on - timedelta(days=50), "worn")
    said = {"bike": "stocked", "way": "taps", "marks": made.marks.read_text(), "form_token": browser.token()}
    sent = browser.send(said, "spin.wav", unlike_any(made.path.read_bytes()))
    page = browser.ended(sent.headers["location"])
    assert "6805" in page.words, "as fitted"
    return counter


def test_a_bike_shows_its_bearing_and_visits(stocked: Running, browser: Browser) -> None:
    with stocked.shop.book.reading() as connection:
        bike = find_bike(connection, "stocked")
    assert bike is not None
    assert f"/bikes/{bike.uid}" in browser.get("/bikes").text
    page = browser.get(f"/bikes/{bike.uid}")
    assert page.status == 200
    assert "6805, in since" in page.words
    assert "visit 1" in page.words or "visit" in page.words
    assert browser.get(f"/bikes/{'0' * 32}").status == 404


def test_what_the_last_visit_asks_for_is_due(stocked: Running, browser: Browser) -> None:
    page = browser.get("/due").words
    assert "stocked" in page
    assert "is due now" in page
    assert "is due now" in browser.get("/").words.partition("Due")[2], "the first ones stand on the first page"


def test_the_sheet_is_the_commands(browser: Browser) -> None:
    asked = "bearing=6806&bore-0=41,99&bore-1=41.99&bore-2=41,99&bore-3=41,99&shell=aluminium&use=wet"
    readings = tuple(f"41.99@{place}" for place in ("5/0", "5/90", "10/0", "10/90"))
    sheet = asked_sheet("6806", {**USUAL, "readings": readings})
    page = browser.get(f"/fit?{asked}")
    assert fit_text(sheet.sheet, sheet.taken).splitlines()[0].partition(",")[0] in page.words
    first = rank_units(Situation(use="wet"))[0]
    assert "Which unit for this frame and rider" in page.words
    assert first.unit.name


def test_a_slip_of_the_gauge_is_asked_about(browser: Browser) -> None:
    page = browser.get("/fit?bearing=6806&bore-0=41.99&bore-1=41.6&bore-2=41.99&bore-3=41.99")
    assert "looks like a slip" in page.words
    sure = browser.get("/fit?bearing=6806&bore-0=41.99&bore-1=41.6&bore-2=41.99&bore-3=41.99&sure=yes")
    assert "looks like a slip" not in sure.words


def test_lifetimes_are_told(stocked: Running, browser: Browser) -> None:
    page = browser.get("/lifetimes?by=designation")
    assert page.status == 200
    assert "6805" in page.words
    assert "data:image/svg+xml" in page.text


def test_the_book_goes_out_and_would_come_in(stocked: Running, browser: Browser) -> None:
    with stocked.shop.book.reading() as connection:
        count = len(all_bikes(connection))
    assert f"{count} bikes" in browser.get("/book").words
    archive = browser.get("/book/archive")
    assert archive.status == 200
    assert archive.body[:2] == b"PK"
    body = form_of({"form_token": browser.token()}, "book.zip", archive.body)
    answer = browser.ask("POST", "/book/look", body, Content_Type=f"multipart/form-data; boundary={BOUNDARY}")
    assert answer.status == 200
    assert "0 bikes, 0 bearings, 0 visits, 0 recordings that are new here" in answer.words
    assert browser.post("/book/import", {"form_token": browser.token()}).status == 303


def test_what_is_no_archive_is_refused_in_words(browser: Browser) -> None:
    body = form_of({"form_token": browser.token()}, "book.zip", b"no archive")
    answer = browser.ask("POST", "/book/look", body, Content_Type=f"multipart/form-data; boundary={BOUNDARY}")
    assert answer.status == 400
    assert "That did not work" in answer.words


def test_a_bearing_is_replaced_and_a_name_put_right(stocked: Running, browser: Browser) -> None:
    token = {"form_token": browser.token()}
    with stocked.shop.book.writing() as connection:
        uid = add_bike(connection, "ticket l").uid
        fit_bearing(connection, Fitted(bike="ticket l", installed_on=date(2026, 1, 2), designation="6805"))
    assert browser.post(f"/bikes/{uid}/replaced", {**token, "bearing": "6805-2rs", "km": "1200"}).status == 303
    assert browser.post(f"/bikes/{uid}/replaced", {**token, "bearing": "banana"}).status == 400
    with stocked.shop.book.reading() as connection:
        old, new = bearings_of(connection, "ticket l")
    assert old.removed_because == "worn"
    assert (new.designation, new.removed_on, new.installed_km) == ("6805", None, 1200.0)
    assert browser.post(f"/bikes/{uid}/name", {**token, "name": "ticket 1"}).status == 400, "a reason is wanted"
    assert browser.post(f"/bikes/{uid}/name", {**token, "name": "ticket 1", "because": "misread"}).status == 303
    assert "ticket 1" in browser.get(f"/bikes/{uid}").words


def test_a_visit_is_taken_out_with_its_reason(stocked: Running, browser: Browser) -> None:
    token = {"form_token": browser.token()}
    with stocked.shop.book.writing() as connection:
        uid = add_bike(connection, "two visits").uid
        made = add_visit(connection, Visit(bike="two visits", on_date=date(2026, 3, 4)))
    other = browser.post(f"/bikes/{'0' * 32}/visits/{made.number}/remove", {**token, "because": "no"})
    assert other.status == 404
    assert (
        browser.post(f"/bikes/{uid}/visits/{made.number}/remove", {**token, "because": "other bike"}).status == 303
    )
    with stocked.shop.book.reading() as connection:
        assert not list_visits(connection, bike="two visits")
        (kept,) = list_visits(connection, bike="two visits", removed=True)
    assert kept.removed_because == "other bike"
