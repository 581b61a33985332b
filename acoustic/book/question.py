"""How a recording was asked about, as the book keeps it: plain structures, checked when they are read."""

from __future__ import annotations

from typing import Literal

import msgspec

from acoustic.book.files import Sha256, Suffix


class AskedFile(msgspec.Struct, frozen=True, kw_only=True):
    """A file in the store that a question names."""

    sha256: Sha256
    suffix: Suffix


class AskedBearing(msgspec.Struct, frozen=True, kw_only=True):
    """The bearing as it was named: what `acoustic.bearings.search.resolve_bearing` takes."""

    name: str | None = None
    balls: int | None = None
    ball_diameter_mm: float | None = None
    pitch_diameter_mm: float | None = None
    contact_angle_deg: float | None = None
    turning: Literal["inner", "outer"] = "inner"
    rows: int | None = 1


class AskedTeeth(msgspec.Struct, frozen=True, kw_only=True):
    """Teeth of what the chain ran over."""

    chainring: int
    sprocket: int | None = None
    jockey: int | None = None


class AskedScene(msgspec.Struct, frozen=True, kw_only=True):
    """Where and how the recording was made."""

    side: Literal["drive", "non-drive"] | None = None
    channel: int | None = None
    teeth: AskedTeeth | None = None


class AskedBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A question about a recording; `speed` holds what the options of the speed sources were given."""

    bearing: AskedBearing
    speed: dict[str, str | bool | int | float]
    scene: AskedScene
    files: dict[str, AskedFile]


class Turned(msgspec.Struct, frozen=True, kw_only=True):
    """How the crank was turned, as it stands among the answers to speed options."""

    spin: Literal["hand", "pedal", "steady"] | None
