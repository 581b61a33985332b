"""The rule table: its order, and that nothing but a judged, healthy bearing is ever called clean."""

from __future__ import annotations

import math
from functools import partial
from itertools import combinations
from typing import Any, get_args

import pytest

from acoustic.check import grade as grading
from acoustic.check.grade import at_or_past
from acoustic.conditions import ORDER, Level, Rule, table
from acoustic.model import CONDITIONS, Failure, Finding, Problem, Quality

USABLE = Quality()
TABLE = table()
RULES = [(code, rule) for code, condition in TABLE.conditions.items() for rule in condition.rules]
TOGETHER = (TABLE.corroded, TABLE.strikes_by_ear, TABLE.faint_by_ear)
CODES = sorted(TABLE.conditions)
WORN_FROM_DB = -10.0
grade = partial(grading.grade, conditions=TABLE.conditions)
STEP_DB = 0.01


def finding(
    condition: str, severity_db: float | None = 0.0, *, detected: bool = True, posterior: float | None = None
) -> Finding:
    return Finding(
        condition=condition,
        detected=detected,
        false_alarm_probability=1e-6 if detected else 0.5,
        severity_db=severity_db,
        detail=f"about {condition}",
        posterior=posterior,
    )


def rules_of(condition: str) -> list[Rule]:
    return list(TABLE.conditions[condition].rules)


def rank(level: str) -> int:
    return [*ORDER, "undecided"].index(level)


def test_every_condition_has_a_rule() -> None:
    assert tuple(TABLE.conditions) == CONDITIONS
    assert {rule.level for _, rule in RULES} <= {"watch", "service", "replace"}
    assert {*ORDER, "undecided"} == set(get_args(Level))


def test_the_limits_are_these() -> None:
    """Judgement, all of them: written twice, so that none moves unseen."""
    limits = {(code, rule.level): rule.from_db for code, rule in RULES if math.isfinite(rule.from_db)}
    struck = ("outer_raceway", "inner_raceway", "ball", "cage", "raceway")
    assert limits == {(code, "replace"): -10.0 for code in struck}
    assert [rule.from_db for rule in TOGETHER] == [0.0, -10.0, -math.inf]
    assert TABLE.clean.would_have_found_db == -14.0
    assert {
        c: one.worn_over_visits_db for c, one in TABLE.conditions.items() if one.worn_over_visits_db is not None
    } == {"rumble": 0.0}
    assert TABLE.drags_more == 1.5
    assert {
        code: [rule.level for rule in one.rules] for code, one in TABLE.conditions.items() if code not in struck
    } == {
        "rumble": ["service"],
        "contamination": ["service"],
        "creak": ["service"],
        "tight": ["service"],
        "drivetrain": ["watch"],
    }
    assert [rules_of(code)[-1].level for code in struck] == ["watch", "watch", "watch", "service", "watch"]


def test_roles_are_these() -> None:
    assert TABLE.having("strikes") == ("outer_raceway", "inner_raceway", "ball", "cage", "raceway")
    assert TABLE.having("ring") == ("outer_raceway", "inner_raceway", "raceway")
    needed = ("outer_raceway", "inner_raceway", "ball", "cage", "rumble", "contamination")
    assert TABLE.having("needed_for_clean") == needed
    assert TABLE.having("by_the_seat") == ("outer_raceway", "inner_raceway", "ball", "raceway", "rumble", "tight")
    assert TABLE.having("needed_at_the_seat") == ("outer_raceway", "inner_raceway", "rumble")
    assert TABLE.having("eased_by_preload") == ("rumble", "tight")
    assert TABLE.having("blamed_by_hand") == (*TABLE.having("strikes"), "rumble", "contamination", "tight")
    assert TABLE.having("blamed_pedalled") == TABLE.having("strikes")


@pytest.mark.parametrize("condition", CODES)
def test_the_rules_of_a_condition_are_in_order(condition: str) -> None:
    """The first that fits counts, so limits fall down the table, grades never rise, and the last takes all."""
    rules = rules_of(condition)
    limits = [rule.from_db for rule in rules]
    assert limits == sorted(set(limits), reverse=True)
    assert [rank(rule.level) for rule in rules] == sorted((rank(rule.level) for rule in rules), reverse=True)
    assert limits[-1] == -math.inf


@pytest.mark.parametrize(("condition", "rule"), RULES)
def test_a_rule_counts_from_its_limit_on(condition: str, rule: Rule) -> None:
    at_limit = grade([finding(condition, max(rule.from_db, -1000.0))], USABLE, [])
    assert at_limit.level == rule.level
    assert at_limit.because == (rule.because,)
    assert at_limit.advice == (rule.advice,)
    below = [other for other in rules_of(condition) if other.from_db < rule.from_db]
    if below:
        just_below = grade([finding(condition, rule.from_db - STEP_DB)], USABLE, [])
        assert just_below.because == (below[0].because,)


@pytest.mark.parametrize("rule", (*(rule for _, rule in RULES), *TOGETHER), ids=lambda rule: rule.because)
def test_reasons_and_advice_are_sentences_for_a_mechanic(rule: Rule) -> None:
    assert rule.because[0].islower() and not rule.because.endswith(".")
    assert rule.advice[0].isupper() and rule.advice.endswith(".")
    assert "_" not in rule.because + rule.advice


@pytest.mark.parametrize("condition", CODES)
def test_a_finding_without_severity_takes_the_last_rule(condition: str) -> None:
    assert grade([finding(condition, None)], USABLE, []).because == (rules_of(condition)[-1].because,)


@pytest.mark.parametrize("condition", CODES)
def test_what_is_not_detected_counts_for_nothing(condition: str) -> None:
    verdict = grade([finding(condition, 30.0, detected=False)], USABLE, [])
    assert verdict.level == "clean"
    assert verdict.because and verdict.advice


@pytest.mark.parametrize("pair", list(combinations(CODES, 2)), ids=" and ".join)
@pytest.mark.parametrize("severity_db", [-20.0, 20.0])
def test_the_worst_grade_counts(pair: tuple[str, str], severity_db: float) -> None:
    """Whatever order the detectors speak in; the reasons for the worst come first, its advice alone is given."""
    findings = [finding(condition, severity_db) for condition in pair]
    verdict = grade(findings, USABLE, [])
    alone = [grade([one], USABLE, []) for one in findings]
    # Roughness beside a ring that strikes is more than either.
    corroded = "rumble" in pair and any(name.endswith("raceway") for name in pair) and severity_db > 0
    worst = "replace" if corroded else max((v.level for v in alone), key=rank)
    assert verdict.level == worst
    assert grade(findings[::-1], USABLE, []).level == worst
    assert {reason for v in alone for reason in v.because} <= set(verdict.because)
    if not corroded:
        assert verdict.because[0] in {reason for v in alone if v.level == worst for reason in v.because}
        assert set(verdict.advice) == {said for v in alone if v.level == worst for said in v.advice}


def test_two_faint_rings_are_two_faint_findings() -> None:
    """Healthy bearings show faint lines of both rings at once."""
    faint = [finding("outer_raceway", -20.0), finding("inner_raceway", -11.0)]
    verdict = grade(faint, USABLE, [])
    assert verdict.level == "watch"
    assert len(verdict.because) == 2
    assert grade([faint[0], finding("inner_raceway", -9.0)], USABLE, []).level == "replace"


def test_rumble_alone_never_asks_for_a_new_bearing() -> None:
    """However strong; it asks for a second recording. Beside a ring that strikes it does, faint as that may be."""
    loud = finding("rumble", 40.0)
    verdict = grade([loud], USABLE, [])
    assert verdict.level == "service"
    assert "second time" in verdict.advice[0]
    for ring in ("outer_raceway", "inner_raceway", "raceway"):
        assert grade([loud, finding(ring, -20.0)], USABLE, []).because[0] == TABLE.corroded.because
        slight = grade([finding("rumble", -1.0), finding(ring, -20.0)], USABLE, [])
        assert slight.level == "service", "slight roughness beside a faint ring is no worn-out bearing"
        assert grade([loud, finding(ring, -20.0, detected=False)], USABLE, []).level == "service"
    assert grade([loud, finding("ball", -20.0)], USABLE, []).level == "service"


@pytest.mark.parametrize("condition", TABLE.having("strikes"))
def test_by_the_sound_alone_nothing_is_replaced(condition: str) -> None:
    """A wheel or a chain strikes as steadily, so no part of the bearing is blamed."""
    verdict = grade([finding(condition, 20.0)], USABLE, [], scale_known=False)
    assert verdict.level == "service"
    assert verdict.because == (TABLE.strikes_by_ear.because,)
    assert verdict.advice == (TABLE.film_it,)


def test_faint_strikes_by_the_sound_alone_are_watched() -> None:
    """As they are where the angle is known; beside roughness they make no corroded bearing."""
    faint = finding("outer_raceway", WORN_FROM_DB - STEP_DB)
    assert grade([faint], USABLE, [], scale_known=False).because == (TABLE.faint_by_ear.because,)
    assert grade([faint], USABLE, [], scale_known=False).level == "watch"
    both = grade([faint, finding("rumble", 30.0)], USABLE, [], scale_known=False)
    assert both.level == "service"


def test_a_cage_is_looked_at_before_riding_is_forbidden() -> None:
    for severity_db, level in ((5.0, "replace"), (-15.0, "service")):
        verdict = grade([finding("cage", severity_db)], USABLE, [])
        assert verdict.level == level
        assert verdict.advice[0].index("look: a cracked or loose cage") < verdict.advice[0].index("do not ride")


def test_the_confidence_is_that_of_what_the_grade_rests_on() -> None:
    faint, strong = finding("ball", -20.0, posterior=0.99), finding("inner_raceway", 3.0, posterior=0.8)
    assert grade([faint, strong], USABLE, []).confidence == 0.8
    assert grade([faint], USABLE, []).confidence == 0.99
    assert grade([finding("ball")], USABLE, []).confidence is None
    assert grade([finding("ball", detected=False, posterior=0.1)], USABLE, []).confidence is None


def test_clean_says_what_would_have_been_heard() -> None:
    quiet = [finding("ball", detected=False)]
    verdict = grade(quiet, USABLE, [], would_have_found_db=-17.0)
    assert verdict.level == "clean" and verdict.would_have_found_db == -17.0
    assert "17 dB under" in verdict.because[1]
    assert grade(quiet, USABLE, []).would_have_found_db is None
    assert TABLE.clean.would_have_found_db < WORN_FROM_DB, (
        "what a clean recording may miss asks for no new bearing"
    )


@pytest.mark.parametrize("stage", ["load", "read", "quality", "speed", "detect"])
@pytest.mark.parametrize("findings", [[], [finding("ball", detected=False)], [finding("cage")]])
def test_a_failed_plugin_leaves_it_undecided(stage: str, findings: list[Finding]) -> None:
    verdict = grade(findings, USABLE, [Failure(stage, "grumpy", "ValueError: odd")])
    assert verdict.level == "undecided"
    assert "plugin grumpy failed" in verdict.because[0]
    assert "Update or remove grumpy" in verdict.advice[0]
    told = " ".join(verdict.because)
    assert ("cage" in told) == any(found.detected for found in findings), "what was found is said all the same"


def test_what_the_failed_plugin_did_is_said_in_words() -> None:
    told = {
        grade([], USABLE, [Failure(stage, "grumpy", "")]).because
        for stage in ("load", "read", "quality", "speed", "detect")
    }
    assert len(told) == 5


@pytest.mark.parametrize("detected", [False, True])
def test_an_unusable_recording_is_undecided(detected: bool) -> None:
    problems = (
        Problem("odd", "it hums", "Switch the lamp off."),
        Problem("silent", "nothing is heard", "Switch the microphone on.", voids="any"),
    )
    verdict = grade([finding("ball", detected=detected)], Quality(problems, usable=False), [])
    assert verdict.level == "undecided"
    assert verdict.because == ("nothing is heard",), "what does not void the verdict is no reason"
    assert verdict.advice == ("Switch the microphone on.",)


@pytest.mark.parametrize("quality", [USABLE, Quality((), usable=False)])
def test_nothing_judged_is_not_clean(quality: Quality) -> None:
    verdict = grade([], quality, [])
    assert verdict.level == "undecided"
    assert verdict.because and verdict.advice


@pytest.mark.parametrize("condition", CONDITIONS)
@pytest.mark.parametrize("severity_db", [None, -60.0, 0.0, 60.0])
def test_anything_detected_is_not_clean(condition: str, severity_db: float | None) -> None:
    level = grade([finding(condition, severity_db), finding("ball", detected=False)], USABLE, []).level
    assert level in ("watch", "service", "replace")


@pytest.mark.parametrize("severity_db", [None, -60.0, 0.0, 60.0])
def test_the_drivetrain_is_not_the_bearing(severity_db: float | None) -> None:
    """However loud, it calls for a look at the chain and another recording, and nothing at the bearing."""
    verdict = grade([finding("drivetrain", severity_db)], USABLE, [])
    assert verdict.level == "watch"
    assert "not the bearing" in verdict.because[0]
    assert "chain off" in verdict.advice[0]
    assert "drivetrain" not in TABLE.having("needed_for_clean")


@pytest.mark.parametrize(
    ("level", "limit", "past"),
    [
        ("clean", "watch", False),
        ("watch", "watch", True),
        ("watch", "service", False),
        ("service", "watch", True),
        ("replace", "service", True),
        ("replace", "replace", True),
        ("undecided", "watch", False),
    ],
)
def test_at_or_past(level: Any, limit: Any, past: bool) -> None:
    assert at_or_past(level, limit) is past
