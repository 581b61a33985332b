"""Reads plain files of sound: WAV and its kin, FLAC, Ogg Vorbis, MP3, AIFF.

Decoded by libsndfile at the file's own rate, every channel. Integers become
fractions of full scale without rounding; floats pass as they are, so a value
above full scale and a NaN stay for the quality checks to judge.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from acoustic.api import InputError, Sound, hookimpl
from acoustic_plugins.readers.limits import (
    COPY_AGAIN,
    HEAD_BYTES,
    MAX_DURATION_S,
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
    from numpy.typing import NDArray

ACOUSTIC_API = (1, 0)

# Where a file breaks off, what was read of the last block is lost: 43 ms.
BLOCK_FRAMES = 2048
# What libsndfile tells where the header leaves the length open.
UNKNOWN_FRAMES = 2**62
WORDS = {"WAVEX": "WAV", "OGG": "Ogg"}


class PlainSound:
    """Reader for the files that libsndfile decodes."""

    name = "plain-sound"
    summary = "WAV, FLAC, Ogg Vorbis, MP3 and AIFF files"

    def claims(self, head: bytes) -> bool:
        """Tell from the first 4096 bytes whether this is a plain file of sound."""
        kind = kind_of(head)
        return kind is not None and kind.reader == "plain"

    def read(self, path: Path) -> Sound:
        """Decode the whole file.

        Parameters
        ----------
        path : Path

        Returns
        -------
        Sound

        Raises
        ------
        InputError
            The file is not a plain sound file, is damaged, or cannot be a
            recording of one spin.
        """
        import soundfile

        with opened(path) as file:
            head = file.read(HEAD_BYTES)
            kind = require_kind(path, head, "plain")
            share = share_present(file)
            broken = broken_note(file, kind)
            file.seek(0)
            try:
                with soundfile.SoundFile(Nameless(file)) as sound:
                    return _decoded(path, sound, head=head, share=share, broken=broken)
            except soundfile.LibsndfileError as error:
                reason = error.error_string.rstrip(".")
                raise InputError(
                    f"{path.name}: this {kind.words} file can't be decoded ({reason})", hint=COPY_AGAIN
                ) from error


def _decoded(path: Path, sound: Any, *, head: bytes, share: float, broken: str) -> Sound:
    """Check the header, decode, and compare the two."""
    rate_hz = sound.samplerate
    told_s = sound.frames / rate_hz if _tells_length(sound, head) else None
    require_recording(path, channels=sound.channels, rate_hz=rate_hz, duration_s=told_s)
    samples = _blocks(path, sound)
    require_sound(path, len(samples))
    heard_s = len(samples) / rate_hz
    note = loss_note(path, heard_s=heard_s, promised_s=max(told_s or 0.0, heard_s / share))
    container = WORDS.get(sound.format, sound.format)
    return Sound(samples, float(rate_hz), f"{container}, {_coding(sound.subtype_info)}{note}{broken}")


def _blocks(path: Path, sound: Any) -> NDArray[np.float64]:
    """Decode until the end, or until the file breaks off."""
    import numpy as np
    import soundfile

    most = int(MAX_DURATION_S * sound.samplerate)
    blocks = [np.empty((0, sound.channels))]
    count = 0
    while count <= most:
        # Given an array, the wrapper reads on whatever length the header tells.
        block = np.empty((BLOCK_FRAMES, sound.channels))
        try:
            block = sound.read(out=block)
        except soundfile.LibsndfileError:
            break
        if not len(block):
            break
        blocks.append(block)
        count += len(block)
    if count > most:
        raise too_long(path, f"more than {MAX_DURATION_S:.0f} s")
    return np.concatenate(blocks)


def _coding(words: str) -> str:
    """Write 'Signed 16 bit PCM' as it stands within a sentence; names keep their capitals."""
    return words[0].lower() + words[1:] if words.startswith(("Signed", "Unsigned")) else words


def _tells_length(sound: Any, head: bytes) -> bool:
    """MP3 tells its length only in a table before the sound; without one it's guessed from the bit rate."""
    if sound.format == "MP3":
        return any(table in head for table in (b"Xing", b"Info", b"VBRI"))
    return bool(sound.frames < UNKNOWN_FRAMES)


@hookimpl
def acoustic_readers() -> Sequence[PlainSound]:
    """Offer the reader."""
    return [PlainSound()]
