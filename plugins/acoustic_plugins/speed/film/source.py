"""The crank's angle from the picture of the same film, with a strip of bright tape on one arm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, cast

from acoustic.api import (
    InputError,
    Motion,
    MotionError,
    Recording,
    SpeedRequest,
    hookimpl,
    kind_of_spin,
    still_parts,
)
from acoustic_plugins.readers.limits import HEAD_BYTES, Nameless, kind_of, opened
from acoustic_plugins.speed.film.arm import ArmTrack, NotTracked, follow_arm
from acoustic_plugins.speed.options import FILM

if TYPE_CHECKING:
    import numpy as np
    from av import VideoFrame
    from av.container import InputContainer
    from av.video.stream import VideoStream
    from numpy.typing import NDArray

ACOUSTIC_API = (1, 0)

# Cost: a strip of tape is still two to five pixels wide.
LONGER_SIDE_PX = 256
# Judgement: no crank spins for two minutes, and a film that long takes minutes to read.
LONGEST_S = 120.0
ENOUGH_HZ = (
    30.0  # of a faster film, every second frame or fewer: a crank turns a tenth of a turn from one to the next
)
STILLS = {"mjpeg", "png", "bmp", "gif", "webp", "tiff"}
# Two times make a speed.
FEWEST_TIMES = 2
# Judgement: as many frames share their error (ALIKE_FRAMES in arm.py).
FRAMES_ALIKE = 3.0
# Standard deviations that hold a normal value nine times in ten.
NINE_IN_TEN = 1.645
# Judgement: how far a film's own clock may run off its sound's.
RATE_ERROR = 0.001
END_TURNS = 0.025  # where the smooth angle may lie off at its ends; with it, rendered films covered 96 in 100
AGAIN = "Copy the film from the phone again, as the file itself."
CUT = "Cut the film to the spin: a little stillness, the spin, and its end."
NO_FILM = "--film takes a film; leave it out for a sound file."
HOW = (
    "Film from the side with the whole crank in the picture, the camera on a stand, a strip of bright tape on one "
    "arm only, good light, from two still seconds before the push until the crank stops."
)
FOUND = {
    "few_frames": "the film has {value:.0f} frames, too few to follow a crank",
    "dark": "the film is too dark to see the crank (mean brightness {value:.0f} of 255)",
    "still": "nothing in the film turns for long enough",
    "nothing_round": "nothing in the film goes round as a crank arm does",
    "seldom_seen": "the arm is seen in too few of the frames; {value:.1f} consecutive turns are confirmed",
    "few_turns": "the crank makes {value:.1f} turns in the film; 3 or more are needed",
    "alike": "the two arms look alike, so that half a turn cannot be told from none",
}


class Film:
    """Angle from --film."""

    name = "film"
    summary = "the crank arm followed in the picture of the same film"
    code, label = "film", "the film"
    rank = 10
    options = FILM

    def present(self, recording: Recording) -> bool:
        """Tell whether the recording is the sound of a film."""
        try:
            with _pictures(recording.path) as found:
                return found is not None
        except InputError:
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
            spin=request.spin or kind_of_spin(track.times_s, track.turns),
            relative_uncertainty=_uncertainty(track),
            scale_known=True,
            still=still_parts(duration_s, stood_s, stands_s, before_s=0.1, after_s=0.4),
        )


@contextmanager
def _pictures(path: Path) -> Iterator[tuple[InputContainer, VideoStream] | None]:
    """Open a file's moving pictures; None where it has none, as a recording with a cover has."""
    with opened(path) as file:
        kind = kind_of(file.read(HEAD_BYTES))
        file.seek(0)
        if kind is None or kind.reader != "container":
            yield None
            return
        import av  # takes longer than a plain recording should wait

        try:
            # The demuxer is named, so that no file can pass for a playlist of others.
            with av.open(Nameless(file), "r", format=kind.demuxer, metadata_errors="replace") as container:
                stream = next((s for s in container.streams.video if not _is_cover(s)), None)
                yield None if stream is None else (container, stream)
        except av.FFmpegError as error:
            found = f"the pictures of {path.name} can't be decoded ({error.strerror})"
            raise InputError(found, hint=AGAIN) from error


def _is_cover(stream: VideoStream) -> bool:
    return stream.codec_context is None or (stream.codec_context.name in STILLS and stream.frames <= 1)


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
        The file holds no moving pictures, or they can't be decoded, or they last for too long.
    """
    import numpy as np

    times: list[float] = []
    frames: list[NDArray[np.uint8]] = []
    with _pictures(path) as found:
        if found is None:
            raise InputError(f"{path.name} holds no moving pictures", hint=NO_FILM)
        container, stream = found
        stream.thread_type = "AUTO"
        zero_s = (container.start_time or 0) / 1e6
        every = max(1, round(float(stream.average_rate or ENOUGH_HZ) / ENOUGH_HZ))
        for frame in islice(container.decode(stream), 0, None, every):
            time_s = (frame.time or 0.0) - zero_s
            if time_s > LONGEST_S:
                raise InputError(f"the film {path.name} lasts for more than {LONGEST_S:.0f} s", hint=CUT)
            small = _small(frame)
            # What is damaged may repeat a time, or claim another size.
            if not frames or (time_s > times[-1] and small.shape == frames[0].shape):
                times.append(time_s)
                frames.append(small)
    if not frames:
        raise InputError(f"{path.name} holds no picture that can be decoded", hint=HOW)
    return np.array(times), np.stack(frames)


def _small(frame: VideoFrame) -> NDArray[np.uint8]:
    share = min(1.0, LONGER_SIDE_PX / max(frame.width, frame.height))
    width, height = (2 * max(8, round(size * share / 2)) for size in (frame.width, frame.height))
    grey = frame.reformat(width=width, height=height, format="gray").to_ndarray()
    return cast("NDArray[np.uint8]", grey)


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


@hookimpl
def acoustic_speed_sources() -> Sequence[Film]:
    """Offer the film."""
    return [Film()]
