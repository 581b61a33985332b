"""An upload, from the connection to the disk: bounded in size, in patience, and in what may come with it.

The recording is the last part of the form, so that all that says whether it is wanted at all was read before.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path

from multipart import MultipartError, MultipartSegment, PushMultipartParser, parse_options_header

from acoustic.errors import InputError
from acoustic.serve.settings import LONGEST_SILENCE_S, MOST_UPLOAD_BYTES

FILE = "recording"
# Judgement: 20 minutes of a phone's gyro at 60 lines a second, and far more taps than anyone makes.
MOST_FIELD_BYTES = 4_000_000
MOST_FIELDS = 20
AGAIN = "Send it again."


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
        The form is broken, too large, too slow or has no recording.
    """
    kind, options = parse_options_header(content_type)
    if kind != "multipart/form-data" or not options.get("boundary"):
        raise InputError("what was sent is not a form with a file in it", hint="Use the page's own form.")
    upload, collector = Upload(), _Collector(target, wanted)
    try:
        with PushMultipartParser(
            options["boundary"], max_segment_size=MOST_UPLOAD_BYTES, max_segment_count=MOST_FIELDS
        ) as parser:
            async for chunk in _patient(chunks):
                for part in parser.parse(chunk):
                    collector.take(part, upload)
    except MultipartError as error:
        raise InputError(f"the form that was sent is broken or too large ({error})", hint=AGAIN) from None
    finally:
        collector.close()
    if upload.path is None:
        raise InputError("no recording was sent", hint="Choose a file, or record one in the page.")
    return upload


async def _patient(chunks: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    """The chunks, until one does not come for too long or there are too many bytes."""
    count = 0
    iterator = aiter(chunks)
    while True:
        try:
            chunk = await asyncio.wait_for(anext(iterator), LONGEST_SILENCE_S)
        except StopAsyncIteration:
            return
        except TimeoutError:
            raise InputError(f"nothing came for {LONGEST_SILENCE_S:.0f} seconds", hint=AGAIN) from None
        if not chunk:
            continue
        count += len(chunk)
        if count > MOST_UPLOAD_BYTES:
            raise InputError(
                f"the file is larger than {MOST_UPLOAD_BYTES // 1_000_000} MB",
                hint="Film the spin alone, for a quarter of a minute, and send that.",
            )
        yield chunk


class _Collector:
    """Puts the parts of a form where they belong."""

    def __init__(self, target: Path, wanted: Callable[[dict[str, str]], None]) -> None:
        self._target, self._wanted = target, wanted
        self._segment: MultipartSegment | None = None
        self._text = bytearray()
        self._file: int | None = None

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
            self._file = os.open(self._target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)

    def _more(self, part: bytes | bytearray) -> None:
        if self._file is not None:
            os.write(self._file, part)
            return
        self._text += part
        if len(self._text) > MOST_FIELD_BYTES:
            raise InputError("a text in the form is too long", hint="Use the page's own form.")

    def _end(self, upload: Upload) -> None:
        if self._file is not None:
            os.fsync(self._file)
            self.close()
        elif self._segment is not None:
            upload.fields[self._segment.name] = self._text.decode("utf-8", errors="replace")

    def close(self) -> None:
        """Close the file, whole or not."""
        if self._file is not None:
            os.close(self._file)
            self._file = None
