"""The options that say how the crank turned: made from what plugins declare, for commands that need its angle."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.questions import HOW_IT_TURNED, under
from acoustic.cli.types import Number
from acoustic.errors import InputError
from acoustic.plugin.options import Option, declared_options

if TYPE_CHECKING:
    from acoustic.model import SpeedRequest

Command = Callable[..., None]

_PREFIX = "speed_option_"  # so that no plugin's key meets a command's own argument
# What comes with the program, as `acoustic guide angle` ranks it; what other plugins add stands below.
_BEST_FIRST = ("film", "mark_channel", "marks", "gyro", "ticks", "counted_turns", "speed_rpm")
_SPIN = click.option(
    "--spin",
    type=click.Choice(["hand", "pedal", "steady"], case_sensitive=False),
    help="How the crank was turned. Without it, the program finds out.",
)
_TYPES: dict[str, Any] = {
    "number": Number(),
    "count": click.IntRange(min=1),
    "channel": click.IntRange(min=1),
    "file": click.Path(path_type=Path),
    "text": str,
}


def speed_options(command: Command) -> Command:
    """Add the speed options; the command gets them as one `SpeedRequest` named `request`."""
    declared = sorted(declared_options(), key=_place)

    @functools.wraps(command)
    def with_request(**values: Any) -> None:
        from acoustic.model import SpeedRequest  # brings numpy, which --help does not need

        said = {option.key: values.pop(_PREFIX + option.key) for option in declared}
        command(request=SpeedRequest(said, spin=values.pop("spin")), **values)

    return under(HOW_IT_TURNED, *map(_as_click, declared), _SPIN)(with_request)


def _place(option: Option) -> int:
    return _BEST_FIRST.index(option.key) if option.key in _BEST_FIRST else len(_BEST_FIRST)


def refuse_one_for_many(recordings: Sequence[Path], request: SpeedRequest) -> None:
    """Refuse files and counts that belong to one recording where several are given.

    Raises
    ------
    InputError
    """
    if len(recordings) < 2:
        return
    files = any(isinstance(value, Path) for value in request.values.values())
    if files or request.value("counted_turns") is not None:
        raise InputError(
            f"--marks, --gyro and --turns belong to one recording, and {len(recordings)} were given",
            hint="Give each recording in a call of its own. --film, --ticks and --mark-channel hold for several.",
        )


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
