"""Where it creaks: as the command ranks it, from taps and from recordings that were sent."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from browsing import Browser, unlike_any

from acoustic.triage.evidence import told
from acoustic.triage.result import triage
from acoustic.triage.rules import load_rules


def test_the_page_asks_every_question(browser: Browser) -> None:
    rules, page = load_rules(), browser.get("/creak").words.lower()
    for situation in rules.labels.values():
        assert situation.words.lower() in page
    for question in rules.asked.values():
        assert question.ask.lower() in page


def test_taps_rank_as_the_command_does(browser: Browser) -> None:
    rules = load_rules()
    said = [told(rules.labels["ride-seated"], heard=True), told(rules.labels["ride-standing"], heard=False)]
    first = triage((), said, rules).ranked[0]
    page = browser.get("/creak?heard-ride-seated=yes&heard-ride-standing=no&ask-rain=").words
    assert f"{rules.sources[first.source].words} {round(100 * first.share)} %" in page


def test_what_is_no_answer_is_passed_over(browser: Browser) -> None:
    assert browser.get("/creak?heard-hand=perhaps&ask-rain=%3Cb%3E&recording-hand=..%2F..").status == 200


def test_a_recording_that_was_sent_is_heard(browser: Browser, taken: Callable[..., Any]) -> None:
    made = taken("short_outer")
    fields = {"bike": "creaky", "bearing": "6805", "way": "taps", "marks": made.marks.read_text()}
    sent = browser.send({**fields, "form_token": browser.token()}, "spin.wav", unlike_any(made.path.read_bytes()))
    address = sent.headers["location"]
    browser.ended(address)
    page = browser.get(f"/creak?recording-hand={address.rpartition('/')[2]}")
    assert page.status == 200
    assert load_rules().sources["crank_bearing"].words in page.words.partition("When is it heard?")[0]
