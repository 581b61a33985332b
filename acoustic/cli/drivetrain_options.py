"""The options that say which teeth the chain runs over."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

import click

from acoustic.errors import InputError

Command = Callable[..., None]

_OPTIONS = (
    click.option(
        "--chainring", type=int, metavar="TEETH", help="The chain is on: teeth of the chainring it runs on."
    ),
    click.option("--sprocket", type=int, metavar="TEETH", help="Teeth of the sprocket it runs on at the rear."),
    click.option("--jockey", type=int, metavar="TEETH", help="Teeth of the derailleur's jockey wheels."),
)
_NAMES = ("chainring", "sprocket", "jockey")


def drivetrain_options(command: Command) -> Command:
    """Add the drivetrain's options; the command gets them as one `Drivetrain`, or None, named `drivetrain`."""

    @functools.wraps(command)
    def with_drivetrain(**values: Any) -> None:
        teeth = {name: values.pop(name) for name in _NAMES}
        drivetrain = None
        if any(count is not None for count in teeth.values()):
            from acoustic.model import Drivetrain  # brings numpy, which --help does not need

            _refuse_odd_teeth(teeth)
            drivetrain = Drivetrain(**teeth)
        command(drivetrain=drivetrain, **values)

    decorated: Command = with_drivetrain
    for option in reversed(_OPTIONS):  # decorators apply from the bottom up
        decorated = option(decorated)
    return decorated


def _refuse_odd_teeth(teeth: dict[str, int | None]) -> None:
    """Refuse counts that no bicycle has, and those that say nothing without the chainring's."""
    from acoustic.core.drivetrain import CHAINRING_TEETH, JOCKEY_TEETH, SPROCKET_TEETH

    for name, (least, most) in zip(_NAMES, (CHAINRING_TEETH, SPROCKET_TEETH, JOCKEY_TEETH), strict=True):
        count = teeth[name]
        if count is not None and not least <= count <= most:
            raise InputError(
                f"--{name} is {count} teeth; {least} to {most} are needed",
                hint="Count the teeth, or read the number stamped beside them.",
            )
    if teeth["chainring"] is None:
        named = " and ".join(f"--{name} {count}" for name, count in teeth.items() if count is not None)
        raise InputError(
            f"{named} came without --chainring",
            hint="Count the chainring's teeth too: without them no wheel's turns a crank turn are known.",
        )
