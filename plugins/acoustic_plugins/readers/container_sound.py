"""Reads the sound in what phones, browsers and cameras write: M4A, MP4, MOV, 3GP, WebM and others.

The first sound stream is decoded by libavcodec at its own rate, every channel.
Time zero is the start of whichever stream starts first, so that the sound fits
the picture of the same film; encoder delay is cut off where the file tells it
(M4A, MP4, MOV, 3GP, WebM, CAF, Ogg). Bare AAC and AMR files don't: theirs stays in,
up to 50 ms, and shifts the whole recording.

Packets that are lost leave silence behind, so that what follows keeps its time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.api import InputError, Sound, hookimpl
from acoustic_plugins.readers.limits import (
    COPY_AGAIN,
    HEAD_BYTES,
    MAX_CHANNELS,
    MAX_DURATION_S,
    MAX_MISSING_SHARE,
    Kind,
    Nameless,
    broken_note,
    kind_of,
    loss_note,
    opened,
    require_kind,
    require_recording,
    require_sound,
    share_present,
    too_long,
)

if TYPE_CHECKING:
    import numpy as np
    from av import AudioFrame
    from av.audio import AudioStream
    from av.container import InputContainer
    from numpy.typing import NDArray

ACOUSTIC_API = (1, 0)

PROTECTED_TAGS = ("drms", "enca")
# A time stamp that jumps by nearly a packet tells of a lost one; by less, of rounding.
LOST_PACKET_SHARE = 0.75
# Judgement: time stamps in milliseconds are off by one or two; a lost packet by 20 and more.
LEAST_HOLE_S = 0.005


class ContainerSound:
    """Reader for the sound stream of phone recordings and films."""

    name = "container-sound"
    summary = "M4A, MP4, MOV, 3GP, WebM, Matroska, AVI, CAF, Ogg Opus, bare AAC and AMR files"

    def claims(self, head: bytes) -> bool:
        """Tell from the first 4096 bytes whether this is a container or a bare stream."""
        kind = kind_of(head)
        return kind is not None and kind.reader == "container"

    def read(self, path: Path) -> Sound:
        """Decode the whole first sound stream.

        Parameters
        ----------
        path : Path

        Returns
        -------
        Sound

        Raises
        ------
        InputError
            The file is not such a container, is damaged, holds no sound stream or one
            that can't be decoded, or cannot be a recording of one spin.
        """
        import av

        with opened(path) as file:
            kind = require_kind(path, file.read(HEAD_BYTES), "container")
            share = share_present(file)
            broken = broken_note(file, kind)
            file.seek(0)
            try:
                # The demuxer is named, so that no file can pass for a playlist of others.
                with av.open(Nameless(file), "r", format=kind.demuxer, metadata_errors="replace") as container:
                    sound = _decoded(path, container, kind, share)
            except av.FFmpegError as error:
                raise InputError(
                    f"{path.name}: this {kind.words} file can't be decoded; it was cut short, "
                    f"never finished, or is damaged ({error.strerror})",
                    hint=COPY_AGAIN,
                ) from error
        return replace(sound, format=sound.format + broken)


def _decoded(path: Path, container: InputContainer, kind: Kind, share: float) -> Sound:
    """Check the header, decode, and compare the two."""
    import numpy as np

    stream = _sound_stream(path, container, kind)
    told_s = _told_s(container, stream) if kind.tells_length else None
    require_recording(path, channels=stream.channels, rate_hz=stream.sample_rate, duration_s=told_s)
    line = _TimeLine(path, None if container.start_time is None else container.start_time / 1e6)
    for frame in _frames(container, stream):
        line.add(frame)
    require_sound(path, line.heard)
    line.require_one_kind(told_s)
    note = _note(path, line, told_s, share)
    return Sound(np.concatenate(line.blocks), float(line.rate_hz), f"{kind.words}, {_coding(stream)}{note}")


def _note(path: Path, line: _TimeLine, told_s: float | None, share: float) -> str:
    """Put into words where the sound isn't whole; empty where it is."""
    rate_hz = line.rate_hz
    holes = line.length - line.late - line.heard
    note = loss_note(
        path,
        heard_s=line.heard / rate_hz,
        promised_s=max(told_s or 0.0, (line.heard + holes) / rate_hz, line.heard / rate_hz / share),
        holes_s=holes / rate_hz,
    )
    late_s = line.late / rate_hz
    return note + (f"; the sound starts {late_s:.2f} s after the picture" if late_s else "")


def _coding(stream: AudioStream) -> str:
    """Name the coding."""
    if stream.codec_context.name in ("opus", "libopus"):
        return "Opus (always decoded at 48 kHz)"
    return stream.codec_context.codec.long_name


def _sound_stream(path: Path, container: InputContainer, kind: Kind) -> AudioStream:
    """Pick the first sound stream, if it can be decoded."""
    if not container.streams.audio:
        raise InputError(
            f"{path.name}: this {kind.words} film has no sound; a recording of the crank's sound is needed",
            hint="Film again with the microphone on, or give a sound recording.",
        )
    stream = container.streams.audio[0]
    if stream.codec_context is None:
        raise InputError(
            f"{path.name}: the sound of this {kind.words} file uses a coding that cannot be read",
            hint="Export it as WAV or FLAC and give that.",
        )
    if _is_protected(stream):
        raise InputError(
            f"{path.name}: the sound is copy-protected; an open recording is needed",
            hint="Record with the phone's own recorder.",
        )
    return stream


def _is_protected(stream: AudioStream) -> bool:
    """Tell whether the stream's four-letter code says that it is encrypted."""
    try:
        return stream.codec_context.codec_tag in PROTECTED_TAGS
    except UnicodeDecodeError:
        return False  # damaged


def _told_s(container: InputContainer, stream: AudioStream) -> float | None:
    """Length of the sound that the header tells, of the stream or else of the whole [s]."""
    base = stream.time_base
    if stream.duration is not None and base is not None:
        return float(stream.duration * base)
    if container.duration is None:
        return None
    start_s = (container.start_time or 0) / 1e6
    late_s = 0.0 if stream.start_time is None or base is None else float(stream.start_time * base) - start_s
    return container.duration / 1e6 - late_s


def _frames(container: InputContainer, stream: AudioStream) -> Iterator[AudioFrame]:
    """Decode packet by packet; one that is damaged is passed over and leaves a hole in time."""
    import av

    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
        except av.FFmpegError:
            return  # the file breaks off
        if packet is None:
            return
        try:
            frames = packet.decode()
        except av.FFmpegError:
            continue
        yield from frames


class _TimeLine:
    """Decoded frames, put where their time stamps say."""

    def __init__(self, path: Path, start_s: float | None) -> None:
        self.path = path
        self.start_s = self.expected_s = start_s
        self.blocks: list[NDArray[np.float64]] = []
        self.rate_hz = self.channels = 0
        self.length = self.heard = self.late = 0
        self.others_s: dict[tuple[int, int], float] = {}

    def add(self, frame: AudioFrame) -> None:
        """Append a frame, after silence where one was lost."""
        import numpy as np

        if not self._fits(frame):
            return
        block = _full_scale(frame)
        silent = self._silence_before(frame)
        if self.length + silent + len(block) > MAX_DURATION_S * self.rate_hz:
            raise too_long(self.path, f"more than {MAX_DURATION_S:.0f} s")
        if not self.heard:
            self.late = silent
        if silent:
            self.blocks.append(np.zeros((silent, self.channels)))
        self.blocks.append(block)
        self.length += silent + len(block)
        self.heard += len(block)

    def _fits(self, frame: AudioFrame) -> bool:
        """Take the first frame's rate and channels, which the header may have wrong.

        A frame with others is damage, or else the recording changes there; in
        neither case may its samples be touched: it may claim dozens of channels.
        """
        found = (frame.sample_rate, frame.layout.nb_channels)
        if not self.blocks and found[0] and 1 <= found[1] <= MAX_CHANNELS:
            require_recording(self.path, channels=found[1], rate_hz=found[0], duration_s=None)
            self.rate_hz, self.channels = found
        if found == (self.rate_hz, self.channels):
            return True
        self.others_s[found] = self.others_s.get(found, 0.0) + frame.samples / max(found[0], 1)
        return False

    def require_one_kind(self, told_s: float | None) -> None:
        """Refuse a recording that changes its rate or channels part way, not one with odd damaged frames."""
        for (rate_hz, channels), seconds in self.others_s.items():
            if seconds > MAX_MISSING_SHARE * max(told_s or 0.0, seconds + self.heard / self.rate_hz):
                raise InputError(
                    f"{self.path.name}: the sound changes part way (Hz: {self.rate_hz}, then {rate_hz}; "
                    f"channels: {self.channels}, then {channels}); one kind of sound is needed",
                    hint="Record again in one go, or cut out the part with the spin.",
                )

    def _silence_before(self, frame: AudioFrame) -> int:
        """Count the samples that are missing before a frame."""
        if frame.time is None:
            return 0
        if self.start_s is None or self.expected_s is None:
            self.start_s = self.expected_s = frame.time
        long_s = frame.samples / self.rate_hz
        jump_s = frame.time - self.expected_s
        self.expected_s = frame.time + long_s
        if jump_s < max(LOST_PACKET_SHARE * long_s, LEAST_HOLE_S):
            if not self.heard:
                self.start_s = frame.time  # a start told some ms too early is no hole for the next to fill
            return 0
        return max(0, round((frame.time - self.start_s) * self.rate_hz) - self.length)


def _full_scale(frame: AudioFrame) -> NDArray[np.float64]:
    """Turn a frame of any layout and number format into fractions of full scale."""
    import numpy as np

    values = frame.to_ndarray()
    if not frame.format.is_planar:
        values = values.reshape(-1, frame.layout.nb_channels).T
    samples: NDArray[np.float64] = values.T.astype(np.float64)
    if values.dtype == np.uint8:
        return (samples - 128) / 128
    if values.dtype.kind == "i":
        return samples / 2.0 ** (8 * values.dtype.itemsize - 1)
    return samples


@hookimpl
def acoustic_readers() -> Sequence[ContainerSound]:
    """Offer the reader."""
    return [ContainerSound()]
