"""The triage in words and as a document: complete, within a terminal's width, and the same in both."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.report.triage_text import headline, to_short_text, to_text
from acoustic.structures import encode, to_plain
from acoustic.triage.document import document_of
from acoustic.triage.evidence import Answer, answered, told
from acoustic.triage.result import Triage, triage
from acoustic.triage.rules import load_rules


def settled(*texts: str) -> Triage:
    rules = load_rules()
    answers = []
    for text in texts:
        question, sign, value = text.partition("=")
        if sign:
            answers.append(answered(rules.questions[question], value))
        else:
            answers.append(told(rules.labels[text[1:]], heard=text[0] == "+"))
    return triage([], answers, rules)


@pytest.mark.parametrize("known", [(), ("+coast",), ("+ride-seated", "-ride-standing")], ids=len)
def test_text_and_document_say_the_same(known: tuple[str, ...]) -> None:
    result = settled(*known)
    text, document = to_text(result), to_plain(document_of(result))
    lines = text.splitlines()
    assert lines[0] == headline(result)
    assert lines[0].startswith(document["verdict"]["level"].upper())
    assert max(map(len, lines)) <= 96
    flat = " ".join(text.split())
    assert all(caution in flat for caution in document["cautions"])
    assert document["next_recording"]["how"] in flat
    for source in document["sources"]:
        assert source["words"] in flat
        for argument in (*source["for"], *source["against"]):
            assert argument["why"] in flat
            assert f"[{argument['basis']}]" in flat
    assert [check["source"] for check in document["checks"]] == list(result.checks)


def test_the_document_is_plain_json() -> None:
    result = settled("+ride-seated")
    assert json.loads(encode(document_of(result))) == to_plain(document_of(result))


def test_checks_come_in_order_and_the_unlikely_are_only_named() -> None:
    result = settled("+ride-seated", "-ride-standing", "+coast")
    flat = " ".join(to_text(result).split())
    rules = result.rules
    assert flat.index("A loose crank arm") < flat.index("1. "), "whether it may be ridden comes first"
    first, second = (rules.sources[code].words for code in result.checks[:2])
    assert flat.index(f"1. {first}") < flat.index(f"2. {second}")
    share = {one.source: one.share for one in result.ranked}
    for code, value in share.items():
        assert (rules.sources[code].check in flat) == (value >= 0.05)
    assert "If all that is in order" in flat


def test_every_share_stands_under_100_per_cent() -> None:
    everything = ("+ride-seated", "-ride-standing", "+coast", "-pedal", "-hand")
    assert "100 %" not in to_text(settled(*everything))


ALL = tuple(load_rules().labels)


@given(
    st.lists(st.sampled_from(ALL), unique=True),
    st.lists(st.booleans(), min_size=5, max_size=5),
    st.sampled_from(["", "rhythm=many", "leg=both", "hands-off=stops", "rain=worse"]),
)
def test_the_answer_is_ten_lines(labels: list[str], heard: list[bool], answer: str) -> None:
    """Whatever was said: what it is, what may not be ridden, what to do now, and no source by its code."""
    texts = [("+" if yes else "-") + label for label, yes in zip(labels, heard, strict=False)]
    result = settled(*texts, *([answer] if answer else []))
    text = to_short_text(result)
    lines = text.splitlines()
    assert len(lines) <= 10
    assert max(map(len, lines)) <= 96
    assert lines[0] == headline(result)
    assert "do not ride" in text
    assert "--full" in lines[-1]
    assert "_" not in text
    assert any(line.startswith("next ") for line in lines)


def test_heard_nowhere_is_not_reproduced() -> None:
    result = settled(*(f"-{label}" for label in ALL))
    for text in (to_short_text(result), to_text(result)):
        assert text.startswith("NOT REPRODUCED")
        assert "%" not in text, "no source is named by a share"
        assert "ride it like that" in " ".join(text.split())
    document = to_plain(document_of(result))
    assert document["verdict"]["outcome"] == "not_reproduced"
    assert document["verdict"]["level"] == "undecided"
    assert not any(source["for"] or source["against"] for source in document["sources"])


def test_where_something_is_untried_that_is_asked_for_next() -> None:
    text = to_short_text(settled("-hand", "-pedal"))
    assert "--heard ride-standing" in text or "--heard ride-seated" in text


def test_a_worn_bearing_is_told_though_something_else_creaks() -> None:
    """With still cranks the crank bearing cannot creak; that it asks to be replaced stays said."""
    rules = load_rules()
    worn = Answer("bearing", "hand", "replace", "measured", "the bearing asks to be replaced: strikes", "spin.wav")
    result = triage([], [told(rules.labels["coast"], heard=True), worn], rules)
    assert result.ranked[0].source == "rear_hub"
    assert "Whatever creaks, the bearing asks to be replaced" in to_short_text(result)


def test_the_question_that_tells_most_is_asked_with_its_answers() -> None:
    """Bolts, pedal and bearing lead: which leg presses parts them, and nothing else is left to record."""
    result = settled("+ride-seated", "+ride-standing", "-hand", "-pedal", "-coast")
    text = " ".join(to_short_text(result).split())
    assert result.ask is not None
    assert f"--answer {result.ask.question}=WORD, one of " in text
    document = to_plain(document_of(result))
    assert document["next_question"]["question"] == result.ask.question
    assert set(document["next_question"]["answers"]) == set(result.rules.questions[result.ask.question].values)
    assert settled("+ride-seated", "leg=left").ask != settled("+ride-seated").ask


def test_the_leg_that_presses_names_the_side_to_look_at_first() -> None:
    assert headline(settled("+ride-standing", "leg=left", "rhythm=each-turn")).startswith("OPEN  pedal, left side")
    assert "side" not in headline(settled("+ride-standing", "leg=both", "rhythm=each-turn"))


def test_what_the_rider_answered_stands_in_the_document() -> None:
    document = to_plain(document_of(settled("+pedal", "rain=worse")))
    assert document["answered"] == [{"question": "rain", "answer": "worse"}]
    assert document["told"] == [{"label": "pedal", "heard": True}]
    said = {
        (a["question"], a["value"], a["yes"])
        for one in document["sources"]
        for a in (*one["for"], *one["against"])
    }
    assert ("rain", "worse", True) in said
