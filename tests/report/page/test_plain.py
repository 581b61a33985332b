"""What riders read: words for every line of the rule table, and no grade that the verdict does not give."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from acoustic.check.grade import CHAIN_OFF, HEAR_AGAIN, ORDER, RIDE_ON, RULES, TOGETHER, Rule, grade
from acoustic.model import CONDITIONS, Failure, Finding, Quality
from acoustic.report import words
from acoustic.report.page.plain import HOW_TO_RECORD, MEANINGS, TURN_BY_HAND, card_of

Analyse = Callable[[str], Any]


def judged(result: Any, *findings: Finding, failures: tuple[Failure, ...] = ()) -> Any:
    rest = tuple(f for f in result.findings if f.condition not in {finding.condition for finding in findings})
    return replace(
        result,
        findings=(*findings, *rest),
        failures=failures,
        verdict=grade((*findings, *rest), Quality(), failures),
    )


def found(condition: str, severity_db: float | None = 20.0) -> Finding:
    return Finding(
        condition=condition, detected=True, false_alarm_probability=1e-6, severity_db=severity_db, detail="."
    )


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.condition} {rule.level}")
def test_every_rule_has_plain_words(rule: Rule, analysis_of: Analyse) -> None:
    severity_db = max(rule.from_db, -900.0)
    card = card_of(judged(analysis_of("sound"), found(rule.condition, severity_db)))
    assert card.level == rule.level
    assert card.heard == (words.HEARD[rule.condition],)
    assert card.ride and card.to_do and not card.record_again


def test_nothing_is_kept_for_a_rule_that_is_gone() -> None:
    assert set(MEANINGS) == {(rule.condition, rule.level) for rule in (*RULES, *TOGETHER)}
    assert set(words.HEARD) == set(CONDITIONS)
    assert set(words.GRADE) == {*ORDER, "undecided"}


def test_the_worst_decides_what_to_do(analysis_of: Analyse) -> None:
    """Dirt asks for grease, a broken ring for a new bearing: both are heard, one thing is done."""
    card = card_of(judged(analysis_of("sound"), found("contamination"), found("outer_raceway")))
    assert card.level == "replace"
    assert set(card.heard) == {words.HEARD["contamination"], words.HEARD["outer_raceway"]}
    assert card.to_do == MEANINGS["outer_raceway", "replace"].to_do


def test_a_cage_asks_for_a_turn_by_hand(analysis_of: Analyse) -> None:
    """First of all, whatever else was heard."""
    assert card_of(judged(analysis_of("sound"), found("cage"))).to_do[0] == TURN_BY_HAND
    both = card_of(judged(analysis_of("sound"), found("ball"), found("cage")))
    assert both.to_do[0] == TURN_BY_HAND and len(both.to_do) == 2


def test_clean_and_weak(analysis_of: Analyse) -> None:
    assert card_of(analysis_of("sound")).to_do == (RIDE_ON,)
    assert card_of(judged(analysis_of("sound"), found("ball", -20.0))).to_do == (HEAR_AGAIN,)
    drivetrain = card_of(judged(analysis_of("sound"), found("drivetrain")))
    assert "not from the bearing" in drivetrain.ride[0]
    assert drivetrain.to_do == (CHAIN_OFF,)


def test_a_failed_plugin_is_not_the_recording_s_fault(analysis_of: Analyse) -> None:
    failures = (Failure("detect", "grumpy", "3 is odd"),)
    card = card_of(judged(analysis_of("sound"), found("ball"), failures=failures))
    assert card.level == "undecided"
    assert "part of the program" in card.heard[0]
    assert words.HEARD["ball"] in card.heard
    assert not card.record_again
    assert TURN_BY_HAND not in card.to_do
    assert TURN_BY_HAND in card_of(judged(analysis_of("sound"), found("cage"), failures=failures)).to_do
    missing = replace(analysis_of("sound"), findings=(), verdict=grade((), Quality(), ()))
    assert not card_of(missing).record_again


def test_what_one_detector_heard_holds_without_the_others(analysis_of: Analyse) -> None:
    """Then the verdict has its grade, as in the text report, and so has the card."""
    alone = (found("ball"),)
    card = card_of(replace(analysis_of("sound"), findings=alone, verdict=grade(alone, Quality(), ())))
    assert (card.level, card.heard) == ("replace", (words.HEARD["ball"],))


def test_an_unusable_recording(unusable: Any) -> None:
    card = card_of(unusable)
    assert card.to_do == unusable.verdict.advice
    assert card.record_again == HOW_TO_RECORD
