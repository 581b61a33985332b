"""A recording is sent, judged and kept, and what cannot be judged is said in a sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from browsing import Browser, Running, unlike_any

from acoustic.book.visits import list_visits
from acoustic.languages import LANGUAGES


@pytest.fixture
def spin(taken: Callable[..., Any]) -> tuple[bytes, str]:
    made = taken("short_outer")
    return unlike_any(made.path.read_bytes()), made.marks.read_text()


def test_a_spin_is_graded_as_the_command_grades_it(
    counter: Running, browser: Browser, spin: tuple[bytes, str]
) -> None:
    said = {"bike": "ticket 7", "bearing": "6805", "way": "taps", "marks": spin[1], "form_token": browser.token()}
    sent = browser.send(said, "spin.wav", spin[0])
    assert sent.status == 303
    page = browser.ended(sent.headers["location"])
    with counter.shop.book.reading() as connection:
        (visit,) = list_visits(connection, bike="ticket 7")
    assert visit.verdicts[0].grade in page.text
    assert f"visit {visit.number}" in page.words
    found = {finding.condition for finding in visit.verdicts[0].check.detected}
    assert "outer_raceway" in found
    assert "ticket 7" in browser.get("/").words


def test_what_is_no_recording_is_one_sentence(browser: Browser) -> None:
    said = {"bike": "ticket 8", "bearing": "6805", "form_token": browser.token()}
    page = browser.ended(browser.send(said, "spin.wav", b"not a sound at all").headers["location"])
    assert "This could not be judged" in page.words
    assert "Traceback" not in page.text


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"bearing": "6805"}, "The bike is missing"),
        ({"bike": "t", "bearing": "banana"}, "banana"),
        ({"bike": "t", "way": "turns"}, "The number of turns is missing"),
        ({"bike": "t", "turns": "many"}, "The number of turns: many is not a number"),
        ({"bike": "t", "way": "magic"}, "The form was not understood"),
    ],
)
def test_a_form_that_cannot_be_meant_is_refused_before_the_file_is_read(
    counter: Running, browser: Browser, said: dict[str, str], expected: str
) -> None:
    answer = browser.send({"form_token": browser.token(), **said}, "spin.wav", b"x" * 1000)
    assert answer.status == 400
    assert expected in answer.words
    assert not list(counter.shop.settings.folder.glob(".*.upload"))


def test_turns_are_read_with_a_comma(browser: Browser, spin: tuple[bytes, str]) -> None:
    said = {"bike": "t", "bearing": "6805", "way": "turns", "turns": "3,5", "form_token": browser.token()}
    sent = browser.send(said, "spin.wav", spin[0])
    assert sent.status == 303
    browser.ended(sent.headers["location"])


def test_a_name_never_becomes_a_path(counter: Running, browser: Browser, spin: tuple[bytes, str]) -> None:
    name = "../../../../tmp/evil<script>.wav/../x." + "a" * 200
    said = {"bike": "<b>t</b>", "bearing": "6805", "form_token": browser.token()}
    sent = browser.send(said, name, spin[0])
    assert sent.status == 303
    page = browser.ended(sent.headers["location"])
    assert "<script>" not in page.text
    assert "<b>t</b>" not in browser.get("/").text
    uid = sent.headers["location"].rpartition("/")[2]
    kept = sorted(path.name for path in counter.shop.queue.folder_of(uid).iterdir())
    assert all(name.partition(".")[0] in ("recording", "question", "check", "progress") for name in kept), kept


def test_what_waits_can_be_stopped(counter: Running, browser: Browser, spin: tuple[bytes, str]) -> None:
    said = {"bike": "t", "bearing": "6805", "form_token": browser.token()}
    sent = [browser.send(said, "spin.wav", spin[0]).headers["location"] for _ in range(4)]
    assert browser.post(f"{sent[-1]}/stop", {"form_token": browser.token()}).status == 303
    page = browser.ended(sent[-1])
    assert "Stopped" in page.words
    for address in sent[:-1]:
        browser.ended(address)


def test_what_was_said_wrong_is_put_right(counter: Running, browser: Browser, spin: tuple[bytes, str]) -> None:
    said = {"bike": "wrong bike", "bearing": "6805", "way": "sound", "form_token": browser.token()}
    first = browser.send(said, "spin.wav", spin[0]).headers["location"]
    browser.ended(first)
    assert "wrong bike" in browser.get(f"{first}/again").text
    again = {
        "bike": "right bike",
        "bearing": "6805",
        "way": "taps",
        "marks": spin[1],
        "form_token": said["form_token"],
    }
    second = browser.post(f"{first}/anew", again).headers["location"]
    assert second != first
    browser.ended(second)
    with counter.shop.book.reading() as connection:
        (visit,) = list_visits(connection, bike="right bike")
        wrong = list_visits(connection, bike="wrong bike", removed=True)
    assert "outer_raceway" in {finding.condition for finding in visit.verdicts[0].check.detected}
    assert all(one.removed_because for one in wrong), "what was said before is kept with the reason"


def test_the_recording_comes_back_as_it_was_sent(browser: Browser, spin: tuple[bytes, str]) -> None:
    said = {"bike": "t", "bearing": "6805", "form_token": browser.token()}
    address = browser.send(said, "spin.wav", spin[0]).headers["location"]
    answer = browser.get(f"{address}/recording")
    assert answer.body == spin[0]
    assert answer.headers["content-type"].startswith("audio/")
    assert answer.headers["content-disposition"].startswith("attachment")
    browser.ended(address)


def test_a_recording_is_entered_once(counter: Running, browser: Browser, spin: tuple[bytes, str]) -> None:
    said = {"bike": "twice", "bearing": "6805", "way": "taps", "marks": spin[1], "form_token": browser.token()}
    browser.ended(browser.send(said, "spin.wav", spin[0]).headers["location"])
    page = browser.ended(browser.send(said, "spin.wav", spin[0]).headers["location"])
    assert "is in the book already" in page.words
    with counter.shop.book.reading() as connection:
        assert len(list_visits(connection, bike="twice")) == 1


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_rider_gets_a_slip_in_their_language(browser: Browser, spin: tuple[bytes, str], language: str) -> None:
    said = {"bike": f"slip {language}", "bearing": "6805", "way": "taps", "marks": spin[1]}
    address = browser.send({**said, "form_token": browser.token()}, "spin.wav", spin[0]).headers["location"]
    assert browser.get(f"{'/checks/' + '0' * 32}/slip").status == 404
    browser.ended(address)
    slip = browser.get(f"{address}/slip?language={language}")
    assert slip.status == 200
    assert f'lang="{language}"' in slip.text
    assert f"slip {language}" in slip.words
    assert "script-src" not in slip.headers["content-security-policy"]
    assert "default-src 'none'" in slip.headers["content-security-policy"]
