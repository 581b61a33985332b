"""Which recording would part the leaders."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from acoustic.triage.next_recording import entropy_bits, leaders, next_recording
from acoustic.triage.ranking import rank

Said = Callable[..., list[Any]]


def test_entropy_of_known_shares() -> None:
    """By hand: a fair coin holds 1 bit, eight equal sources 3, a certain one none."""
    assert entropy_bits([0.5, 0.5]) == pytest.approx(1)
    assert entropy_bits([1 / 8] * 8) == pytest.approx(3)
    assert entropy_bits([1.0, 0.0]) == 0


@pytest.mark.parametrize(
    ("known", "labels"),
    [
        (["+ride-standing", "+ride-seated"], {"coast", "pedal", "hand"}),
        (["+ride-seated"], {"ride-standing"}),  # seated alone leaves the saddle open, standing settles it
        (["+ride-standing", "-hand", "-coast"], {"ride-seated", "pedal"}),
    ],
    ids=["both", "seated", "standing"],
)
def test_what_to_record_next(known: list[str], labels: set[str], said: Said, rules: Any) -> None:
    answers = said(*known)
    best = next_recording(rank(answers, rules), answers, (), rules)
    assert best is not None
    assert best.label in labels
    assert best.bits > 0


def test_the_drop_is_the_mutual_information(said: Said, rules: Any) -> None:
    """For one yes-or-no question it is worked out again from Bayes' rule, outcome by outcome."""
    answers = said("+ride-seated", "-ride-standing", "+pedal", "rhythm=two-turns")
    ranked = rank(answers, rules)
    labels = set(rules.labels) - {"coast"}
    best = next_recording(ranked, answers, labels, rules)
    assert best is not None
    assert best.label == "coast"
    among = leaders(ranked)
    total = sum(one.share for one in among)
    before = {one.source: one.share / total for one in among}
    drop = entropy_bits(before.values())
    for value in ("yes", "no"):
        joint = {code: share * rules.rows["noise", "coast", code].chance(value) for code, share in before.items()}
        mean = sum(joint.values())
        drop -= mean * entropy_bits([value / mean for value in joint.values()])
    assert best.bits == pytest.approx(drop, rel=1e-9)
    assert set(best.parts) == set(before)


def test_what_is_recorded_is_not_asked_for_again(said: Said, rules: Any) -> None:
    answers = said("+ride-seated", "+ride-standing")
    ranked = rank(answers, rules)
    first = next_recording(ranked, answers, (), rules)
    assert first is not None
    second = next_recording(ranked, answers, {first.label}, rules)
    assert second is not None
    assert second.label != first.label
    assert second.bits <= first.bits
    assert next_recording(ranked, answers, set(rules.labels), rules) is None


def test_a_question_already_answered_promises_nothing(said: Said, rules: Any) -> None:
    """Coasting asks one question; once the rider has answered it, a recording of it is not worth the ride."""
    answers = said("+coast")
    others = set(rules.labels) - {"coast"}
    assert next_recording(rank(answers, rules), answers, others, rules) is None


def test_information_never_hurts(said: Said, rules: Any) -> None:
    """Mutual information is not negative, and no more than there is to know."""
    for known in (
        ["+pedal"],
        ["-hand", "bearing=clean@hand"],
        ["+coast", "-pedal"],
        ["+hand", "bearing=service@hand"],
    ):
        answers = said(*known)
        ranked = rank(answers, rules)
        best = next_recording(ranked, answers, (), rules)
        assert best is not None
        assert 0 < best.bits < math.log2(len(leaders(ranked)))


def test_leaders_are_those_in_the_running(said: Said, rules: Any) -> None:
    everything = leaders(rank([], rules))
    assert {one.source for one in everything} == set(rules.sources)
    clear = rank(said("+ride-seated", "-ride-standing", "+coast", "-pedal", "-hand"), rules)
    assert len(leaders(clear)) == 2
