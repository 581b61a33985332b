"""What holds for every reader: it claims by content, alone, and refuses in words what it can't read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acoustic.errors import InputError
from acoustic.plugin.registry import LoadedPlugin, load_plugins

READERS = load_plugins().readers
HEAD_BYTES = 4096
HEADS = {
    "nothing": b"",
    "one byte": b"R",
    "text": b"time_s\n1.0\n2.0\n" * 100,
    "noise": np.random.default_rng(2).bytes(HEAD_BYTES),
    "zeros": bytes(HEAD_BYTES),
    "PNG": b"\x89PNG\r\n\x1a\n" + bytes(100),
    "PDF": b"%PDF-1.7\n" + bytes(100),
    "ZIP": b"PK\x03\x04" + bytes(100),
    "SQLite": b"SQLite format 3\x00" + bytes(100),
}

every_reader = pytest.mark.parametrize("part", READERS, ids=lambda part: part.item.name)


@every_reader
@pytest.mark.parametrize("head", HEADS.values(), ids=HEADS)
def test_what_is_no_sound_is_not_claimed(head: bytes, part: LoadedPlugin[Any]) -> None:
    assert part.item.claims(head) is False


@pytest.mark.parametrize("ending", [".wav", ".flac", ".ogg", ".m4a"])
def test_one_reader_claims_a_sound_whatever_its_name(ending: str, taken: Callable[..., Any]) -> None:
    head = taken("short", ending).path.read_bytes()[:HEAD_BYTES]
    assert sum(part.item.claims(head) for part in READERS) == 1


@every_reader
@pytest.mark.parametrize("content", [b"", b"nothing but text\n" * 50, bytes(5000)], ids=["empty", "text", "zeros"])
def test_it_refuses_in_words(content: bytes, part: LoadedPlugin[Any], tmp_path: Path) -> None:
    path = tmp_path / "recording.wav"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        part.item.read(path)
    assert "recording.wav" in caught.value.found
    assert caught.value.hint


@pytest.mark.parametrize("ending", [".wav", ".flac", ".ogg", ".m4a"])
def test_what_is_read(ending: str, taken: Callable[..., Any]) -> None:
    """Samples as (n, channels) of float64 within full scale, at the file's own rate, 7 s of them."""
    path = taken("short", ending).path
    head = path.read_bytes()[:HEAD_BYTES]
    (reader,) = [part.item for part in READERS if part.item.claims(head)]
    sound = reader.read(path)
    assert sound.samples.dtype == np.float64
    assert sound.samples.shape[1] == 1
    # AAC and Vorbis come in blocks of up to 2048 samples, 43 ms at 48 kHz.
    assert sound.samples.shape[0] / 48_000 == pytest.approx(7.0, abs=0.043)
    assert sound.sample_rate_hz == 48_000.0
    assert 0 < np.max(np.abs(sound.samples)) < 1
    assert sound.format
