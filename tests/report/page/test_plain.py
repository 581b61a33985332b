"""What riders read: words for every line of the rule table, and no grade that the verdict does not give."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import pytest

from acoustic.check import grade as grading
from acoustic.conditions import ORDER, Rule, table
from acoustic.model import Failure, Finding, Quality
from acoustic.report.page.plain import HOW_TO_RECORD, card_of

Analyse = Callable[[str], Any]
TABLE = table()
RULES = [(code, rule) for code, condition in TABLE.conditions.items() for rule in condition.rules]
RIDERS = {code: condition.rider for code, condition in TABLE.conditions.items()}
grade = partial(grading.grade, conditions=TABLE.conditions)


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


@pytest.mark.parametrize(("condition", "rule"), RULES)
def test_every_rule_has_plain_words(condition: str, rule: Rule, analysis_of: Analyse) -> None:
    severity_db = max(rule.from_db, -900.0)
    card = card_of(judged(analysis_of("sound"), found(condition, severity_db)))
    assert card.level == rule.level
    assert card.heard == (TABLE.conditions[condition].rider,)
    assert card.ride and card.to_do and not card.record_again


def test_every_grade_has_words() -> None:
    assert set(TABLE.grades) == {*ORDER, "undecided"}


def test_the_worst_decides_what_to_do(analysis_of: Analyse) -> None:
    """Dirt asks for grease, a broken ring for a new bearing: both are heard, one thing is done."""
    card = card_of(judged(analysis_of("sound"), found("contamination"), found("outer_raceway")))
    assert card.level == "replace"
    assert set(card.heard) == {RIDERS["contamination"], RIDERS["outer_raceway"]}
    assert card.to_do == TABLE.conditions["outer_raceway"].rules[0].to_do


def test_a_cage_asks_for_a_turn_by_hand(analysis_of: Analyse) -> None:
    """First of all, whatever else was heard."""
    assert card_of(judged(analysis_of("sound"), found("cage"))).to_do[0] == TABLE.turn_by_hand
    both = card_of(judged(analysis_of("sound"), found("ball"), found("cage")))
    assert both.to_do[0] == TABLE.turn_by_hand and len(both.to_do) == 2


def test_clean_and_weak(analysis_of: Analyse) -> None:
    assert card_of(analysis_of("sound")).to_do == (TABLE.clean.advice,)
    assert (
        card_of(judged(analysis_of("sound"), found("ball", -20.0))).to_do
        == TABLE.conditions["ball"].rules[-1].to_do
    )
    drivetrain = card_of(judged(analysis_of("sound"), found("drivetrain")))
    assert "not from the bearing" in drivetrain.ride[0]
    assert drivetrain.to_do == (TABLE.chain_off,)


def test_a_failed_plugin_is_not_the_recording_s_fault(analysis_of: Analyse) -> None:
    failures = (Failure("detect", "grumpy", "3 is odd"),)
    card = card_of(judged(analysis_of("sound"), found("ball"), failures=failures))
    assert card.level == "undecided"
    assert "part of the program" in card.heard[0]
    assert RIDERS["ball"] in card.heard
    assert not card.record_again
    assert TABLE.turn_by_hand not in card.to_do
    assert TABLE.turn_by_hand in card_of(judged(analysis_of("sound"), found("cage"), failures=failures)).to_do
    missing = replace(analysis_of("sound"), findings=(), verdict=grade((), Quality(), ()))
    assert not card_of(missing).record_again


def test_what_one_detector_heard_holds_without_the_others(analysis_of: Analyse) -> None:
    """Then the verdict has its grade, as in the text report, and so has the card."""
    alone = (found("ball"),)
    card = card_of(replace(analysis_of("sound"), findings=alone, verdict=grade(alone, Quality(), ())))
    assert (card.level, card.heard) == ("replace", (RIDERS["ball"],))


def test_an_unusable_recording(unusable: Any) -> None:
    card = card_of(unusable)
    assert card.to_do == unusable.verdict.advice
    assert card.record_again == HOW_TO_RECORD
