"""The whole triage: recordings and words in, ranked sources, next recording and question, order of checks out.

Checks by hand are ordered by share over minutes, which finds the source in the least time on average. A quick
check of an unlikely part may so come before the bearing's.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from acoustic.check.grade import CAUTIONS
from acoustic.model import Failure
from acoustic.triage.evidence import Answer, Heard
from acoustic.triage.next_recording import NextQuestion, NextRecording, next_question, next_recording
from acoustic.triage.ranking import Ranked, rank
from acoustic.triage.rules import ANYWHERE, Rules
from acoustic.triage.side import SideVerdict, compare_sides

Certainty = Literal["likely", "open", "undecided"]
Outcome = Literal["ranked", "not_reproduced", "nothing_known", "plugin_failed"]
LIKELY = 0.4  # the least share of a leader that is called likely
AHEAD = 2.0  # and how many times the next one's share it must have


@dataclass(frozen=True, slots=True)
class Triage:
    """The result, the one source for every kind of output.

    Attributes
    ----------
    level : {'likely', 'open', 'undecided'}
        One source leads; several do; nothing is known, or a plugin failed.
    outcome : {'ranked', 'not_reproduced', 'nothing_known', 'plugin_failed'}
        Why it is undecided, if it is.
    because : tuple of str
    ranked : tuple of Ranked
        The likeliest first; where nothing creaks, as before anything was heard.
    next : NextRecording or None
    ask : NextQuestion or None
    checks : tuple of str
        Codes of the sources in the order to check by hand.
    recordings : tuple of Heard
    told : tuple of Answer
        What the rider said.
    side : SideVerdict or None
    failures : tuple of Failure
    cautions : tuple of str
    rules : Rules
    """

    level: Certainty
    outcome: Outcome
    because: tuple[str, ...]
    ranked: tuple[Ranked, ...]
    next: NextRecording | None
    ask: NextQuestion | None
    checks: tuple[str, ...]
    recordings: tuple[Heard, ...]
    told: tuple[Answer, ...]
    side: SideVerdict | None
    failures: tuple[Failure, ...]
    cautions: tuple[str, ...]
    rules: Rules

    @property
    def answers(self) -> tuple[Answer, ...]:
        """All that was told and measured."""
        return (*self.told, *(answer for heard in self.recordings for answer in heard.answers))


def triage(recordings: Sequence[Heard], told: Sequence[Answer], rules: Rules) -> Triage:
    """Say where the creak comes from.

    Parameters
    ----------
    recordings : sequence of Heard
    told : sequence of Answer
        What the rider said without a recording.
    rules : Rules

    Returns
    -------
    Triage
        The order of the arguments does not matter to the ranking.
    """
    answers = [*told, *(answer for heard in recordings for answer in heard.answers)]
    failures = tuple(dict.fromkeys(failure for heard in recordings for failure in heard.failures))
    outcome = _outcome(answers, failures)
    ranked = rank(() if outcome == "not_reproduced" else answers, rules)
    level, because = _verdict(outcome, ranked, answers, failures, rules)
    served = {heard.label for heard in recordings if heard.used}
    if outcome == "not_reproduced":  # first of all it must be heard, so what was tried is not tried again
        served |= {answer.label for answer in answers if answer.question == "noise"}
    return Triage(
        level=level,
        outcome=outcome,
        because=because,
        ranked=ranked,
        next=next_recording(ranked, answers, served, rules),
        ask=None if outcome == "not_reproduced" else next_question(ranked, answers, rules),
        checks=hand_order(ranked, rules),
        recordings=tuple(recordings),
        told=tuple(told),
        side=compare_sides(recordings),
        failures=failures,
        cautions=(*rules.cautions, *CAUTIONS),
        rules=rules,
    )


def hand_order(ranked: Iterable[Ranked], rules: Rules) -> tuple[str, ...]:
    """Order the checks so that the source is found in the least time on average.

    Parameters
    ----------
    ranked : iterable of Ranked
    rules : Rules

    Returns
    -------
    tuple of str
        By share per minute. With two neighbours of shares p, q and times s, t, first p
        then q costs p s + q (s + t) where the source is one of them; the other way round
        costs p s more by p t and less by q s, so p goes first where p / s > q / t.
    """
    return tuple(
        one.source for one in sorted(ranked, key=lambda one: -one.share / rules.sources[one.source].minutes)
    )


def _outcome(answers: Sequence[Answer], failures: Sequence[Failure]) -> Outcome:
    if failures:
        return "plugin_failed"
    if not answers:
        return "nothing_known"
    # A faint trace in the bearing is no creak.
    return "ranked" if any(answer.yes and answer.value != "watch" for answer in answers) else "not_reproduced"


def _verdict(
    outcome: Outcome,
    ranked: Sequence[Ranked],
    answers: Sequence[Answer],
    failures: Sequence[Failure],
    rules: Rules,
) -> tuple[Certainty, tuple[str, ...]]:
    first, second = ranked[:2]
    name = rules.sources[first.source].words
    if outcome == "plugin_failed":
        because = [f"plugin {failure.plugin} failed: {failure.error}" for failure in failures]
        if answers:
            because.append(f"without it, what was found points to: {name}")
        return "undecided", tuple(dict.fromkeys(because))
    if outcome == "nothing_known":
        return "undecided", ("nothing given tells one source from another",)
    if outcome == "not_reproduced":
        return "undecided", _not_reproduced(answers, rules)
    if first.share >= LIKELY and first.share >= AHEAD * second.share:
        return "likely", (_reason(first, rules),)
    return "open", (
        _reason(first, rules),
        f"{name} comes first, {rules.sources[second.source].words} next; neither is clear of the other",
    )


def _not_reproduced(answers: Iterable[Answer], rules: Rules) -> tuple[str, ...]:
    given = list(answers)
    silent = dict.fromkeys(answer.label for answer in given if answer.question == "noise")
    where = "; ".join(label.words for code, label in rules.labels.items() if code in silent)
    because = [f"no creak was heard ({where})"] if where else []
    because += dict.fromkeys(answer.said for answer in given if answer.question == "bearing")
    return (*because, "what cannot be made to creak cannot be located: repair nothing by guess")


def _reason(first: Ranked, rules: Rules) -> str:
    if not first.speaks_for:
        return "the other sources are unlikely"
    best = first.speaks_for[0]
    return f"{where_heard(best.answer, rules)}: {best.answer.said}; {best.why}"


def where_heard(answer: Answer, rules: Rules) -> str:
    """Say in which situation something was answered, or that it is the rider's word on the creak itself."""
    return "the rider says" if answer.label == ANYWHERE else rules.labels[answer.label].words
