"""Twenty workshop stories of stories.toml: the order that a good mechanic expects, each with its basis."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import msgspec
import pytest

from acoustic.model import Failure, Problem
from acoustic.report.triage_text import to_short_text
from acoustic.triage.evidence import answered, read_evidence, told
from acoustic.triage.result import Triage, triage

Make = Callable[..., Any]
IMPOSSIBLE = 0.01  # what the situation rules out must stay under it


class Recorded(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    label: str
    level: str = ""
    condition: str = ""
    severity_db: float = 0.0
    usable: bool = True
    problem: str = ""


class Story(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    name: str
    basis: Literal["handbook", "common practice", "from memory"]
    why: str
    heard: tuple[str, ...] = ()
    not_heard: tuple[str, ...] = ()
    answers: dict[str, str] = {}
    recordings: tuple[Recorded, ...] = ()
    order: tuple[frozenset[str], ...] = ()
    ruled_out: tuple[str, ...] = ()
    outcome: Literal["ranked", "not_reproduced", "nothing_known"] = "ranked"
    unusable_first: tuple[str, ...] = ()


class Stories(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    story: tuple[Story, ...]


def read(name: str) -> tuple[Story, ...]:
    return msgspec.toml.decode(Path(__file__).with_name(name).read_bytes(), type=Stories).story


STORIES = read("stories.toml")
HELD_OUT = read("held_out_stories.toml")


@pytest.fixture
def told_by(made: Make, finding_of: Make, rules: Any) -> Callable[[Story], Triage]:
    def settled(story: Story) -> Triage:
        heard = []
        for number, one in enumerate(story.recordings, 1):
            findings = [finding_of(one.condition, severity_db=one.severity_db)] if one.condition else []
            problem = Problem(one.problem, f"it is {one.problem}", "Record again.", voids="any")
            analysis = made(*findings, problems=() if one.usable else (problem,), name=f"{number}.wav")
            if one.usable and one.condition != "drivetrain":
                assert analysis.verdict.level == one.level, "the story tells of a check that could be"
            heard.append(read_evidence(analysis, one.label, rules))
        words = [told(rules.labels[label], heard=True) for label in story.heard]
        words += [told(rules.labels[label], heard=False) for label in story.not_heard]
        words += [answered(rules.questions[code], value) for code, value in story.answers.items()]
        return triage(heard, words, rules)

    return settled


def check(story: Story, result: Triage) -> None:
    assert result.outcome == story.outcome
    share = {one.source: one.share for one in result.ranked}
    for better, worse in zip(story.order, (*story.order[1:], ()), strict=False):
        rest = worse or set(share) - set().union(*story.order)
        assert min(share[code] for code in better) > max(share[code] for code in rest), (share, story.why)
    for code in story.ruled_out:
        assert share[code] < IMPOSSIBLE, (code, share[code])
    lines = to_short_text(result).splitlines()
    assert len(lines) <= 10
    assert max(map(len, lines)) <= 96
    assert lines[0].startswith("NOT USED") == bool(story.unusable_first)
    assert any(line.startswith("check") for line in lines) == (story.outcome == "ranked")
    assert any(line.startswith("next") for line in lines)
    assert tuple(heard.label for heard in result.recordings if not heard.used) == story.unusable_first


def test_there_are_twenty_and_each_has_an_expectation() -> None:
    assert len(STORIES) == 20
    assert all(story.order or story.outcome != "ranked" for story in (*STORIES, *HELD_OUT))
    assert len({story.name for story in (*STORIES, *HELD_OUT)}) == len(STORIES) + len(HELD_OUT)


@pytest.mark.parametrize("story", STORIES, ids=lambda story: story.name)
def test_a_story(story: Story, told_by: Callable[[Story], Triage]) -> None:
    check(story, told_by(story))


@pytest.mark.parametrize("story", HELD_OUT, ids=lambda story: story.name)
def test_a_held_out_story(story: Story, told_by: Callable[[Story], Triage]) -> None:
    check(story, told_by(story))


@pytest.mark.parametrize("count", [1, 2, 5])
def test_the_longest_names_and_reasons_leave_ten_lines(
    count: int, made: Make, finding_of: Make, rules: Any
) -> None:
    """Names of 250 letters, a plugin that explains itself at length, both sides, a worn bearing beside it."""
    broken = Failure("detect", "some-plugin", "ValueError: " + "no " * 400)
    endless = Problem("faint", "it is faint " * 60, "Go nearer.", voids="any")
    heard = [
        read_evidence(made(problems=(endless,), name=f"{number}{'n' * 250}.wav"), "hand", rules, "non-drive")
        for number in range(count)
    ]
    worn = read_evidence(made(finding_of("ball"), failures=(broken,)), "hand", rules, "drive")
    words = [told(rules.labels[label], heard=label == "coast") for label in rules.labels]
    for result in (triage(heard, words, rules), triage([*heard, worn], words, rules)):
        lines = to_short_text(result).splitlines()
        assert len(lines) <= 10
        assert max(map(len, lines)) <= 96
        assert lines[0].startswith("NOT USED")
        assert any(line.startswith("why") for line in lines)
        assert "do not ride" in " ".join(lines)
