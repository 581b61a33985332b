"""From an analysis and its label to answers; and what must not be read as an answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from acoustic.model import Failure, Problem
from acoustic.triage.evidence import read_evidence, told

Make = Callable[..., Any]
LABELS = ("hand", "pedal", "ride-seated", "ride-standing", "coast")
VOIDS_CLEAN = Problem("far", "the bearing is hardly heard", "Go nearer.", voids="clean")
VOIDS_ANY = Problem("silent", "the recording is silent", "Record again.", voids="any")
BROKEN = Failure("detect", "some-plugin", "ValueError: no")


@pytest.fixture(scope="module")
def read(rules: Any) -> Callable[..., Any]:
    def evidence(analysis: Any, label: str = "hand", side: Any = None) -> Any:
        return read_evidence(analysis, rules.labels[label], side)

    return evidence


def answers(heard: Any) -> dict[str, bool]:
    return {answer.question: answer.yes for answer in heard.answers}


@pytest.mark.parametrize("label", LABELS)
def test_only_questions_of_the_label_are_answered(
    label: str, read: Any, made: Make, finding_of: Make, rules: Any
) -> None:
    everything = made(finding_of("creak", 1.0), finding_of("drivetrain", 48.0), finding_of("tight"))
    heard = read(everything, label)
    assert set(answers(heard)) <= set(rules.labels[label].questions)
    assert answers(heard)["noise"] is True
    assert all((a.label, a.origin, a.by) == (label, "measured", "spin.wav") for a in heard.answers)


@pytest.mark.parametrize(
    "condition", ["outer_raceway", "inner_raceway", "ball", "cage", "raceway", "rumble", "contamination", "tight"]
)
def test_by_hand_every_fault_is_the_bearing_s(condition: str, read: Any, made: Make, finding_of: Make) -> None:
    assert answers(read(made(finding_of(condition)), "hand")) == {"bearing": True}


@pytest.mark.parametrize("condition", ["rumble", "contamination", "tight"])
def test_with_the_chain_on_only_strikes_count(condition: str, read: Any, made: Make, finding_of: Make) -> None:
    heard = read(made(finding_of(condition)), "pedal")
    assert "bearing" not in answers(heard)
    assert "not counted" in " ".join(heard.notes)
    assert answers(read(made(finding_of("ball")), "pedal"))["bearing"] is True


@pytest.mark.parametrize("label", ["ride-seated", "ride-standing", "coast"])
def test_riding_says_nothing_of_the_bearing_itself(label: str, read: Any, made: Make, finding_of: Make) -> None:
    heard = read(made(finding_of("outer_raceway", 7.1)), label)
    assert heard.answers == ()
    assert not heard.used
    assert "strikes of the outer ring heard but not counted" in " ".join(heard.notes)


def test_a_clean_bearing_speaks_against_it(read: Any, made: Make) -> None:
    assert answers(read(made(), "hand")) == {"bearing": False}


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
    assert answers(heard)["noise"] is True


def test_a_failed_plugin_is_not_health(read: Any, made: Make, finding_of: Make) -> None:
    quiet = finding_of("creak", detected=False)
    assert answers(read(made(quiet), "hand")) == {"noise": False, "bearing": False}
    assert answers(read(made(quiet, failures=(BROKEN,)), "hand")) == {}
    assert answers(read(made(finding_of("ball"), failures=(BROKEN,)), "hand")) == {"bearing": True}
    assert answers(read(made(finding_of("drivetrain", detected=False), failures=(BROKEN,)), "pedal")) == {}


@pytest.mark.parametrize(
    ("order", "locked", "once"),
    [(1.0, True, True), (1.05, True, True), (2.0, True, False), (3.97, True, False), (0.44, False, None)],
)
def test_a_creak_s_pace(order: float, locked: bool, once: Any, read: Any, made: Make, finding_of: Make) -> None:
    said = answers(read(made(finding_of("creak", order)), "pedal"))
    assert said["locked"] is locked
    assert said.get("once") is once


@pytest.mark.parametrize("change", [{"speed_off": 0.3}, {"scale_known": False}], ids=["vague", "no scale"])
def test_without_the_crank_s_pace_a_creak_has_none(
    change: dict[str, Any], read: Any, made: Make, finding_of: Make
) -> None:
    said = answers(read(made(finding_of("creak", 1.0), **change), "pedal"))
    assert said["noise"] is True
    assert not {"locked", "once"} & set(said)


def test_no_creak_counts_only_where_it_was_judged(read: Any, made: Make, finding_of: Make) -> None:
    assert "noise" not in answers(read(made(), "pedal"))
    assert answers(read(made(finding_of("creak", detected=False)), "pedal"))["noise"] is False
    assert read(made(finding_of("creak", detected=False)), "coast").answers == ()


def test_the_chain_s_pace(read: Any, made: Make, finding_of: Make) -> None:
    assert answers(read(made(finding_of("drivetrain", 50.0)), "ride-seated"))["chain"] is True
    assert answers(read(made(finding_of("drivetrain", detected=False)), "ride-seated"))["chain"] is False


def test_the_rider_s_word(rules: Any) -> None:
    answer = told(rules.labels["coast"], heard=True)
    assert (answer.question, answer.label, answer.yes, answer.origin) == ("noise", "coast", True, "told")


def test_the_side_is_kept(read: Any, made: Make, finding_of: Make) -> None:
    heard = read(made(finding_of("ball")), "hand", "drive")
    assert heard.side == "drive"
    assert {answer.side for answer in heard.answers} == {"drive"}
