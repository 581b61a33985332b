"""The crank's angle from the picture of the film whose sound is judged."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.api import (
    ArmTrack,
    InputError,
    Motion,
    MotionError,
    NotTracked,
    Recording,
    SpeedRequest,
    follow_arm,
    hookimpl,
    kind_of_spin,
    still_parts,
)
from acoustic_plugins.readers.limits import HEAD_BYTES, Nameless, kind_of, opened

if TYPE_CHECKING:
    import numpy as np
    from av.container import InputContainer
    from av.video.stream import VideoStream
    from numpy.typing import NDArray

ACOUSTIC_API = (1, 0)

LONGEST_PX = 256
LONGEST_S = 120.0
LEAST_STEP_S = 1 / 75  # slow-motion films have more frames than help
STILL_BEFORE_S, STILL_AFTER_S = 0.1, 0.3
# Half widths that hold the truth nine times in ten.
END_TURNS = 0.025  # the angle at one end of the turning part
IN_STEP_S = 0.02  # sound against picture, as phones keep them
HOW_TO_FILM = (
    "Stick a strip of bright tape across one arm of the crank, not in its middle, film the whole crank from the "
    "side in good light with the phone held still, and spin it eight turns or more"
)
OR_ELSE = "; or give the turns' times with --marks."


class Film:
    """Angle from --film."""

    name = "film"
    summary = "the picture of a film of the crank, with a strip of bright tape on one arm"
    rank = 10

    def wanted(self, request: SpeedRequest) -> bool:
        """Tell whether the recording is said to be a film of the crank."""
        return request.film

    def present(self, recording: Recording) -> bool:
        """Tell whether the file has a moving picture."""
        try:
            with _opened(recording.path) as (_, picture):
                return picture is not None
        except InputError:
            return False

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Follow the taped arm through the frames.

        Raises
        ------
        InputError
            The file has no picture.
        MotionError
            The picture shows no crank that can be followed.
        """
        name = recording.path.name
        with _opened(recording.path) as (container, picture):
            if picture is None:
                raise InputError(
                    f"{name} has no moving picture; --film needs a film of the crank",
                    hint="Give the film itself, not its sound alone, or leave --film out.",
                )
            frames, times_s = _grey_frames(name, container, picture)
        try:
            track = follow_arm(frames, times_s)
        except NotTracked as refusal:
            raise _refused(name, refusal, times_s) from None
        return _motion(recording, request, track)
