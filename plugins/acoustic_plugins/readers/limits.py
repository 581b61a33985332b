"""The kind of a file by its first bytes, and the limits of a recording that can be used.

Shared by the readers, so that no two of them claim the same file and both
refuse in the same words.
"""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import Literal

from acoustic.api import InputError

# As many as the whole check hands to readers (acoustic/check/pipeline.py); every kind shows itself in less.
HEAD_BYTES = 4096
# Judgement: phones and field recorders write up to four.
MAX_CHANNELS = 4
# Telephone speech; what is left below its 4 kHz still holds part of a bearing's ringing, and is warned of.
MIN_RATE_HZ = 8_000
# The highest that recorders offer; above it nothing of a crank sounds.
MAX_RATE_HZ = 192_000
# Judgement: memory; a spin takes under a minute.
MAX_DURATION_S = 300.0
# Judgement: more than a twentieth missing, and turns are.
MAX_MISSING_SHARE = 0.05
# Encoders pad, and containers round: less than this is no loss.
PADDING_S = 0.1

# Sizes that recorders write where they don't know yet.
UNKNOWN_BYTES = 0x7FFFF000
# Ends the walk through a file that is all zeros.
MAX_CHUNKS = 1000
# The longest page of RFC 3533, section 6: 27 + 255 + 255 x 255 bytes.
OGG_PAGE_BYTES = 65_307

COPY_AGAIN = "Copy the file from the phone again; if that changes nothing, record again."


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of file.

    Attributes
    ----------
    words : str
        What people call it.
    reader : {'plain', 'container'}
        Which reader takes it.
    demuxer : str
        Name of libavformat's demuxer, for the container reader.
    tells_length : bool
        False where a length in the header is only a guess from the bit rate.
    """

    words: str
    reader: Literal["plain", "container"]
    demuxer: str = ""
    tells_length: bool = True


# The first pattern that fits decides.
_KINDS: tuple[tuple[bytes, Kind], ...] = (
    (rb"RIF[FX].{4}WAVE", Kind("WAV", "plain")),
    (rb"RF64.{4}WAVE", Kind("RF64", "plain")),
    (rb"riff\x2e\x91\xcf\x11.{16}wave", Kind("W64", "plain")),
    (rb"fLaC", Kind("FLAC", "plain")),
    (rb"FORM.{4}AIF[FC]", Kind("AIFF", "plain")),
    # The film's picture may come second in the file.
    (rb"OggS.{22}\x01.\x01vorbis(?!.*\x80theora)", Kind("Ogg", "plain")),
    (rb"\xff[\xe2\xe3\xf2\xf3\xfa\xfb][\x00-\xef]", Kind("MP3", "plain")),
    # libsndfile decodes Opus resampled, to the rate before encoding, and not every FLAC in Ogg.
    (rb"OggS", Kind("Ogg", "container", "ogg")),
    (rb"caff", Kind("CAF", "container", "caf")),
    (rb".{4}ftypM4[AB]", Kind("M4A", "container", "mov")),
    (rb".{4}ftypqt  ", Kind("QuickTime", "container", "mov")),
    (rb".{4}ftyp3g", Kind("3GP", "container", "mov")),
    (rb".{4}ftyp", Kind("MP4", "container", "mov")),
    (rb".{4}(?:moov|mdat|wide|free|skip)", Kind("QuickTime", "container", "mov")),
    (rb"\x1aE\xdf\xa3.{0,60}webm", Kind("WebM", "container", "matroska")),
    (rb"\x1aE\xdf\xa3", Kind("Matroska", "container", "matroska")),
    (rb"RIFF.{4}AVI ", Kind("AVI", "container", "avi")),
    (rb"\xff[\xf0\xf1\xf8\xf9]", Kind("ADTS", "container", "aac", tells_length=False)),
    (rb"#!AMR(?:-WB)?\n", Kind("AMR", "container", "amr", tells_length=False)),
)


@dataclass(frozen=True, slots=True)
class _Chunks:
    """How a family of files strings its chunks together."""

    first: int
    header: str
    sound: bytes
    align: int
    size_counts_header: bool = False


_CHUNKS = {
    b"RIFF": _Chunks(12, "<4sI", b"data", align=2),
    b"RIFX": _Chunks(12, ">4sI", b"data", align=2),
    b"RF64": _Chunks(12, "<4sI", b"data", align=2),
    b"FORM": _Chunks(12, ">4sI", b"SSND", align=2),
    b"caff": _Chunks(8, ">4sq", b"data", align=1),
    b"riff": _Chunks(40, "<4s12xQ", b"data", align=8, size_counts_header=True),
}


def kind_of(head: bytes) -> Kind | None:
    """Tell the kind of a file from its first bytes; None where they say nothing.

    Parameters
    ----------
    head : bytes
        At least the first 4096 bytes, or the whole file if it is shorter.
    """
    body = _after_tag(head)
    if not body and head:
        return Kind("MP3", "plain")  # what a tag longer than the head nearly always stands before
    for pattern, kind in _KINDS:
        if re.match(pattern, body, re.DOTALL):
            return kind
    return None


def _after_tag(head: bytes) -> bytes:
    """Skip the ID3 tag (title, cover) that may stand before MP3, AAC and FLAC."""
    if head[:3] != b"ID3" or len(head) < 10:
        return head
    length = 0
    for byte in head[6:10]:
        length = length << 7 | byte & 0x7F
    return head[10 + length :]


@contextmanager
def opened(path: Path) -> Iterator[BufferedReader]:
    """Open a file of sound; whatever the system refuses becomes an `InputError`."""
    if path.is_dir():
        raise InputError(f"{path.name}: this is a folder, a recording is needed", hint="Name one file.")
    try:
        with path.open("rb") as file:
            yield file
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(
            f"{path.name}: the file can't be read ({reason.lower()})",
            hint="Check the name and that you may read the file.",
        ) from error


class Nameless:
    """What the decoders need of an open file.

    Without the file's name, because one of them goes by the suffix of some. They
    print a stack trace where a damaged header points to before the start and
    `seek` raises; a negative result they understand.
    """

    def __init__(self, file: BufferedReader) -> None:
        self.read = file.read
        self.readinto = file.readinto
        self.tell = file.tell
        self._seek = file.seek

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place in the file; -1 where that is none."""
        try:
            return self._seek(offset, whence)
        except (OSError, ValueError):
            return -1


def require_kind(path: Path, head: bytes, reader: Literal["plain", "container"]) -> Kind:
    """Tell the kind of a file, or refuse what this reader doesn't take.

    Raises
    ------
    InputError
        The file is empty, no sound, or another reader's.
    """
    kind = kind_of(head)
    if kind is not None and kind.reader == reader:
        return kind
    if not head:
        raise InputError(f"{path.name}: the file is empty, a recording is needed", hint=COPY_AGAIN)
    begins = "it begins like text" if _is_text(head) else f"it begins with the bytes {head[:8].hex(' ')}"
    raise InputError(
        f"{path.name}: this is not a sound file that can be read, whatever its name says: {begins}",
        hint="Give a WAV, FLAC, Ogg, MP3 or AIFF file, or what phones write: M4A, MP4, MOV, 3GP, WebM.",
    )


def _is_text(head: bytes) -> bool:
    # The head may end within a character.
    text = head.decode("utf-8", errors="ignore")
    return len(text.encode()) >= len(head) - 3 and all(c.isprintable() or c.isspace() for c in text)


def require_recording(path: Path, *, channels: int, rate_hz: float, duration_s: float | None) -> None:
    """Refuse what cannot be a recording of one spin, before anything is decoded.

    Parameters
    ----------
    path : Path
    channels : int
        1 to 4 are taken.
    rate_hz : float
        Sample rate [Hz]; 8000 to 192000 are taken.
    duration_s : float or None
        Length [s], at most 300; None where the header doesn't tell.

    Raises
    ------
    InputError
        One of them is out of range.
    """
    if not 1 <= channels <= MAX_CHANNELS:
        raise InputError(
            f"{path.name}: the sound has {channels} channels; 1 to {MAX_CHANNELS} can be read",
            hint="Record in mono or stereo, or export one or two of the channels as WAV.",
        )
    if rate_hz < MIN_RATE_HZ:
        raise InputError(
            f"{path.name}: {rate_hz:.0f} samples a second; at least {MIN_RATE_HZ} are needed",
            hint="Record again at 44100 or 48000 Hz: what a lower rate left out can't be brought back.",
        )
    if rate_hz > MAX_RATE_HZ:
        raise InputError(
            f"{path.name}: {rate_hz:.0f} samples a second; at most {MAX_RATE_HZ} are taken",
            hint="Export the recording at 48000 or 96000 Hz.",
        )
    if duration_s is not None and duration_s > MAX_DURATION_S:
        raise too_long(path, f"{duration_s:.0f} s")


def too_long(path: Path, length: str) -> InputError:
    """Make the error for a recording longer than 300 s."""
    return InputError(
        f"{path.name}: {length} long; at most {MAX_DURATION_S:.0f} s are taken",
        hint="Cut the recording to the spin: a little stillness, the spin, and its end.",
    )


def require_sound(path: Path, samples: int) -> None:
    """Refuse a file in which nothing could be decoded."""
    if not samples:
        raise InputError(
            f"{path.name}: no sound in the file can be decoded: it is empty, damaged or protected",
            hint=COPY_AGAIN,
        )


def loss_note(path: Path, *, heard_s: float, promised_s: float, holes_s: float = 0.0) -> str:
    """Put into words what is missing; empty where nothing is.

    Parameters
    ----------
    path : Path
    heard_s : float
        What could be decoded [s].
    promised_s : float
        What the file should hold [s].
    holes_s : float
        Losses within the recording, filled with silence [s].

    Raises
    ------
    InputError
        More than 5 % is missing.
    """
    missing_s = promised_s - heard_s
    if missing_s <= PADDING_S and not holes_s:
        return ""
    if missing_s > max(PADDING_S, MAX_MISSING_SHARE * promised_s):
        raise InputError(
            f"{path.name}: only {heard_s:.2f} s of the {promised_s:.2f} s it should hold can be decoded; "
            "it was cut short, or is damaged or protected",
            hint=COPY_AGAIN,
        )
    note = f"; {max(missing_s, holes_s):.2f} s of {promised_s:.2f} s are missing"
    return note + (", and these gaps are left silent" if holes_s else "")


def share_present(file: BufferedReader) -> float:
    """Tell which share of the bytes that the sound's chunk promises is there.

    The decoders silently take what there is. Other families of files: 1.
    """
    end = file.seek(0, os.SEEK_END)
    file.seek(0)
    chunks = _CHUNKS.get(file.read(4))
    if chunks is None:
        return 1.0
    length = struct.calcsize(chunks.header)
    long_size = 0
    position = chunks.first
    for _ in range(MAX_CHUNKS):
        if position > end:
            break
        file.seek(position)
        header = file.read(length)
        if len(header) < length:
            break
        name, size = struct.unpack(chunks.header, header)
        size -= length if chunks.size_counts_header else 0
        position += length
        if name == b"ds64":
            long_size = int.from_bytes(file.read(16)[8:], "little")
        elif name == chunks.sound:
            promised = long_size or size
            told = promised > 0 and (promised < UNKNOWN_BYTES or bool(long_size))
            return min(1.0, max(1, end - position) / promised) if told else 1.0
        if size < 0:
            break
        position += size + -size % chunks.align
    return 1.0


def broken_note(file: BufferedReader, kind: Kind) -> str:
    """Say that an Ogg file lacks its end: it tells no length, but marks its last page."""
    if kind.words != "Ogg":
        return ""
    end = file.seek(0, os.SEEK_END)
    file.seek(max(0, end - OGG_PAGE_BYTES))
    tail = file.read()
    page = tail.rfind(b"OggS")
    flags = tail[page + 5 : page + 6] if page >= 0 else b""
    return "" if flags and flags[0] & 4 else "; the end of the file is missing"
