"""The crank's angle from the picture of the same film, with a strip of bright tape on one arm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

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
    still_parts,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

ACOUSTIC_API = (1, 0)

LONGER_SIDE_PX = 256
MOST_FRAMES = 6000
FEWEST_TIMES = 2
EVEN = 0.01  # relative spread of a steady speed
SLOWING = 0.75  # speed of the last third over the first's, below which the crank coasts
FRAMES_ALIKE = 3.0
NINE_IN_TEN = 1.645
RATE_ERROR = 0.001
END_TURNS = 0.025  # where the smooth angle may lie off at its ends; with it, rendered films covered 96 in 100
NO_FILM = "--film takes a film; leave it out for a sound file."
HOW = (
    "Film from the side with the whole crank in the picture, the camera on a stand, a strip of bright tape on one "
    "arm only, good light, from two still seconds before the push until the crank stands."
)
FOUND = {
    "few_frames": "the film has {value:.0f} frames, too few to follow a crank",
    "dark": "the film is too dark to see the crank (mean brightness {value:.0f} of 255)",
    "still": "nothing in the film turns for long enough",
    "nothing_round": "nothing in the film goes round as a crank arm does",
    "seldom_seen": "the arm is seen in too few of the frames; {value:.1f} turns on end are borne out",
    "few_turns": "the crank makes {value:.1f} turns in the film; 3 or more are needed",
    "alike": "the two arms look alike, so that half a turn can't be told from none",
}


class Film:
    """Angle from --film."""

    name = "film"
    summary = "the crank arm followed in the picture of the same film, asked for with --film"
    rank = 10

    def wanted(self, request: SpeedRequest) -> bool:
        """Tell whether the film was said to show the crank."""
        return request.film

    def present(self, recording: Recording) -> bool:
        """Films decide only where they are said to show a taped arm: a bare one may seem to turn twice as fast."""
        return False

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Follow the arm through all frames."""
        times_s, frames = decoded(recording.path)
        try:
            track = follow_arm(frames, times_s)
        except NotTracked as refusal:
            raise MotionError(FOUND[refusal.reason].format(value=refusal.value), hint=HOW) from refusal
        duration_s = recording.duration_s
        inside = (track.times_s >= 0) & (track.times_s <= duration_s)
        if inside.sum() < FEWEST_TIMES:
            raise MotionError("the picture shows the crank turning while no sound was recorded", hint=HOW)
        stood_s = track.stood_until_s if track.stood_until_s is not None else 0.0
        stands_s = track.stands_from_s if track.stands_from_s is not None else duration_s
        return Motion(
            times_s=track.times_s[inside].copy(),
            turns=track.turns[inside] - track.turns[inside][0],
            source="film",
            spin=_spin(track),
            relative_uncertainty=_uncertainty(track),
            scale_known=True,
            still=still_parts(duration_s, stood_s, stands_s, before_s=0.1, after_s=0.4),
        )


def decoded(path: Path) -> tuple[NDArray[np.float64], NDArray[np.uint8]]:
    """Decode the pictures of a film, small and grey.

    Parameters
    ----------
    path : Path

    Returns
    -------
    times_s : ndarray, shape (n,)
        Of the frames, from the start of whichever stream starts first, as the sound's.
    frames : ndarray of uint8, shape (n, height, width)

    Raises
    ------
    InputError
        The file holds no moving pictures, or they can't be decoded.
    """
    import av
    import numpy as np

    times, frames = [], []
    try:
        with av.open(str(path)) as container:
            stream = _pictures(container)
            if stream is None:
                raise InputError(f"{path.name} holds no moving pictures", hint=NO_FILM)
            stream.thread_type = "AUTO"
            zero_s = (container.start_time or 0) / 1e6
            for frame in container.decode(stream):
                if frame.time is None:
                    continue
                share = min(1.0, LONGER_SIDE_PX / max(frame.width, frame.height))
                size = (2 * max(8, round(frame.width * share / 2)), 2 * max(8, round(frame.height * share / 2)))
                small = frame.reformat(width=size[0], height=size[1], format="gray")
                times.append(frame.time - zero_s)
                frames.append(small.to_ndarray())
                if len(frames) > MOST_FRAMES:
                    break
    except (av.error.FFmpegError, OSError) as error:
        raise InputError(
            f"the pictures of {path.name} can't be decoded ({type(error).__name__})",
            hint="Copy the film from the phone again, as the file itself.",
        ) from error
    if not frames:
        raise InputError(f"{path.name} holds no picture that can be decoded", hint=HOW)
    order = np.argsort(times, kind="stable")
    kept = order[np.concatenate([[True], np.diff(np.array(times)[order]) > 1e-6])]
    shape = frames[kept[0]].shape
    kept = np.array([k for k in kept if frames[k].shape == shape])
    return np.array(times)[kept], np.stack([frames[k] for k in kept])


def _pictures(container: Any) -> Any:
    """The first stream of moving pictures: a cover picture is a single frame without a rate."""
    still = {"mjpeg", "png", "bmp", "gif", "webp", "tiff"}
    return next((s for s in container.streams.video if s.codec_context.name not in still or s.frames > 1), None)


def _uncertainty(track: ArmTrack) -> float:
    """What the scatter of single frames leaves open at both ends, over the turns, and the clock's rate."""
    import numpy as np

    off = track.frame_turns - np.interp(track.frame_s, track.times_s, track.turns)
    sure = off[track.agreeing]
    scatter = float(np.std(sure)) if sure.size else 0.1
    # Some ten frames about each end bear it out, of which neighbours err alike.
    made = float(track.turns[-1])
    return math.hypot(
        RATE_ERROR + NINE_IN_TEN * scatter * math.sqrt(2 * FRAMES_ALIKE / 10) / made, END_TURNS / made
    )


def _spin(track: ArmTrack) -> Any:
    """A coasting crank only slows; a steady one keeps its speed."""
    import numpy as np

    speed = np.gradient(track.turns, track.times_s)
    thirds = [float(part.mean()) for part in np.array_split(speed, 3)]
    if thirds[2] < SLOWING * thirds[0] and thirds[2] < thirds[1] < thirds[0]:
        return "hand"
    return "steady" if float(speed.std() / speed.mean()) < EVEN else "pedal"


@hookimpl
def acoustic_speed_sources() -> Sequence[Film]:
    """Offer the film."""
    return [Film()]
