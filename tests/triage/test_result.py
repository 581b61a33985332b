"""The whole triage: how sure it is, what it says where nothing is known, and the order of the checks."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import pytest

from acoustic.check.grade import CAUTIONS
from acoustic.model import Failure, Problem
from acoustic.triage.evidence import read_evidence
from acoustic.triage.ranking import rank
from acoustic.triage.result import hand_order, triage

Make = Callable[..., Any]
BROKEN = Failure("detect", "some-plugin", "ValueError: no")
SILENT = Problem("silent", "the recording is silent", "Record again.", voids="any")


def test_nothing_known_is_undecided_and_says_what_to_record(rules: Any) -> None:
    result = triage([], [], rules)
    assert result.level == "undecided"
    assert result.next is not None
    assert set(result.checks) == set(rules.sources)


def test_useless_recordings_are_undecided(made: Make, rules: Any) -> None:
    unusable = read_evidence(made(problems=(SILENT,)), "hand", rules)
    result = triage([unusable], [], rules)
    assert result.level == "undecided"
    assert result.answers == ()
    assert result.next is not None


def test_one_clear_leader_is_likely(said: Make, rules: Any) -> None:
    result = triage([], said("+ride-seated", "-ride-standing"), rules)
    assert result.level == "likely"
    assert result.ranked[0].source == "saddle"
    assert result.ranked[0].share >= 2 * result.ranked[1].share


def test_two_leaders_are_open(said: Make, rules: Any) -> None:
    result = triage([], said("+ride-seated", "+ride-standing"), rules)
    assert result.level == "open"


def test_a_failed_plugin_leaves_it_undecided(made: Make, finding_of: Make, said: Make, rules: Any) -> None:
    """Even where the rest is clear, and even where all that is known clears the bearing."""
    told = said("+ride-seated", "-ride-standing", "+coast")
    heard = read_evidence(made(failures=(BROKEN,)), "hand", rules)
    result = triage([heard], told, rules)
    assert result.level == "undecided"
    assert result.failures == (BROKEN,)
    assert "some-plugin" in result.because[0]
    without = rank(told, rules)
    assert [one.share for one in result.ranked] == [one.share for one in without], "it must not read as clean"


def test_the_order_of_the_arguments_does_not_matter(made: Make, finding_of: Make, said: Make, rules: Any) -> None:
    heard = [
        read_evidence(made(finding_of("ball"), name="a.wav"), "hand", rules, "drive"),
        read_evidence(made(finding_of("ball", severity_db=12.0), name="b.wav"), "hand", rules, "non-drive"),
        read_evidence(made(finding_of("creak", 1.0), name="c.wav"), "pedal", rules),
    ]
    told = said("+ride-standing", "-coast")
    results = [
        triage(recordings, words, rules)
        for recordings in itertools.permutations(heard)
        for words in (told, told[::-1])
    ]
    for result in results[1:]:
        assert result.ranked == results[0].ranked
        assert (result.level, result.next, result.checks) == (
            results[0].level,
            results[0].next,
            results[0].checks,
        )
        assert result.side == results[0].side


def test_the_checks_take_the_least_time_on_average(said: Make, rules: Any) -> None:
    """Against every order of the five likeliest, counted out."""
    ranked = rank(said("+ride-seated", "+pedal"), rules)[:5]
    share = {one.source: one.share for one in ranked}

    def mean_minutes(order: tuple[str, ...]) -> float:
        done, total = 0.0, 0.0
        for code in order:
            done += rules.sources[code].minutes
            total += share[code] * done
        return total

    least = min(map(mean_minutes, itertools.permutations(share)))
    assert mean_minutes(hand_order(ranked, rules)) == pytest.approx(least)


def test_the_cautions_are_always_there(said: Make, rules: Any) -> None:
    result = triage([], said("+coast"), rules)
    assert set(CAUTIONS) <= set(result.cautions)
    assert "loose crank arm" in result.cautions[0]
