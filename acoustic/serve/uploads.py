"""An upload, from the connection to the disk: bounded in size and in what may come with it.
`acoustic.serve.limits` bounds the time that it may take.

The recording is the last part of the form, so that all that says whether it is wanted at all was read before.
"""

from __future__ import annotations

import asyncio
import os
import shutil
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path

from multipart import MultipartError, MultipartSegment, PushMultipartParser, parse_options_header

from acoustic.errors import InputError
from acoustic.serve.settings import FULL, LEAST_FREE_BYTES, MOST_UPLOAD_BYTES, NO_ROOM, ROOM_HINT

FILE = "recording"
# Judgement: 20 minutes of a phone's gyro at 60 lines a second, and far more taps than anyone makes.
MOST_FIELD_BYTES = 4_000_000
MOST_FIELDS = 20  # judgement: twice as many as the longest form of a recording has
LOOKED_AT_BYTES = 8_000_000  # judgement: how often is looked whether the disk has room left
AGAIN = "Send it again."
TOO_LARGE = f"the file is larger than {MOST_UPLOAD_BYTES // 1_000_000} MB"
FILM_LESS = "Film the spin alone, for a quarter of a minute, and send that."


@dataclass
class Upload:
    """A form as it came in.

    Attributes
    ----------
    fields : dict of str to str
        Its texts.
    path : Path or None
        The recording on the disk; None while there was none.
    name : str
        The recording's own name.
    """

    fields: dict[str, str] = field(default_factory=dict)
    path: Path | None = None
    name: str = ""


async def receive(
    chunks: AsyncIterator[bytes], content_type: str, target: Path, *, wanted: Callable[[dict[str, str]], None]
) -> Upload:
    """Read a form, its recording straight to the disk.

    Parameters
    ----------
    chunks : async iterator of bytes
        The request's body.
    content_type : str
        Its header.
    target : Path
        Where the recording is written; whoever calls removes it where this raises.
    wanted : callable
        Called with the texts before the recording's first byte is written; raises where it is not wanted.

    Returns
    -------
    Upload

    Raises
    ------
    InputError
        The form is broken or too large, has no recording, or the disk is full.
    """
    kind, options = parse_options_header(content_type)
    boundary = options.get("boundary", "")
    if kind != "multipart/form-data" or not boundary or not boundary.isascii():
        raise InputError("what was sent is not a form with a file in it", hint="Use the page's own form.")
    upload, collector = Upload(), _Collector(target, wanted)
    try:
        with PushMultipartParser(
            boundary, max_segment_size=MOST_UPLOAD_BYTES, max_segment_count=MOST_FIELDS
        ) as parser:
            async for chunk in _bounded(chunks):
                for part in parser.parse(chunk):
                    collector.take(part, upload)
        await asyncio.to_thread(collector.finish)  # other phones are answered while the disk works
    except MultipartError as error:
        raise InputError(f"the form that was sent is broken or too large ({error})", hint=AGAIN) from None
    except OSError as error:
        if error.errno not in FULL:
            raise
        raise InputError(NO_ROOM, hint=ROOM_HINT) from None
    finally:
        collector.close()
    if upload.path is None:
        raise InputError("no recording was sent", hint="Choose a file, or record one in the page.")
    return upload


async def _bounded(chunks: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    """The chunks, until there are too many bytes."""
    count = 0
    async for chunk in chunks:
        count += len(chunk)
        if count > MOST_UPLOAD_BYTES:
            raise InputError(TOO_LARGE, hint=FILM_LESS)
        if chunk:
            yield chunk


class _Collector:
    """Puts the parts of a form where they belong."""

    def __init__(self, target: Path, wanted: Callable[[dict[str, str]], None]) -> None:
        self._target, self._wanted = target, wanted
        self._segment: MultipartSegment | None = None
        self._text = bytearray()
        self._letters = self._written = self._look_at = 0
        # The file's handle while its bytes come, and until it is closed.
        self._file: int | None = None
        self._kept: int | None = None

    def take(self, part: MultipartSegment | bytes | bytearray | None, upload: Upload) -> None:
        """Take what the parser met: a part's head, some of its bytes, or its end."""
        if isinstance(part, MultipartSegment):
            self._begin(part, upload)
        elif part is not None:
            self._more(part)
        else:
            self._end(upload)

    def _begin(self, segment: MultipartSegment, upload: Upload) -> None:
        self._segment = segment
        self._text.clear()
        if segment.name == FILE:
            if upload.path is not None:
                raise InputError("two recordings were sent in one form", hint="Send them one after the other.")
            self._wanted(upload.fields)
            upload.path, upload.name = self._target, segment.filename or "recording"
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
            self._file = self._kept = os.open(self._target, flags, 0o600)

    def _more(self, part: bytes | bytearray) -> None:
        if self._file is None:
            self._letters += len(part)
            if self._letters > MOST_FIELD_BYTES:
                raise InputError("a text in the form is too long", hint="Use the page's own form.")
            self._text += part
            return
        if self._written >= self._look_at:
            self._look_at += LOOKED_AT_BYTES
            if shutil.disk_usage(self._target.parent).free < LEAST_FREE_BYTES:
                raise InputError(NO_ROOM, hint=ROOM_HINT)
        self._written += len(part)
        rest = memoryview(part)
        while rest:  # a nearly full disk takes less than it is given
            rest = rest[os.write(self._file, rest) :]

    def _end(self, upload: Upload) -> None:
        if self._file is not None:
            self._file = None
        elif self._segment is not None:
            upload.fields[self._segment.name] = self._text.decode("utf-8", errors="replace")

    def finish(self) -> None:
        """Wait until the file is on the disk."""
        if self._kept is not None:
            os.fsync(self._kept)

    def close(self) -> None:
        """Close the file, whole or not."""
        if self._kept is not None:
            os.close(self._kept)
            self._file = self._kept = None
