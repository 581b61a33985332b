"""The options that say where and how a recording was made."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.questions import CHAIN_ON, WHERE_HEARD, under
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.model import Drivetrain

Command = Callable[..., None]

_OPTIONS = (
    click.option(
        "--side", type=click.Choice(["drive", "non-drive"], case_sensitive=False), help="Where the phone was held."
    ),
    click.option(
        "--room",
        type=click.Path(path_type=Path),
        metavar="STILL.wav",
        help="Recording of the still bike in the same room by the same phone, if the spin has no still parts.",
    ),
)
_TOOTH_COUNTS = (
    click.option("--chainring", type=int, metavar="TEETH", help="Teeth of the chainring."),
    click.option("--sprocket", type=int, metavar="TEETH", help="Teeth of the rear sprocket."),
    click.option("--jockey", type=int, metavar="TEETH", help="Teeth of the derailleur's jockey wheels."),
)
_NAMES = ("chainring", "sprocket", "jockey")


def scene_options(command: Command) -> Command:
    """Add the options; the command gets them as one `Scene` named `scene`."""

    @functools.wraps(command)
    def with_scene(**values: Any) -> None:
        teeth = {name: values.pop(name) for name in _NAMES}
        side, room = values.pop("side"), values.pop("room")
        from acoustic.model import Scene  # brings numpy, which --help does not need

        command(scene=Scene(drivetrain=drivetrain_of(**teeth), room=room, side=side), **values)

    return under(WHERE_HEARD, *_OPTIONS)(under(CHAIN_ON, *_TOOTH_COUNTS)(with_scene))


def drivetrain_of(chainring: int | None, sprocket: int | None, jockey: int | None) -> Drivetrain | None:
    """The drivetrain with these counts of teeth; None where none is given.

    Raises
    ------
    InputError
        No bicycle has such a count, or the chainring's is missing.
    """
    from acoustic.model import Drivetrain

    teeth = {"chainring": chainring, "sprocket": sprocket, "jockey": jockey}
    if all(count is None for count in teeth.values()):
        return None
    _refuse_odd_teeth(teeth)
    if chainring is None:
        named = " and ".join(f"--{name} {count}" for name, count in teeth.items() if count is not None)
        raise InputError(
            f"--chainring is missing beside {named}",
            hint="Count the chainring's teeth too. Without them it is not known how fast the wheels turn.",
        )
    return Drivetrain(chainring=chainring, sprocket=sprocket, jockey=jockey)


def _refuse_odd_teeth(teeth: dict[str, int | None]) -> None:
    """Refuse counts that no bicycle has."""
    from acoustic.dsp.orders.drivetrain import CHAINRING_TEETH, JOCKEY_TEETH, SPROCKET_TEETH

    for name, (least, most) in zip(_NAMES, (CHAINRING_TEETH, SPROCKET_TEETH, JOCKEY_TEETH), strict=True):
        count = teeth[name]
        if count is not None and not least <= count <= most:
            raise InputError(
                f"--{name} is {count} teeth; {least} to {most} are needed",
                hint="Count the teeth, or read the number stamped beside them.",
            )
