"""The options that say how the crank turned, for every command that needs its angle."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from acoustic.errors import InputError

Command = Callable[..., None]
MOST_TURNS = 1000.0

_OPTIONS = (
    click.option("--film", is_flag=True, help="Follow the crank in the picture of this film."),
    click.option(
        "--marks",
        type=click.Path(path_type=Path),
        metavar="FILE.csv",
        help="File with the time [s] of each crank turn, one per line.",
    ),
    click.option(
        "--mark-channel",
        type=click.IntRange(min=1),
        metavar="N",
        help="Channel N of the recording holds one pulse per turn.",
    ),
    click.option(
        "--gyro",
        type=click.Path(path_type=Path),
        metavar="FILE.csv",
        help="File of angular speed against time, from a phone strapped to the crank arm.",
    ),
    click.option("--ticks", is_flag=True, help="A card clicks once per turn and can be heard in the recording."),
    click.option(
        "--turns",
        "counted_turns",
        type=float,
        metavar="N",
        help="Turns of the whole spin, counted by eye, for example 9.5.",
    ),
    click.option(
        "--speed", "speed_rpm", type=float, metavar="RPM", help="The crank turns steadily at this speed."
    ),
    click.option(
        "--spin",
        type=click.Choice(["hand", "pedal", "steady"]),
        help="How the crank was turned. Without it, the program finds out.",
    ),
)


def speed_options(command: Command) -> Command:
    """Add the speed options; the command gets them as one `SpeedRequest` named `request`."""

    @functools.wraps(command)
    def with_request(**values: Any) -> None:
        from acoustic.model import SpeedRequest  # brings numpy, which --help does not need

        names = [option for option in _NAMES if option in values]
        said = {name: values.pop(name) for name in names}
        refuse_contradictions(**said)
        command(request=SpeedRequest(**said), **values)

    decorated: Command = with_request
    for option in reversed(_OPTIONS):  # decorators apply from the bottom up
        decorated = option(decorated)
    return decorated


_NAMES = ("film", "marks", "mark_channel", "gyro", "ticks", "counted_turns", "speed_rpm", "spin")


def refuse_contradictions(
    *, speed_rpm: float | None, counted_turns: float | None, spin: str | None, **other: Any
) -> None:
    """Refuse impossible numbers, and a steady speed for a spin that is not steady."""
    if speed_rpm is not None and spin in ("hand", "pedal"):
        raise InputError(
            f"--speed says the speed is steady, --spin {spin} says it is not",
            hint="Leave --spin out, or give the turns' times with --marks.",
        )
    if counted_turns is not None and not 0 < counted_turns <= MOST_TURNS:
        raise InputError(
            f"--turns is {counted_turns:g}; more than 0 and at most {MOST_TURNS:g} is needed",
            hint="Count the crank's turns from the push until it stops, half turns too, for example 9.5.",
        )
