"""The triage in words and as a document: complete, within a terminal's width, and the same in both."""

from __future__ import annotations

import json

import pytest

from acoustic.report.triage_text import headline, to_text
from acoustic.structures import encode, to_plain
from acoustic.triage.document import document_of
from acoustic.triage.evidence import told
from acoustic.triage.result import Triage, triage
from acoustic.triage.rules import load_rules


def settled(*texts: str) -> Triage:
    rules = load_rules()
    answers = [told(rules.labels[text[1:]], heard=text[0] == "+") for text in texts]
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
    assert flat.index("loose crank arm") < flat.index("1. "), "whether it may be ridden comes first"
    first, second = (rules.sources[code].words for code in result.checks[:2])
    assert flat.index(f"1. {first}") < flat.index(f"2. {second}")
    share = {one.source: one.share for one in result.ranked}
    for code, value in share.items():
        assert (rules.sources[code].check in flat) == (value >= 0.05)
    assert "If all that is sound" in flat


def test_every_share_stands_under_100_per_cent() -> None:
    everything = ("+ride-seated", "-ride-standing", "+coast", "-pedal", "-hand")
    assert "100 %" not in to_text(settled(*everything))
