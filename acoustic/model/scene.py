"""What is said of a recording beside bearing and speed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from acoustic.model.drivetrain import Drivetrain
from acoustic.model.recording import Side


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Where and how a recording was made.

    Attributes
    ----------
    drivetrain : Drivetrain or None
        Teeth of what the chain runs over; None where not given, or the chain is off.
    room : Path or None
        A recording of the room alone, made by the same phone at the same place.
    side : {'drive', 'non-drive'} or None
        Where the phone was held; kept with the recording.
    channel : int or None
        The channel to judge, counted from 1; None for the loudest.
    """

    drivetrain: Drivetrain | None = None
    room: Path | None = None
    side: Side | None = None
    channel: int | None = None
