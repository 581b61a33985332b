"""What the rider says of a creak, as options; `acoustic triage` takes it beside recordings or without any."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.questions import WHAT_THE_RIDER_SAYS, under
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.triage.evidence import Answer
    from acoustic.triage.rules import Rules

Command = Callable[..., Any]

_OPTIONS = (
    click.option(
        "--heard",
        multiple=True,
        metavar="LABEL",
        help="The rider hears the creak in this situation; may be repeated.",
    ),
    click.option(
        "--not-heard",
        multiple=True,
        metavar="LABEL",
        help="The rider does not hear it in this situation; may be repeated.",
    ),
    click.option(
        "--answer",
        "answers",
        multiple=True,
        metavar="QUESTION=WORD",
        help="What the rider says of the creak itself; may be repeated. "
        "rhythm=each-turn, strokes, two-turns, wheel, many or irregular; leg=left, right, both or neither; "
        "hands-off=stops or stays; rain=worse or same.",
    ),
)


@dataclass(frozen=True, slots=True)
class RiderSaid:
    """What was typed, not yet looked up.

    Attributes
    ----------
    heard, not_heard : tuple of str
        Labels of situations.
    answers : tuple of str
        As QUESTION=WORD.
    """

    heard: tuple[str, ...]
    not_heard: tuple[str, ...]
    answers: tuple[str, ...]

    def resolve(self, rules: Rules) -> list[Answer]:
        """Look everything up.

        Raises
        ------
        InputError
            A situation, a question or an answer is not known, or two words contradict each other.
        """
        return [*_told(self.heard, self.not_heard, rules), *_answered(self.answers, rules)]


def rider_options(command: Command) -> Command:
    """Add the rider's options; the command gets them as one `RiderSaid` named `said`."""

    @functools.wraps(command)
    def with_words(**values: Any) -> None:
        said = {field.name: values.pop(field.name) for field in fields(RiderSaid)}
        command(said=RiderSaid(**said), **values)

    return under(WHAT_THE_RIDER_SAYS, *_OPTIONS)(with_words)


def known_label(label: str, where: str, rules: Rules) -> None:
    """Refuse a label that is not in the table."""
    if label not in rules.labels:
        raise InputError(
            f"{where}: {label or 'nothing'} is not a known label",
            hint=f"Use one of {', '.join(rules.labels)}.",
        )


def _told(heard: Iterable[str], not_heard: Iterable[str], rules: Rules) -> list[Answer]:
    from acoustic.triage.evidence import told

    yes, no = dict.fromkeys(heard), dict.fromkeys(not_heard)
    for option, labels in (("--heard", yes), ("--not-heard", no)):
        for label in labels:
            known_label(label, f"{option} {label}", rules)
    both = [label for label in yes if label in no]
    if both:
        raise InputError(
            f"{both[0]} is given with --heard and with --not-heard",
            hint="Leave both out if the creak comes and goes, or listen again.",
        )
    return [told(rules.labels[label], heard=label in yes) for label in (*yes, *no)]


def _answered(texts: Iterable[str], rules: Rules) -> list[Answer]:
    from acoustic.triage.evidence import answered

    given: dict[str, Answer] = {}
    for text in texts:
        code, _, value = text.casefold().replace(" ", "").partition("=")
        question = rules.asked.get(code)
        if question is None:
            raise InputError(
                f"--answer {text}: {code or 'nothing'} is not a known question",
                hint=f"Write --answer QUESTION=WORD, with one of {', '.join(rules.asked)}.",
            )
        if value not in question.values:
            raise InputError(
                f"--answer {text}: {value or 'nothing'} is not an answer to '{question.ask}'",
                hint=f"Write {code}= with one of {', '.join(question.values)}.",
            )
        if code in given and given[code].value != value:
            raise InputError(
                f"--answer {code} is given as {given[code].value} and as {value}",
                hint="Give it once; leave it out if the creak does both.",
            )
        given[code] = answered(question, value)
    return list(given.values())
