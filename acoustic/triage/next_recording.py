"""Which recording, and which question to the rider, would best part the sources that lead."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from acoustic.triage.evidence import Answer
from acoustic.triage.ranking import Ranked, normalised
from acoustic.triage.rules import ANYWHERE, Circumstance, Rules

LEADS = 0.4  # a source with this share of the first one's share or more leads too
LEAST_BITS = 0.02  # less, and the recording is not worth the ride

Outcome = tuple[tuple[str, str], ...]  # pairs of question and answer
Known = Mapping[tuple[str, str], Collection[str]]  # the answers had, by place and question


@dataclass(frozen=True, slots=True)
class NextRecording:
    """A recording worth making.

    Attributes
    ----------
    label : str
    bits : float
        By how much it is expected to lower the leaders' entropy [bit].
    parts : tuple of str
        The leaders that it would part, by their codes.
    """

    label: str
    bits: float
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NextQuestion:
    """A question worth asking the rider.

    Attributes
    ----------
    question : str
    bits : float
        By how much its answer is expected to lower the leaders' entropy [bit].
    parts : tuple of str
        The leaders that it would part, by their codes.
    """

    question: str
    bits: float
    parts: tuple[str, ...]


def leaders(ranked: Sequence[Ranked]) -> tuple[Ranked, ...]:
    """Sources in the running: the first two, and those not far behind the first."""
    return tuple(r for place, r in enumerate(ranked) if place < 2 or r.share >= LEADS * ranked[0].share)


def next_recording(
    ranked: Sequence[Ranked], answers: Iterable[Answer], recorded: Collection[str], rules: Rules
) -> NextRecording | None:
    """Choose the recording of the greatest expected drop in the leaders' entropy.

    Parameters
    ----------
    ranked : sequence of Ranked
    answers : iterable of Answer
        What is known already and need not be asked again.
    recorded : collection of str
        Labels of which a recording served.
    rules : Rules

    Returns
    -------
    NextRecording or None
        None where no recording that is left promises to part them.
    """
    share, known = _in_the_running(ranked), _known(answers, rules)
    promised = [
        NextRecording(
            label, _expected_drop(share, list(_outcomes(circumstance, known, rules)), label, rules), tuple(share)
        )
        for label, circumstance in rules.labels.items()
        if label not in recorded
    ]
    best = max(promised, key=lambda one: one.bits, default=None)
    return best if best is not None and best.bits >= LEAST_BITS else None


def next_question(ranked: Sequence[Ranked], answers: Iterable[Answer], rules: Rules) -> NextQuestion | None:
    """Choose the question to the rider of the greatest expected drop in the leaders' entropy.

    Parameters
    ----------
    ranked : sequence of Ranked
    answers : iterable of Answer
        What is known already and need not be asked again.
    rules : Rules

    Returns
    -------
    NextQuestion or None
        None where no question that is left promises to part them.
    """
    share, known = _in_the_running(ranked), _known(answers, rules)
    promised = [
        NextQuestion(
            code, _expected_drop(share, [((code, v),) for v in question.values], ANYWHERE, rules), tuple(share)
        )
        for code, question in rules.asked.items()
        if (ANYWHERE, code) not in known
    ]
    best = max(promised, key=lambda one: one.bits, default=None)
    return best if best is not None and best.bits >= LEAST_BITS else None


def _in_the_running(ranked: Sequence[Ranked]) -> dict[str, float]:
    return normalised({one.source: one.share for one in leaders(ranked)})


def _known(answers: Iterable[Answer], rules: Rules) -> Known:
    known: dict[tuple[str, str], set[str]] = {}
    for answer in answers:
        known.setdefault((rules.place(answer.question, answer.label), answer.question), set()).add(answer.value)
    return known


def _outcomes(label: Circumstance, known: Known, rules: Rules) -> Iterator[Outcome]:
    """Everything that a recording may answer beyond what is known."""

    def answers_to(code: str) -> list[Outcome]:
        if (label.code, code) in known:
            return [()]
        return [((code, value),) for value in rules.questions[code].values]

    # Not the creak's beat: the rider tells it without a ride, and few recordings know the crank's pace.
    for parts in product(*(answers_to(code) for code in label.questions if code not in rules.asked)):
        yield tuple(pair for part in parts for pair in part)


def _expected_drop(share: Mapping[str, float], outcomes: Sequence[Outcome], label: str, rules: Rules) -> float:
    """Entropy now less the mean entropy afterwards: the mutual information of source and outcome [bit]."""

    def chance(question: str, value: str, source: str) -> float:
        return rules.rows[question, rules.place(question, label), source].chance(value)

    after = 0.0
    for outcome in outcomes:
        joint = {
            source: share[source] * math.prod(chance(question, value, source) for question, value in outcome)
            for source in share
        }
        after += math.fsum(joint.values()) * entropy_bits(normalised(joint).values())
    return entropy_bits(share.values()) - after


def entropy_bits(values: Iterable[float]) -> float:
    """Entropy of shares that add up to 1 [bit]."""
    return -math.fsum(value * math.log2(value) for value in values if value > 0)
