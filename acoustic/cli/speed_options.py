"""The options that say how the crank turned: made from what plugins declare, for commands that need its angle."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from acoustic.plugin.options import Option, declared_options

Command = Callable[..., None]

_PREFIX = "speed_option_"  # so that no plugin's key meets a command's own argument
_SPIN = click.option(
    "--spin",
    type=click.Choice(["hand", "pedal", "steady"]),
    help="How the crank was turned. Without it, the program finds out.",
)
_TYPES: dict[str, Any] = {
    "number": float,
    "count": click.IntRange(min=1),
    "channel": click.IntRange(min=1),
    "file": click.Path(path_type=Path),
    "text": str,
}


def speed_options(command: Command) -> Command:
    """Add the speed options; the command gets them as one `SpeedRequest` named `request`."""
    declared = declared_options()

    @functools.wraps(command)
    def with_request(**values: Any) -> None:
        from acoustic.model import SpeedRequest  # brings numpy, which --help does not need

        said = {option.key: values.pop(_PREFIX + option.key) for option in declared}
        command(request=SpeedRequest(said, spin=values.pop("spin")), **values)

    decorated: Command = _SPIN(with_request)
    for option in reversed(declared):  # decorators apply from the bottom up
        decorated = _as_click(option)(decorated)
    return decorated


def _as_click(option: Option) -> Callable[[Command], Command]:
    if option.kind == "flag":
        return click.option(option.flag, _PREFIX + option.key, is_flag=True, help=option.help)
    return click.option(
        option.flag,
        _PREFIX + option.key,
        type=_TYPES[option.kind],
        metavar=option.metavar or None,
        help=option.help,
    )
