"""What was said with a recording: the bike, the bearing, how the crank's angle is to be found."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import msgspec

from acoustic.bearings.search import resolve_bearing
from acoustic.book.asked import Asked
from acoustic.book.question import AskedBearing
from acoustic.book.records import Fitted
from acoustic.errors import InputError
from acoustic.model import Scene, SpeedRequest

Way = Literal["film", "crank", "taps", "turns", "sound"]
Kind = Literal["check", "free", "pressed", "final"]
MOST_LETTERS = 200  # judgement: of any text that a form sends; a sentence, no book
# What a file is called in a check's folder, whatever the phone called it.
MARKS, GYRO = "marks.csv", "gyro.csv"


class Question(msgspec.Struct, frozen=True, kw_only=True):
    """What was said with a recording.

    Attributes
    ----------
    bike : str
    bearing : str
        By name or size; empty: as fitted.
    way : {'film', 'crank', 'taps', 'turns', 'sound'}
        Where the crank's angle comes from.
    turns : float or None
        Counted by eye.
    kind : {'check', 'free', 'pressed', 'final'}
        What is recorded, as of a visit.
    side : {'drive', 'non-drive'} or None
    distance_km : float or None
    recorder, notes : str
        What the phone said of its microphone; the mechanic's own words.
    """

    bike: str
    bearing: str = ""
    way: Way = "sound"
    turns: float | None = None
    kind: Kind = "check"
    side: Literal["drive", "non-drive"] | None = None
    distance_km: float | None = None
    recorder: str = ""
    notes: str = ""

    def asked(self, folder: Path, fitted: Fitted | None) -> Asked:
        """The same as the chain and the book take it.

        Parameters
        ----------
        folder : Path
            Holds the recording, and the marks or the gyro's table that came with it.
        fitted : Fitted or None
            The bearing that sits in the bike.

        Raises
        ------
        InputError
            No bearing was named, and none is on record.
        """
        name = self.bearing or (fitted.designation if fitted else "")
        if not name:
            raise InputError(
                f"no bearing is on record for {self.bike}",
                hint="Name it: its number, such as 6805, or bore x outside diameter x width.",
            )
        rows = fitted.rows if fitted and not self.bearing else None
        return Asked(
            bearing=AskedBearing(name=name, rows=rows),
            request=SpeedRequest(self._sources(folder)),
            scene=Scene(side=self.side),
        )

    def _sources(self, folder: Path) -> Mapping[str, Any]:
        if self.way == "film":
            return {"film": True}
        if self.way == "crank":
            return {"gyro": folder / GYRO}
        if self.way == "taps":
            return {"marks": folder / MARKS}
        return {"counted_turns": self.turns} if self.turns is not None else {}


def require_known(bearing: str) -> None:
    """Refuse a bearing's name that the catalogue does not know.

    Raises
    ------
    InputError
        With the nearest names.
    """
    if bearing:
        resolve_bearing(name=bearing)
