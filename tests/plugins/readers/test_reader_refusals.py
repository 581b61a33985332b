"""Readers: every file that can't be used is refused in words a person can act on."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from acoustic_plugins.readers import container_sound, plain_sound
from scipy.io import wavfile

from acoustic.api import InputError, Sound
from acoustic.plugin.hookspecs import Reader

READERS: list[Reader] = [*plain_sound.acoustic_readers(), *container_sound.acoustic_readers()]
RATE = 48_000
NOISE = np.random.default_rng(8).normal(0, 0.05, (2 * RATE, 1))
SIGNED = (NOISE * 32_767).astype(np.int16)


def read(path: Path) -> Sound:
    """Read by the reader that claims the file."""
    head = path.read_bytes()[:4096]
    (reader,) = [reader for reader in READERS if reader.claims(head)]
    return reader.read(path)


def refusal(path: Path) -> InputError:
    """Read by the reader that claims the file, or by every one if none does; all must refuse."""
    head = path.read_bytes()[:4096] if path.is_file() else b""
    claiming = [reader for reader in READERS if reader.claims(head)]
    assert len(claiming) <= 1
    for reader in claiming or READERS:
        with pytest.raises(InputError) as caught:
            reader.read(path)
        error: InputError = caught.value
        assert error.found.startswith(f"{path.name}: ")
        assert re.match(r"[A-Z].*\.$", error.hint)
        assert not error.found.endswith(".")
        assert error.exit_code == 2
    return error


def cut(path: Path, share: float) -> Path:
    """Keep the first part of a file."""
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    return path


def overwrite(path: Path, place: int, new: bytes) -> Path:
    """Change bytes in a file."""
    content = bytearray(path.read_bytes())
    content[place : place + len(new)] = new
    path.write_bytes(content)
    return path


@pytest.fixture
def wav(tmp_path: Path) -> Path:
    """Two seconds of WAV with the plainest header, 44 bytes."""
    wavfile.write(tmp_path / "spin.wav", RATE, SIGNED)
    return tmp_path / "spin.wav"


# --- no sound at all --------------------------------------------------------------------------


def test_a_text_named_wav(tmp_path: Path) -> None:
    path = tmp_path / "spin.wav"
    path.write_text("Zeit;Umdrehungen\n0,0;0\n" * 300, encoding="utf-8")
    error = refusal(path)
    assert "not a sound file" in error.found
    assert "begins like text" in error.found
    assert "M4A" in error.hint


def test_a_picture_named_m4a(tmp_path: Path) -> None:
    path = tmp_path / "spin.m4a"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    assert "begins with the bytes 89 50 4e 47" in refusal(path).found


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "spin.wav"
    path.touch()
    assert "the file is empty" in refusal(path).found


def test_a_folder_and_a_missing_file(tmp_path: Path) -> None:
    assert "this is a folder" in refusal(tmp_path).found
    assert "can't be read (no such file" in refusal(tmp_path / "gone.wav").found


def test_a_readers_own_refusal_of_the_others_file(wav: Path) -> None:
    with pytest.raises(InputError, match="not a sound file that can be read"):
        container_sound.ContainerSound().read(wav)


def test_a_wav_header_and_nothing_else(wav: Path) -> None:
    assert "no sound in the file can be decoded" in refusal(overwrite(cut(wav, 44 / 192_044), 40, bytes(4))).found


@pytest.mark.parametrize("length", [13, 20, 30, 40])
def test_a_wav_header_cut_short(wav: Path, length: int) -> None:
    error = refusal(cut(wav, length / wav.stat().st_size + 1e-9))
    assert wav.stat().st_size == length
    assert "this WAV file can't be decoded (" in error.found
    assert "record again" in error.hint


def test_a_wav_of_an_unknown_coding(wav: Path) -> None:
    assert "this WAV file can't be decoded (" in refusal(overwrite(wav, 20, b"\x99\x99")).found


def test_a_film_without_sound(tmp_path: Path, write_stream: Any) -> None:
    error = refusal(write_stream(tmp_path / "spin.mp4", None, container="mp4", picture=True))
    assert "this MP4 film has no sound" in error.found
    assert "microphone" in error.hint


def test_protected_sound(tmp_path: Path, write_stream: Any) -> None:
    path = write_stream(tmp_path / "song.m4a", NOISE, container="ipod", codec="aac")
    path.write_bytes(path.read_bytes().replace(b"mp4a", b"drms"))
    assert "copy-protected" in refusal(path).found


def test_encrypted_sound(tmp_path: Path, write_stream: Any) -> None:
    key = {"encryption_scheme": "cenc-aes-ctr", "encryption_key": "0f" * 16, "encryption_kid": "a0" * 16}
    path = write_stream(tmp_path / "song.mp4", NOISE, container="mp4", codec="aac", options=key)
    assert "damaged or protected" in refusal(path).found


@pytest.mark.parametrize(
    ("container", "codec", "known", "unknown"),
    [("ipod", "alac", b"alac", b"zzzz"), ("matroska", "libopus", b"A_OPUS", b"A_OPUZ")],
)
def test_a_coding_that_is_not_known(
    tmp_path: Path, write_stream: Any, container: str, codec: str, known: bytes, unknown: bytes
) -> None:
    path = write_stream(tmp_path / "spin", NOISE, container=container, codec=codec)
    path.write_bytes(path.read_bytes().replace(known, unknown))
    error = refusal(path)
    assert "uses a coding that cannot be read" in error.found
    assert "WAV or FLAC" in error.hint


# --- no recording of one spin -----------------------------------------------------------------


def test_no_channel_at_all(wav: Path) -> None:
    assert "channel" in refusal(overwrite(wav, 22, bytes(2))).found.lower()


def test_too_many_channels(tmp_path: Path, write_stream: Any) -> None:
    wavfile.write(tmp_path / "desk.wav", RATE, np.zeros((1000, 8), np.int16))
    error = refusal(tmp_path / "desk.wav")
    assert "the sound has 8 channels; 1 to 4 can be read" in error.found
    assert "mono or stereo" in error.hint
    film = write_stream(tmp_path / "f.mp4", np.repeat(NOISE, 6, axis=1), container="mp4", codec="aac")
    assert "the sound has 6 channels" in refusal(film).found


@pytest.mark.parametrize("rate_hz", [1, 7_999])
def test_a_rate_too_low(tmp_path: Path, rate_hz: int) -> None:
    wavfile.write(tmp_path / "slow.wav", rate_hz, np.zeros(10, np.int16))
    error = refusal(tmp_path / "slow.wav")
    assert f"{rate_hz} samples a second; at least 8000 are needed" in error.found
    assert "48000" in error.hint


@pytest.mark.parametrize("rate_hz", [192_001, 384_000])
def test_a_rate_too_high(tmp_path: Path, rate_hz: int) -> None:
    wavfile.write(tmp_path / "fast.wav", rate_hz, np.zeros(10, np.int16))
    assert f"{rate_hz} samples a second; at most 192000 are taken" in refusal(tmp_path / "fast.wav").found


def test_rates_of_streams_are_judged_too(tmp_path: Path, write_stream: Any) -> None:
    fast = write_stream(tmp_path / "f.m4a", SIGNED, 384_000, container="ipod", codec="alac")
    assert "384000 samples a second" in refusal(fast).found
    slow = write_stream(tmp_path / "s.m4a", SIGNED, 4_000, container="ipod", codec="alac")
    assert "4000 samples a second" in refusal(slow).found


def test_too_long_is_told_from_the_header(
    tmp_path: Path, write_stream: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """301 s; neither is decoded to find out."""
    silence = np.zeros((301 * 8_000, 1), np.int16)
    wavfile.write(tmp_path / "hour.wav", 8_000, silence)
    film = write_stream(tmp_path / "hour.m4a", silence, 8_000, container="ipod", codec="aac")
    monkeypatch.delattr(soundfile.SoundFile, "read")
    monkeypatch.delattr(container_sound, "_frames")
    for path in (tmp_path / "hour.wav", film):
        error = refusal(path)
        assert "301 s long; at most 300 s are taken" in error.found
        assert "Cut the recording to the spin" in error.hint


def test_too_long_is_noticed_where_no_header_tells(tmp_path: Path, write_stream: Any) -> None:
    silence = np.zeros((301 * 8_000, 1), np.int16)
    live = {"container": "webm", "codec": "libopus", "options": {"live": "1"}}
    assert "more than 300 s long" in refusal(write_stream(tmp_path / "live", silence, 8_000, **live)).found
    bare = write_stream(tmp_path / "bare", silence, 8_000, container="adts", codec="aac")
    assert "more than 300 s long" in refusal(bare).found
    wavfile.write(tmp_path / "table.wav", 8_000, silence)
    soundfile.write(str(tmp_path / "mp3"), silence, 8_000, format="MP3")
    whole = (tmp_path / "mp3").read_bytes()
    assert b"Info" in whole[:200] or b"Xing" in whole[:200]
    # The table is a whole frame; the next begins with the same mark.
    (tmp_path / "mp3").write_bytes(whole[whole.index(whole[:2], 4) :])
    assert "more than 300 s long" in refusal(tmp_path / "mp3").found


def test_a_recording_that_changes_part_way(tmp_path: Path, write_stream: Any) -> None:
    first = write_stream(tmp_path / "1", NOISE, container="adts", codec="aac")
    second = write_stream(tmp_path / "2", np.repeat(NOISE, 2, axis=1), 44_100, container="adts", codec="aac")
    both = tmp_path / "both.aac"
    both.write_bytes(first.read_bytes() + second.read_bytes())
    assert "changes part way (Hz: 48000, then 44100; channels: 1, then 2)" in refusal(both).found


# --- cut short --------------------------------------------------------------------------------


@pytest.mark.parametrize("container", ["WAV", "RF64", "W64", "AIFF", "CAF", "FLAC"])
def test_plain_files_cut_short_are_not_passed_off_as_whole(tmp_path: Path, container: str) -> None:
    path = tmp_path / "spin"
    soundfile.write(str(path), SIGNED, RATE, format=container, subtype="PCM_16")
    error = refusal(cut(path, 0.5))
    assert re.search(r"only (0\.9\d|1\.00) s of the 2\.00 s it should hold can be decoded", error.found)
    assert "cut short" in error.found
    assert error.hint.startswith("Copy the file from the phone again")


def test_an_mp3_cut_short(tmp_path: Path) -> None:
    soundfile.write(str(tmp_path / "spin"), SIGNED, RATE, format="MP3")
    assert "of the 2.00 s it should hold" in refusal(cut(tmp_path / "spin", 0.5)).found


@pytest.mark.parametrize("codec", ["vorbis", "libopus"])
def test_an_ogg_cut_short_says_so(tmp_path: Path, write_stream: Any, codec: str) -> None:
    """It tells no length, so there's no share to judge, but its last page is marked."""
    path = tmp_path / "spin"
    long = np.tile(NOISE, (5, 1))
    if codec == "vorbis":
        soundfile.write(str(path), long, RATE, format="OGG")
    else:
        write_stream(path, long, container="ogg", codec=codec)
    assert "missing" not in read(path).format
    sound = read(cut(path, 0.5))
    assert sound.format.endswith("; the end of the file is missing")
    assert 3 * RATE < len(sound.samples) < 7 * RATE


@pytest.mark.parametrize("container", ["WAV", "RF64", "W64", "AIFF", "CAF"])
def test_a_little_missing_is_said_and_the_rest_taken(tmp_path: Path, container: str) -> None:
    path = tmp_path / "spin"
    long = np.tile(SIGNED, (3, 1))
    soundfile.write(str(path), long, RATE, format=container, subtype="PCM_16")
    sound = read(cut(path, 0.97))
    assert re.search(r"; 0\.1[789] s of 6\.00 s are missing$", sound.format)
    np.testing.assert_array_equal(sound.samples, long[: len(sound.samples)] / 2.0**15)


@pytest.mark.parametrize(("container", "codec"), [("ipod", "aac"), ("mov", "alac")])
def test_a_phone_recording_that_was_never_finished(
    tmp_path: Path, write_stream: Any, container: str, codec: str
) -> None:
    """The index is written last: without it nothing can be found."""
    path = write_stream(tmp_path / "spin", NOISE, container=container, codec=codec)
    error = refusal(cut(path, 0.6))
    assert "was cut short, never finished, or is damaged" in error.found


@pytest.mark.parametrize(
    "how",
    [
        {"container": "ipod", "codec": "aac", "options": {"movflags": "+faststart"}},
        {"container": "webm", "codec": "libopus"},
        {"container": "matroska", "codec": "aac", "picture": True},
    ],
    ids=["m4a", "webm", "mkv film"],
)
def test_streams_cut_short_are_not_passed_off_as_whole(
    tmp_path: Path, write_stream: Any, how: dict[str, Any]
) -> None:
    error = refusal(cut(write_stream(tmp_path / "spin", NOISE, **how), 0.7))
    assert re.search(r"only [01]\.\d\d s of the 2\.\d\d s it should hold", error.found)


def test_streams_with_many_lost_packets(tmp_path: Path, write_stream: Any) -> None:
    lost = range(20, 40)
    path = write_stream(tmp_path / "s", NOISE, container="webm", codec="libopus", lost=lost)
    assert "only 1.60 s of the 2.01 s it should hold" in refusal(path).found


@pytest.mark.parametrize("seed", range(40))
def test_damage_anywhere_ends_in_sound_or_in_a_refusal(
    tmp_path: Path, write_stream: Any, wav: Path, seed: int
) -> None:
    """No other exception, whatever bytes a bad card hands back."""
    rng = np.random.default_rng(seed)
    ways = [("ipod", "aac"), ("webm", "libopus"), ("mov", "alac"), ("", "")]
    container, codec = ways[seed % len(ways)]
    path = write_stream(tmp_path / "s", SIGNED, container=container, codec=codec) if codec else wav
    size = path.stat().st_size
    reach = size if seed % 8 < 4 else min(size, 600)
    for place in rng.integers(0, reach, 30):
        overwrite(path, int(place), bytes([rng.integers(256)]))
    for reader in READERS:
        try:
            sound = reader.read(path)
        except InputError:
            continue
        assert sound.samples.ndim == 2
        assert len(sound.samples)
