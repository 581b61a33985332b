"""Readers: real files of every kind, written here and read back."""

from __future__ import annotations

import re
import subprocess
import sys
import wave
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
import soundfile
from acoustic_plugins.readers import container_sound, plain_sound
from acoustic_plugins.readers.limits import kind_of
from numpy.typing import NDArray
from scipy.io import wavfile

from acoustic.api import Sound
from acoustic.plugin.hookspecs import Reader

READERS: list[Reader] = [*plain_sound.acoustic_readers(), *container_sound.acoustic_readers()]
RATE = 48_000
CLICKS_S = (0.3, 0.7, 1.1)
TONE_S = (1.4, 2.0)
TONE_LEVEL = 0.25

Array = NDArray[Any]


def read(path: Path) -> Sound:
    """Read by the one reader that claims the file."""
    with path.open("rb") as file:
        head = file.read(4096)
    (reader,) = [reader for reader in READERS if reader.claims(head)]
    return reader.read(path)


def track(rate_hz: int = RATE) -> Array:
    """Three ringing clicks over faint noise, then a tone, shape (n, 1)."""
    times_s = np.arange(2 * rate_hz) / rate_hz
    sound = np.random.default_rng(5).normal(0, 1e-3, len(times_s))
    for click_s in CLICKS_S:
        after_s = np.clip(times_s - click_s, 0, None)
        sound += 0.6 * np.exp(-after_s / 0.001) * np.sin(2 * np.pi * 1700 * after_s)
    tone = (times_s >= TONE_S[0]) & (times_s < TONE_S[1])
    sound[tone] += TONE_LEVEL * np.sin(2 * np.pi * 1000 * times_s[tone])
    return sound[:, np.newaxis]


def lags_s(heard: Array, written: Array, rate_hz: float) -> Array:
    """How late every click is, by the best match of 200 ms around it [s]."""
    lags = []
    for click_s in CLICKS_S:
        part = slice(int((click_s - 0.1) * rate_hz), int((click_s + 0.1) * rate_hz))
        match = np.correlate(heard[part], written[part], "full")
        lags.append((np.argmax(match) - (part.stop - part.start - 1)) / rate_hz)
    return np.array(lags)


def tone_db(heard: Array, rate_hz: float) -> float:
    """Level of the tone against what was written [dB]."""
    part = heard[int((TONE_S[0] + 0.1) * rate_hz) : int((TONE_S[1] - 0.1) * rate_hz)]
    return float(20 * np.log10(np.sqrt(np.mean(part**2)) / (TONE_LEVEL / np.sqrt(2))))


def integers(bits: int, channels: int = 2) -> Array:
    """Whole numbers over the full range, both ends among them, at the top of 32 bits."""
    top = 2 ** (bits - 1)
    numbers = np.random.default_rng(bits).integers(-top, top, (5000, channels))
    numbers[0], numbers[1] = -top, top - 1
    return (numbers << (32 - bits)).astype(np.int32)


# --- nothing lost -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("container", "coding", "bits", "words"),
    [
        ("WAV", "PCM_U8", 8, "WAV, unsigned 8 bit PCM"),
        ("WAV", "PCM_16", 16, "WAV, signed 16 bit PCM"),
        ("WAV", "PCM_24", 24, "WAV, signed 24 bit PCM"),
        ("WAV", "PCM_32", 32, "WAV, signed 32 bit PCM"),
        ("WAVEX", "PCM_24", 24, "WAV, signed 24 bit PCM"),
        ("RF64", "PCM_16", 16, "RF64, signed 16 bit PCM"),
        ("W64", "PCM_24", 24, "W64, signed 24 bit PCM"),
        ("FLAC", "PCM_16", 16, "FLAC, signed 16 bit PCM"),
        ("FLAC", "PCM_24", 24, "FLAC, signed 24 bit PCM"),
        ("AIFF", "PCM_16", 16, "AIFF, signed 16 bit PCM"),
        ("AIFF", "PCM_24", 24, "AIFF, signed 24 bit PCM"),
        ("CAF", "PCM_16", 16, "CAF, PCM signed 16-bit big-endian"),
    ],
)
def test_whole_numbers_come_back_bit_for_bit(
    tmp_path: Path, container: str, coding: str, bits: int, words: str
) -> None:
    numbers = integers(bits)
    path = tmp_path / "sound"
    soundfile.write(str(path), numbers, 44_100, format=container, subtype=coding)
    sound = read(path)
    np.testing.assert_array_equal(sound.samples, numbers / 2.0**31)
    assert (sound.sample_rate_hz, sound.format) == (44_100.0, words)


@pytest.mark.parametrize(
    ("container", "codec", "number", "words"),
    [
        ("ipod", "alac", np.int16, "M4A, ALAC (Apple Lossless Audio Codec)"),
        ("ipod", "alac", np.int32, "M4A, ALAC (Apple Lossless Audio Codec)"),
        ("caf", "alac", np.int32, "CAF, ALAC (Apple Lossless Audio Codec)"),
        ("mov", "pcm_s16le", np.int16, "QuickTime, PCM signed 16-bit little-endian"),
        ("mov", "pcm_s24le", np.int32, "QuickTime, PCM signed 24-bit little-endian"),
        ("mov", "pcm_u8", np.int16, "QuickTime, PCM unsigned 8-bit"),
        ("matroska", "flac", np.int16, "Matroska, FLAC (Free Lossless Audio Codec)"),
        ("ogg", "flac", np.int16, "Ogg, FLAC (Free Lossless Audio Codec)"),
    ],
)
def test_lossless_streams_come_back_bit_for_bit(
    tmp_path: Path, write_stream: Any, container: str, codec: str, number: type, words: str
) -> None:
    bits = 8 if codec == "pcm_u8" else 16 if number is np.int16 else 24
    numbers = integers(bits)
    given = numbers if number is np.int32 else (numbers >> 16).astype(np.int16)
    sound = read(write_stream(tmp_path / "sound", given, 48_000, container=container, codec=codec))
    np.testing.assert_array_equal(sound.samples, numbers / 2.0**31)
    assert (sound.sample_rate_hz, sound.format) == (48_000.0, words)


@pytest.mark.parametrize(("coding", "number"), [("FLOAT", np.float32), ("DOUBLE", np.float64)])
@pytest.mark.parametrize("container", ["WAV", "AIFF"])
def test_floats_pass_untouched_even_above_full_scale(
    tmp_path: Path, container: str, coding: str, number: type
) -> None:
    values: Array = np.array([[0.1, -3.75], [2.5, np.nan], [np.inf, 1e-30], [-0.5, 0.0]], dtype=number)
    path = tmp_path / "loud"
    soundfile.write(str(path), values, RATE, format=container, subtype=coding)
    sound = read(path)
    np.testing.assert_array_equal(sound.samples, values.astype(np.float64))
    assert sound.samples.dtype == np.float64


@pytest.mark.parametrize("bits", [8, 16, 24, 32])
def test_wav_agrees_with_two_other_readers(tmp_path: Path, bits: int) -> None:
    """Written by Python's own `wave`, read by it, by scipy and by ours."""
    numbers = integers(bits)
    width = bits // 8
    raw = numbers.astype("<i4").view(np.uint8).reshape(-1, 4)[:, 4 - width :].copy()
    if bits == 8:
        raw ^= 0x80
    path = tmp_path / "sound.wav"
    with wave.open(str(path), "wb") as out:
        out.setparams((2, width, RATE, 0, "NONE", ""))
        out.writeframes(raw.tobytes())
    with wave.open(str(path), "rb") as back:
        assert back.readframes(back.getnframes()) == raw.tobytes()
    rate_hz, theirs = wavfile.read(path)
    full_scale = {1: 128.0, 2: 2.0**15, 4: 2.0**31}[theirs.dtype.itemsize]
    sound = read(path)
    np.testing.assert_array_equal(sound.samples, (theirs - 128.0 * (bits == 8)) / full_scale)
    np.testing.assert_array_equal(sound.samples, numbers / 2.0**31)
    assert sound.sample_rate_hz == rate_hz


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 48_828, 96_000, 192_000])
def test_the_rate_is_the_files_own(tmp_path: Path, rate_hz: int) -> None:
    wavfile.write(tmp_path / "sound.wav", rate_hz, np.zeros(rate_hz // 4, np.int16))
    sound = read(tmp_path / "sound.wav")
    assert sound.sample_rate_hz == rate_hz
    assert sound.samples.shape == (rate_hz // 4, 1)


def test_a_length_not_yet_known_is_no_loss(tmp_path: Path) -> None:
    """Recorders that stream write all ones for the size of the sound."""
    path = tmp_path / "stream.wav"
    wavfile.write(path, RATE, np.arange(9600, dtype=np.int16))
    content = bytearray(path.read_bytes())
    content[4:8] = content[40:44] = b"\xff\xff\xff\xff"
    path.write_bytes(content)
    assert read(path).samples.shape == (9600, 1)
    assert read(path).format == "WAV, signed 16 bit PCM"


def test_flac_of_unknown_length_is_read_to_its_end(tmp_path: Path) -> None:
    """Where the end isn't told, what was read of the last 1024 samples is lost."""
    path = tmp_path / "stream.flac"
    soundfile.write(path, integers(16, 1), RATE, subtype="PCM_16")
    content = bytearray(path.read_bytes())
    content[21] &= 0xF0
    content[22:26] = bytes(4)
    path.write_bytes(content)
    heard = read(path).samples
    assert 5000 - 1024 <= len(heard) <= 5000
    np.testing.assert_array_equal(heard, integers(16, 1)[: len(heard)] / 2.0**31)


# --- lossy: time and level --------------------------------------------------------------------

STREAMS: dict[str, dict[str, Any]] = {
    "m4a": {"container": "ipod", "codec": "aac"},
    "mp4 film": {"container": "mp4", "codec": "aac", "picture": True},
    "mov film": {"container": "mov", "codec": "aac", "picture": True},
    "3gp": {"container": "3gp", "codec": "aac"},
    "3gp amr": {"container": "3gp", "codec": "libopencore_amrnb", "rate_hz": 8_000, "loose_db": 3},
    "webm": {"container": "webm", "codec": "libopus"},
    "webm of a browser": {"container": "webm", "codec": "libopus", "options": {"live": "1"}},
    "mp4 opus": {"container": "mp4", "codec": "libopus"},
    "ogg opus": {"container": "ogg", "codec": "libopus"},
    "mkv film": {"container": "matroska", "codec": "aac", "picture": True},
    "avi film": {"container": "avi", "codec": "pcm_s16le", "picture": True},
    "caf ima4": {"container": "caf", "codec": "adpcm_ima_qt"},
    "m4a 11025": {"container": "ipod", "codec": "aac", "rate_hz": 11_025},
    "m4a 44100": {"container": "ipod", "codec": "aac", "rate_hz": 44_100},
    "m4a 96000": {"container": "ipod", "codec": "aac", "rate_hz": 96_000},
}


def require_true(sound: Sound, rate_hz: int, loose_db: float = 1) -> None:
    """2 ms is a tenth of an AAC packet, 1 dB what coding may take from a loud tone; for speech more."""
    written = track(rate_hz)
    assert sound.sample_rate_hz == rate_hz
    assert sound.samples.shape[1] == 1
    assert np.abs(lags_s(sound.samples[:, 0], written[:, 0], rate_hz)).max() < 0.002
    assert abs(tone_db(sound.samples[:, 0], rate_hz)) < loose_db
    # Encoders pad the last packet.
    assert 0 <= len(sound.samples) - len(written) <= 2048
    assert "missing" not in sound.format


@pytest.mark.parametrize("case", STREAMS)
def test_streams_keep_time_and_level(tmp_path: Path, write_stream: Any, case: str) -> None:
    how = dict(STREAMS[case])
    loose_db = how.pop("loose_db", 1)
    rate_hz = how.setdefault("rate_hz", RATE)
    require_true(read(write_stream(tmp_path / "sound", track(rate_hz), **how)), rate_hz, loose_db)


def test_aac_in_caf_keeps_time_and_level(tmp_path: Path, write_aac_caf: Any) -> None:
    require_true(read(write_aac_caf(tmp_path / "sound.caf", track(), RATE)), RATE)


@pytest.mark.parametrize(("container", "coding"), [("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III")])
def test_plain_lossy_files_keep_time_and_level(tmp_path: Path, container: str, coding: str) -> None:
    soundfile.write(str(tmp_path / "sound"), track(), RATE, format=container, subtype=coding)
    require_true(read(tmp_path / "sound"), RATE)


def test_opus_says_that_it_is_always_48_khz(tmp_path: Path, write_stream: Any) -> None:
    """Encoded from 16 kHz, as messengers do."""
    sound = read(write_stream(tmp_path / "m.ogg", track(16_000), 16_000, container="ogg", codec="libopus"))
    assert sound.format == "Ogg, Opus (always decoded at 48 kHz)"
    require_true(sound, 48_000)


@pytest.mark.parametrize(
    ("container", "codec", "rate_hz"), [("adts", "aac", RATE), ("amr", "libopencore_amrnb", 8_000)]
)
def test_bare_streams_are_late_as_a_whole(
    tmp_path: Path, write_stream: Any, container: str, codec: str, rate_hz: int
) -> None:
    """They don't tell the encoder's delay: at most two packets, the same for every click."""
    sound = read(write_stream(tmp_path / "b", track(rate_hz), rate_hz, container=container, codec=codec))
    lags = lags_s(sound.samples[:, 0], track(rate_hz)[:, 0], rate_hz)
    assert 0 < lags.min() <= lags.max() < 0.045
    assert np.ptp(lags) < 0.002


@pytest.mark.parametrize("start", [2112, 1024 + 4800])
def test_the_edit_list_says_where_zero_is(tmp_path: Path, write_stream: Any, start: int) -> None:
    """The encoder's delay is 1024; a list that starts later makes every click earlier by the rest."""
    path = write_stream(tmp_path / "s.m4a", track(), container="ipod", codec="aac")
    content = bytearray(path.read_bytes())
    place = content.index(b"elst") + 16
    assert int.from_bytes(content[place : place + 4], "big") == 1024
    content[place : place + 4] = start.to_bytes(4, "big")
    path.write_bytes(content)
    lags = lags_s(read(path).samples[:, 0], track()[:, 0], RATE)
    np.testing.assert_allclose(lags, (1024 - start) / RATE, atol=0.002)


@pytest.mark.parametrize("codec", ["aac", "libopus"])
def test_two_channels_stay_two_and_different(tmp_path: Path, write_stream: Any, codec: str) -> None:
    left = track()[:, 0]
    both = np.stack([left, 0.5 * left[::-1]], axis=1)
    sound = read(write_stream(tmp_path / "s", both, container="matroska", codec=codec))
    heard = sound.samples[: len(both)]
    assert heard.shape == both.shape
    for channel, other in ((0, 1), (1, 0)):
        assert np.corrcoef(heard[:, channel], both[:, channel])[0, 1] > 0.95
        assert abs(np.corrcoef(heard[:, channel], both[:, other])[0, 1]) < 0.3


def test_vorbis_in_webm_has_the_loudness_of_each_channel(tmp_path: Path, write_stream: Any) -> None:
    both = track() * [1.0, 0.5]
    sound = read(
        write_stream(
            tmp_path / "s", both, container="webm", codec="vorbis", codec_options={"strict": "experimental"}
        )
    )
    assert tone_db(sound.samples[:, 0], RATE) == pytest.approx(0, abs=1)
    assert tone_db(sound.samples[:, 1], RATE) == pytest.approx(-6, abs=1)


# --- losses within, and sound that starts late -------------------------------------------------


@pytest.mark.parametrize(("container", "codec"), [("mp4", "aac"), ("webm", "libopus")])
def test_a_lost_packet_leaves_silence_and_moves_nothing(
    tmp_path: Path, write_stream: Any, container: str, codec: str
) -> None:
    path = write_stream(tmp_path / "s", track(), container=container, codec=codec, lost=(25,))
    sound = read(path)
    assert np.abs(lags_s(sound.samples[:, 0], track()[:, 0], RATE)).max() < 0.002
    assert re.search(r"; 0\.0[23] s of 2\.\d\d s are missing, and these gaps are left silent$", sound.format)


@pytest.mark.parametrize("container", ["mp4", "matroska"])
def test_sound_that_starts_after_the_picture_keeps_the_films_time(
    tmp_path: Path, write_stream: Any, container: str
) -> None:
    how = {"container": container, "codec": "aac", "picture": True}
    sound = read(write_stream(tmp_path / "s", track(), late=14_400, **how))
    moved = np.concatenate([np.zeros((14_400, 1)), track()])
    heard = sound.samples[14_400:, 0]
    assert np.abs(lags_s(heard, moved[14_400:, 0], RATE)).max() < 0.002
    assert re.search(r"; the sound starts 0\.\d\d s after the picture$", sound.format)


def test_a_few_damaged_packets_are_passed_over(tmp_path: Path, write_stream: Any) -> None:
    path = write_stream(tmp_path / "s.m4a", track(), container="ipod", codec="aac")
    content = bytearray(path.read_bytes())
    place = content.index(b"mdat") + 4000
    content[place : place + 60] = bytes(60)
    path.write_bytes(content)
    sound = read(path)
    assert len(sound.samples) >= len(track())
    assert np.abs(lags_s(sound.samples[:, 0], track()[:, 0], RATE)).max() < 0.002


# --- chosen by content ------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".wav", ".raw", ".m4a", ".mp3", ".txt", ""])
@pytest.mark.parametrize("kind", ["FLAC", "WAV", "OGG", "MP3", "AIFF", "M4A", "WEBM"])
def test_the_name_means_nothing(tmp_path: Path, write_stream: Any, kind: str, suffix: str) -> None:
    path = tmp_path / f"sound{suffix}"
    if kind == "M4A":
        write_stream(path, track(), container="ipod", codec="aac")
    elif kind == "WEBM":
        write_stream(path, track(), container="webm", codec="libopus")
    else:
        with path.open("wb") as file:
            soundfile.write(file, track(), RATE, format=kind)
    sound = read(path)
    assert sound.format.upper().startswith(kind)
    assert len(sound.samples) >= 2 * RATE


@pytest.mark.parametrize("kind", ["FLAC", "MP3", "AAC"])
def test_a_title_before_the_sound_does_not_hide_it(tmp_path: Path, write_stream: Any, kind: str) -> None:
    path = tmp_path / "s"
    if kind == "AAC":
        write_stream(path, track(), container="adts", codec="aac")
    else:
        soundfile.write(str(path), track(), RATE, format=kind)
    path.write_bytes(b"ID3\x04\x00\x00\x00\x00\x02\x00" + bytes(256) + path.read_bytes())
    assert {"AAC": "ADTS"}.get(kind, kind) in read(path).format


def test_a_cover_longer_than_the_head_is_skipped(tmp_path: Path) -> None:
    soundfile.write(str(tmp_path / "s"), track(), RATE, format="MP3")
    whole = b"ID3\x04\x00\x00\x00\x01\x00\x00" + bytes(1 << 14) + (tmp_path / "s").read_bytes()
    (tmp_path / "s").write_bytes(whole)
    require_true(read(tmp_path / "s"), RATE)


@pytest.mark.parametrize(
    "head", [b"", b"time,turns\n0,0\n", "Zeit".encode("utf-16"), b"\x89PNG\r\n\x1a\n", bytes(64)]
)
def test_what_is_no_sound_is_claimed_by_none(head: bytes) -> None:
    assert kind_of(head) is None
    assert not any(reader.claims(head) for reader in READERS)


def test_listing_the_readers_decodes_nothing_and_imports_no_decoder() -> None:
    code = (
        "import sys; from acoustic_plugins.readers import plain_sound, container_sound;"
        "print([r.name for m in (plain_sound, container_sound) for r in m.acoustic_readers()],"
        "sorted({'av', 'soundfile'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "['plain-sound', 'container-sound'] []"


def test_every_codec_these_tests_need_is_built_in() -> None:
    needed = {"aac", "alac", "libopus", "vorbis", "flac", "libopencore_amrnb", "mpeg4", "adpcm_ima_qt"}
    assert needed <= av.codecs_available
