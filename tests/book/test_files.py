"""The store of recordings."""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path

import msgspec
import pytest

from acoustic.book.asked import Asked, read_asked
from acoustic.book.files import FileStore, sha256_of
from acoustic.book.question import AskedBearing, AskedBlock
from acoustic.errors import InputError
from acoustic.model import SpeedRequest


@pytest.fixture
def store(tmp_path: Path) -> FileStore:
    return FileStore(tmp_path / "store")


@pytest.fixture
def spin(tmp_path: Path) -> Path:
    path = tmp_path / "Spin.WAV"
    path.write_bytes(bytes(range(256)) * 1000)
    return path


def files(store: FileStore) -> list[Path]:
    return [path for path in store.folder.rglob("*") if path.is_file()]


def test_a_file_is_kept_under_the_hash_of_its_content(store: FileStore, spin: Path) -> None:
    kept = store.keep(spin)
    assert kept.sha256 == hashlib.sha256(spin.read_bytes()).hexdigest()
    assert (kept.suffix, kept.name, kept.bytes) == (".wav", "Spin.WAV", 256_000)
    assert files(store) == [store.require(kept.sha256, kept.suffix)]
    assert sha256_of(store.require(kept.sha256, kept.suffix)) == kept.sha256


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such modes")
def test_a_shared_store_can_be_read_by_who_may_read_new_files(store: FileStore, spin: Path) -> None:
    before = os.umask(0o027)
    try:
        kept = store.keep(spin)
    finally:
        os.umask(before)
    assert store.require(kept.sha256, kept.suffix).stat().st_mode & 0o777 == 0o640


def test_a_stored_file_is_hashed_before_it_is_used(store: FileStore, spin: Path) -> None:
    kept = store.keep(spin)
    store.path_of(kept.sha256, kept.suffix).write_bytes(b"other")
    with pytest.raises(InputError, match="altered or damaged"):
        store.require(kept.sha256, kept.suffix)


@pytest.mark.parametrize(
    ("sha256", "suffix"), [("../" * 21 + "x", ""), ("0" * 64, "/../../x"), ("0" * 64, ".exe"), ("0" * 63, ".wav")]
)
def test_no_other_path_comes_out_of_the_store(sha256: str, suffix: str, store: FileStore) -> None:
    for ask in (store.path_of, store.require):
        with pytest.raises(InputError, match="no name of a stored recording"):
            ask(sha256, suffix)


def test_an_ending_that_is_none_of_ours_is_left_out(store: FileStore, spin: Path) -> None:
    odd = spin.rename(spin.with_name("spin.\u202egpj"))
    kept = store.keep(odd)
    assert (kept.suffix, kept.name) == ("", "spin.\\u202egpj")
    assert store.require(kept.sha256, "").is_file()


def test_the_same_content_is_kept_once(store: FileStore, spin: Path) -> None:
    first = store.keep(spin)
    spin.rename(spin.with_name("other.wav"))
    assert store.keep(spin.with_name("other.wav")).sha256 == first.sha256
    assert len(files(store)) == 1


def test_what_is_not_whole_is_not_kept(store: FileStore, spin: Path) -> None:
    """The disk fills up half way, and what arrives is not what was announced."""

    def fills_up(target: Path) -> None:
        target.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    with pytest.raises(InputError, match="No space left"):
        store.place(sha256_of(spin), ".wav", fills_up)
    with pytest.raises(InputError, match="damaged"):
        store.place(sha256_of(spin), ".wav", lambda target: target.write_bytes(b"other"))
    assert files(store) == []


def test_a_missing_file_is_told(store: FileStore, spin: Path) -> None:
    with pytest.raises(InputError, match="missing"):
        store.require("0" * 64, ".wav")
    with pytest.raises(InputError, match="cannot be read"):
        store.keep(spin.with_name("nothing.wav"))


def test_what_any_speed_option_was_given_is_kept_and_read_back(store: FileStore, spin: Path) -> None:
    """Files by their content, wherever they lay; a plugin's own options as the bundled ones."""
    said = {"encoder": spin, "encoder_teeth": 24, "marks": spin, "film": True, "counted_turns": 9.5}
    asked = Asked(bearing=AskedBearing(name="6805"), request=SpeedRequest(said, spin="hand"))
    kept = msgspec.json.decode(msgspec.json.encode(asked.kept(store)), type=AskedBlock)
    spin.unlink()
    request = read_asked(kept, store).request
    assert {key: value for key, value in request.values.items() if not isinstance(value, Path)} == {
        "encoder_teeth": 24,
        "film": True,
        "counted_turns": 9.5,
    }
    assert request.spin == "hand"
    assert request.value("encoder") == request.value("marks") == files(store)[0]
    assert request.value("gyro") is None
