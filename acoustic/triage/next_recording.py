"""Which recording would best part the sources that lead."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from acoustic.triage.evidence import Answer
from acoustic.triage.ranking import Ranked, normalised
from acoustic.triage.rules import Circumstance, Rules

LEADS = 0.4  # a source with this share of the first one's share or more leads too
LEAST_BITS = 0.02  # less, and the recording is not worth the ride

Outcome = tuple[tuple[str, bool], ...]
# A creak's pace can only be told where there is a creak.
_NOISE: tuple[Outcome, ...] = (
    (("noise", False),),
    (("noise", True), ("locked", False)),
    (("noise", True), ("locked", True), ("once", True)),
    (("noise", True), ("locked", True), ("once", False)),
)


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
    among = leaders(ranked)
    share = normalised({one.source: one.share for one in among})
    known: dict[tuple[str, str], set[bool]] = {}
    for answer in answers:
        known.setdefault((answer.label, answer.question), set()).add(answer.yes)
    promised = [
        NextRecording(
            label, _expected_drop(share, _outcomes(circumstance, known), circumstance, rules), tuple(share)
        )
        for label, circumstance in rules.labels.items()
        if label not in recorded
    ]
    best = max(promised, key=lambda one: one.bits, default=None)
    return best if best is not None and best.bits >= LEAST_BITS else None


def _outcomes(label: Circumstance, known: Mapping[tuple[str, str], Collection[bool]]) -> list[Outcome]:
    """Everything that a recording may answer beyond what is known."""

    def still_open(outcome: Outcome) -> Outcome:
        return tuple((q, yes) for q, yes in outcome if q in label.questions and (label.code, q) not in known)

    def possible(outcome: Outcome) -> bool:
        return all(yes in known.get((label.code, question), (yes,)) for question, yes in outcome)

    noise = list(dict.fromkeys(still_open(outcome) for outcome in _NOISE if possible(outcome)))
    rest = [
        [((question, True),), ((question, False),)] if (label.code, question) not in known else [()]
        for question in ("bearing", "chain")
        if question in label.questions
    ]
    return [tuple(pair for part in parts for pair in part) for parts in product(noise, *rest)]


def _expected_drop(
    share: Mapping[str, float], outcomes: Sequence[Outcome], label: Circumstance, rules: Rules
) -> float:
    """Entropy now less the mean entropy afterwards: the mutual information of source and outcome [bit]."""
    after = 0.0
    for outcome in outcomes:
        joint = {
            source: share[source]
            * math.prod(rules.rows[question, label.code, source].chance(yes=yes) for question, yes in outcome)
            for source in share
        }
        after += math.fsum(joint.values()) * entropy_bits(normalised(joint).values())
    return entropy_bits(share.values()) - after


def entropy_bits(values: Iterable[float]) -> float:
    """Entropy of shares that add up to 1 [bit]."""
    return -math.fsum(value * math.log2(value) for value in values if value > 0)
