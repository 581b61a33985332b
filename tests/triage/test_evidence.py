"""From an analysis and its label to answers; and what must not be read as an answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from acoustic.model import Failure, Problem
from acoustic.triage.evidence import answered, read_evidence, told
from acoustic.triage.rules import ANYWHERE

Make = Callable[..., Any]
LABELS = ("hand", "pedal", "ride-seated", "ride-standing", "coast")
VOIDS_CLEAN = Problem("far", "the bearing is hardly heard", "Go nearer.", voids="clean")
VOIDS_ANY = Problem("silent", "the recording is silent", "Record again.", voids="any")
BROKEN = Failure("detect", "some-plugin", "ValueError: no")


@pytest.fixture(scope="module")
def read(rules: Any) -> Callable[..., Any]:
    def evidence(analysis: Any, label: str = "hand", side: Any = None) -> Any:
        return read_evidence(analysis, label, rules, side)

    return evidence


def answers(heard: Any) -> dict[str, str]:
    return {answer.question: answer.value for answer in heard.answers}


@pytest.mark.parametrize("label", LABELS)
def test_only_questions_of_the_label_are_answered(
    label: str, read: Any, made: Make, finding_of: Make, rules: Any
) -> None:
    everything = made(finding_of("creak", 1.0), finding_of("drivetrain", 48.0), finding_of("tight"))
    heard = read(everything, label)
    assert set(answers(heard)) <= set(rules.labels[label].questions)
    assert answers(heard)["noise"] == "yes"
    assert all((a.label, a.origin, a.by) == (label, "measured", "spin.wav") for a in heard.answers)


@pytest.mark.parametrize(
    "condition", ["outer_raceway", "inner_raceway", "ball", "cage", "raceway", "rumble", "contamination", "tight"]
)
def test_by_hand_every_fault_is_the_bearing_s(condition: str, read: Any, made: Make, finding_of: Make) -> None:
    heard = read(made(finding_of(condition)), "hand")
    strikes = condition not in ("rumble", "contamination", "tight")
    assert answers(heard) == {"bearing": "loud" if strikes else "service"}
    assert heard.answers[0].yes


@pytest.mark.parametrize(
    ("severity_db", "value"),
    [(-14.0, "watch"), (-10.0, "replace"), (-1.0, "replace"), (0.0, "loud"), (9.0, "loud")],
)
def test_the_grade_and_the_strength_enter(
    severity_db: float, value: str, read: Any, made: Make, finding_of: Make
) -> None:
    """As the table of conditions grades strikes: from -10 dB on a new bearing is asked for."""
    heard = read(made(finding_of("outer_raceway", severity_db=severity_db)), "hand")
    assert answers(heard) == {"bearing": value}
    side = "under" if severity_db < 0 else "over"
    assert f"{abs(severity_db):.0f} dB {side} its running noise" in heard.answers[0].said


def test_strikes_without_a_scale_ask_for_no_new_bearing(read: Any, made: Make, finding_of: Make) -> None:
    """As in the check: where the speed is read off the strikes alone, they may be a wheel's."""
    heard = read(made(finding_of("outer_raceway", severity_db=-4.0), scale_known=False), "hand")
    assert answers(heard) == {"bearing": "service"}


@pytest.mark.parametrize("condition", ["rumble", "contamination", "tight"])
def test_with_the_chain_on_only_strikes_count(condition: str, read: Any, made: Make, finding_of: Make) -> None:
    heard = read(made(finding_of(condition)), "pedal")
    assert "bearing" not in answers(heard)
    assert "not counted" in " ".join(heard.notes)
    assert answers(read(made(finding_of("ball")), "pedal"))["bearing"] == "loud"


@pytest.mark.parametrize("label", ["ride-seated", "ride-standing", "coast"])
def test_riding_says_nothing_of_the_bearing_itself(label: str, read: Any, made: Make, finding_of: Make) -> None:
    heard = read(made(finding_of("outer_raceway", 7.1)), label)
    assert heard.answers == ()
    assert not heard.used
    assert "strikes of the outer ring heard but not counted" in " ".join(heard.notes)


def test_a_clean_bearing_speaks_against_it(read: Any, made: Make) -> None:
    assert answers(read(made(), "hand")) == {"bearing": "clean"}


@pytest.mark.parametrize("problem", [VOIDS_CLEAN, VOIDS_ANY], ids=["voids clean", "voids any"])
def test_a_recording_that_cannot_be_used_contributes_nothing(problem: Problem, read: Any, made: Make) -> None:
    heard = read(made(problems=(problem,)), "hand")
    assert heard.answers == ()
    assert "contributes nothing" in heard.notes
    assert problem.detail in heard.notes


def test_a_creak_beside_a_voided_clean_does_not_clear_the_bearing(read: Any, made: Make, finding_of: Make) -> None:
    """What was found counts in a poor recording; what was not found does not."""
    heard = read(made(finding_of("creak", 1.0), problems=(VOIDS_CLEAN,)), "hand")
    assert "bearing" not in answers(heard)
    assert answers(heard)["noise"] == "yes"


def test_a_failed_plugin_is_not_health(read: Any, made: Make, finding_of: Make) -> None:
    quiet = finding_of("creak", detected=False)
    assert answers(read(made(quiet), "hand")) == {"noise": "no", "bearing": "clean"}
    assert answers(read(made(quiet, failures=(BROKEN,)), "hand")) == {}
    assert answers(read(made(finding_of("ball"), failures=(BROKEN,)), "hand")) == {"bearing": "loud"}
    assert answers(read(made(finding_of("drivetrain", detected=False), failures=(BROKEN,)), "pedal")) == {}


@pytest.mark.parametrize(
    ("order", "beat"),
    [
        (1.0, "each-turn"),
        (1.05, "each-turn"),
        (2.0, "strokes"),
        (3.97, "strokes"),
        (0.44, "two-turns"),  # the cage of a 6805
        (0.39, "two-turns"),  # 114 links on 44 teeth
        (1.55, "wheel"),
        (48.0, "many"),
        (0.7, None),
    ],
)
def test_a_creak_s_pace(order: float, beat: str | None, read: Any, made: Make, finding_of: Make) -> None:
    assert answers(read(made(finding_of("creak", order)), "pedal")).get("rhythm") == beat


@pytest.mark.parametrize("change", [{"speed_off": 0.3}, {"scale_known": False}], ids=["vague", "no scale"])
def test_without_the_crank_s_pace_a_creak_has_none(
    change: dict[str, Any], read: Any, made: Make, finding_of: Make
) -> None:
    said = answers(read(made(finding_of("creak", 1.0), **change), "pedal"))
    assert said["noise"] == "yes"
    assert "rhythm" not in said


def test_no_creak_counts_only_where_it_was_judged(read: Any, made: Make, finding_of: Make) -> None:
    assert "noise" not in answers(read(made(), "pedal"))
    assert answers(read(made(finding_of("creak", detected=False)), "pedal"))["noise"] == "no"
    assert read(made(finding_of("creak", detected=False)), "coast").answers == ()


def test_the_chain_s_pace(read: Any, made: Make, finding_of: Make) -> None:
    assert answers(read(made(finding_of("drivetrain", 50.0)), "ride-seated"))["chain"] == "yes"
    assert answers(read(made(finding_of("drivetrain", detected=False)), "ride-seated"))["chain"] == "no"


def test_the_rider_s_word(rules: Any) -> None:
    answer = told(rules.labels["coast"], heard=True)
    assert (answer.question, answer.label, answer.value, answer.origin) == ("noise", "coast", "yes", "told")


def test_the_rider_s_answer_to_a_question(rules: Any) -> None:
    answer = answered(rules.questions["leg"], "left")
    assert (answer.question, answer.label, answer.value, answer.yes) == ("leg", ANYWHERE, "left", True)
    assert answer.said == "the left"


# Options of `acoustic check` that the triage has not, and acts that are not possible there.
NOT_THERE = {
    "hand": ("--film", "--ticks", "--speed"),
    "pedal": ("--film", "--ticks", "--speed", "hand spin", "chain off"),
    "ride-seated": ("--film", "--ticks", "--marks", "--turns", "a hand's width", "crank stops", "chain off"),
    "ride-standing": ("--film", "--ticks", "--marks", "--turns", "a hand's width", "crank stops", "chain off"),
    "coast": ("--film", "--ticks", "--marks", "--turns", "a hand's width", "crank stops", "chain off", "Record"),
}


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize("code", ["source_not_found", "no_beat", "faint", "too_short", "no_still_part"])
def test_advice_is_possible_in_its_situation(code: str, label: str, read: Any, made: Make) -> None:
    spin = "Record one spin, a hand's width from it, until the crank stops, chain off; or --film, --ticks."
    heard = read(made(problems=(Problem(code, "it is so", spin, voids="any"),)), label)
    assert heard.advice
    assert not [words for words in NOT_THERE[label] if words in " ".join(heard.advice)]


def test_advice_about_the_phone_holds_where_something_turns(read: Any, made: Make) -> None:
    covered = Problem("silent", "it is silent", "Check the microphone.", voids="any")
    assert read(made(problems=(covered,)), "ride-seated").advice == ("Check the microphone.",)
    assert "--not-heard coast" in read(made(problems=(covered,)), "coast").advice[0]


def test_a_recording_that_served_asks_for_nothing(read: Any, made: Make) -> None:
    assert read(made(), "hand").advice == ()


def test_the_side_is_kept(read: Any, made: Make, finding_of: Make) -> None:
    heard = read(made(finding_of("ball")), "hand", "drive")
    assert heard.side == "drive"
    assert {answer.side for answer in heard.answers} == {"drive"}
