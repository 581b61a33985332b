"""The drivetrain beside the bearing: its teeth as given, and what was found of it."""

from __future__ import annotations

from dataclasses import dataclass

from acoustic.dsp.orders.drivetrain import DriveOrder, drive_orders
from acoustic.dsp.orders.evidence import PartEvidence
from acoustic.dsp.orders.healthy import DETECTION_CHANCE

HINT = 0.1  # chance, or power over the background level


@dataclass(frozen=True, slots=True, kw_only=True)
class Drivetrain:
    """Tooth counts of what the chain runs over.

    Attributes
    ----------
    chainring : int
    sprocket, jockey : int or None
        None where not given.
    """

    chainring: int
    sprocket: int | None = None
    jockey: int | None = None

    @property
    def orders(self) -> tuple[DriveOrder, ...]:
        """How often its parts come round or strike in a crank turn."""
        return drive_orders(self.chainring, sprocket=self.sprocket, jockey=self.jockey)


@dataclass(frozen=True, slots=True, eq=False)
class HeardDrivetrain:
    """How strongly the drivetrain's lines stand in the recording.

    Attributes
    ----------
    given : Drivetrain or None
        The teeth it was judged with; None where they were looked for by ear.
    parts : tuple of PartEvidence
        One for each part looked for: 'chain', 'jockey', 'hub'.
    open_because : str
        Why none was looked for; empty where some were.
    """

    given: Drivetrain | None
    parts: tuple[PartEvidence, ...]
    open_because: str = ""

    @property
    def covers_noise(self) -> bool:
        """Whether a running chain was found, which crackles and runs rough by itself.

        Where its teeth were given the chain is on, and a mere hint of it is enough.
        """
        if any(part.chance <= DETECTION_CHANCE for part in self.parts):
            return True
        chain = [part for part in self.parts if part.part == "chain" and self.given is not None]
        return any(part.chance <= HINT or part.impact_ratio >= HINT for part in chain)
