"""Help of the long commands: their options under the questions that they answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

WHICH_VISIT = "Which bike and visit"
WHICH_BEARING = "Which bearing"
HOW_IT_TURNED = "How it turned, the best way first"
WHERE_HEARD = "Where it was heard"
WHAT_THE_RIDER_SAYS = "What the rider says"
CHAIN_ON = "With the chain on"
WHAT_TO_WRITE = "What to write"
OTHER = "Other"

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


class ByQuestion(click.Command):
    """A command whose help lists its options by question, in the order in which they were given."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write each question with its options below."""
        sorted_out: dict[str, list[tuple[str, str]]] = {}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx) if isinstance(parameter, click.Option) else None
            if record is not None:
                sorted_out.setdefault(getattr(parameter, "question", OTHER), []).append(record)
        sorted_out[OTHER] = sorted_out.pop(OTHER, [])
        for question, records in sorted_out.items():
            with formatter.section(question):
                formatter.write_dl(records)


def under(question: str, *options: Decorator) -> Decorator:
    """Decorate with options, in this order, that the help lists under a question."""

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):  # decorators apply from the bottom up
            command = option(command)
            command.__click_params__[-1].question = question  # type: ignore[attr-defined] # where click keeps them
        return command

    return add
