"""From answers to shares of the sources, with what speaks for and against each.

Naive Bayes over a table of words would be sure too soon: its rows are not independent, and nobody has counted
creaks. So the chances of each row are softened by what the row rests on, repeats of a question share one vote,
and three per cent stay with the prior. What a situation makes impossible (a hub that stands, a saddle that nobody
sits on) and a bearing that is found worn out weigh most. The price is some sharpness where all agree.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby

from acoustic.triage.evidence import Answer
from acoustic.triage.rules import Row, Rules

TABLE_WRONG = 0.03  # chance that the table itself misleads: then every source is as likely as before
SPEAKS_NATS = 0.15  # less, and an answer speaks neither for nor against
PRESENCE = ("noise", "bearing", "chain")  # what is there at one side may be heard less, or not, at the other


@dataclass(frozen=True, slots=True)
class Argument:
    """What one answer says of one source.

    Attributes
    ----------
    answer : Answer
    nats : float
        Log of the answer's chance under this source, over its mean chance under all.
    why, basis : str
        Of the rule.
    """

    answer: Answer
    nats: float
    why: str
    basis: str


@dataclass(frozen=True, slots=True)
class Ranked:
    """One source, how likely it is, and why.

    Attributes
    ----------
    source : str
        Its code.
    share : float
        0 to 1; those of all sources add up to 1.
    speaks_for, against : tuple of Argument
        The strongest first.
    """

    source: str
    share: float
    speaks_for: tuple[Argument, ...]
    against: tuple[Argument, ...]


def rank(answers: Iterable[Answer], rules: Rules) -> tuple[Ranked, ...]:
    """Rank the sources by naive Bayes over tempered odds.

    Parameters
    ----------
    answers : iterable of Answer
        In any order. Several answers to one question of one circumstance share
        one vote, since they are no independent news.
    rules : Rules

    Returns
    -------
    tuple of Ranked
        The likeliest first; equal ones in the table's order.
    """
    given = sorted(
        counted(answers), key=lambda a: (a.label, a.question, a.by, a.side or "", a.value, a.origin, a.said)
    )
    share = shares(given, rules)
    ranked = [_with_reasons(source, share[source], given, rules) for source in rules.sources]
    return tuple(sorted(ranked, key=lambda one: -round(one.share, 9)))


def shares(answers: Iterable[Answer], rules: Rules) -> dict[str, float]:
    """Share of every source; they add up to 1, and none is 0 or 1."""
    log_odds = {code: math.log(source.prior) for code, source in rules.sources.items()}

    def place(answer: Answer) -> tuple[str, str]:
        return rules.place(answer.question, answer.label), answer.question

    for _, group in groupby(sorted(counted(answers), key=place), key=place):
        same = list(group)
        for code in log_odds:
            log_odds[code] += math.fsum(math.log(chance(a, code, rules)) for a in same) / len(same)
    prior = normalised({code: source.prior for code, source in rules.sources.items()})
    top = max(log_odds.values())
    told = normalised({code: math.exp(value - top) for code, value in log_odds.items()})
    return {code: (1 - TABLE_WRONG) * told[code] + TABLE_WRONG * prior[code] for code in log_odds}


def counted(answers: Iterable[Answer]) -> list[Answer]:
    """Leave out what one side shows less of than the other: a fault at one side is no less for it."""
    given = list(answers)
    most: dict[tuple[str, str], int] = {}
    for answer in given:
        if answer.side:
            most[_place(answer)] = max(answer.degree, most.get(_place(answer), 0))

    def shown_across(answer: Answer) -> bool:
        sided = answer.side is not None and answer.question in PRESENCE
        return sided and answer.degree < most[_place(answer)]

    return [answer for answer in given if not shown_across(answer)]


def chance(answer: Answer, source: str, rules: Rules) -> float:
    """Chance of an answer if the source is to blame, by the table, the row's basis and who answers."""
    silent = answer.origin == "measured" and answer.question == "noise" and not answer.yes
    weight = rules.weights["measured_silent" if silent else answer.origin]
    return _row(answer, source, rules).chance(answer.value, weight=weight)


def normalised(values: Mapping[str, float]) -> dict[str, float]:
    """Scale to a sum of 1."""
    total = math.fsum(values.values())
    return {key: value / total for key, value in values.items()}


def _place(answer: Answer) -> tuple[str, str]:
    return answer.label, answer.question


def _row(answer: Answer, source: str, rules: Rules) -> Row:
    return rules.rows[answer.question, rules.place(answer.question, answer.label), source]


def _with_reasons(source: str, share: float, answers: Iterable[Answer], rules: Rules) -> Ranked:
    arguments = []
    for answer in answers:
        mean = math.fsum(chance(answer, code, rules) for code in rules.sources) / len(rules.sources)
        row = _row(answer, source, rules)
        nats = math.log(chance(answer, source, rules) / mean)
        arguments.append(Argument(answer, nats, row.why, row.basis))
    arguments.sort(key=lambda argument: -abs(argument.nats))
    return Ranked(
        source,
        share,
        tuple(argument for argument in arguments if argument.nats > SPEAKS_NATS),
        tuple(argument for argument in arguments if argument.nats < -SPEAKS_NATS),
    )
