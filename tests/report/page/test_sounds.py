"""The sounds: their lengths by libsndfile, their band by a spectrum of our own, and what is said of them."""

from __future__ import annotations

import base64
import io
import re
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from acoustic.report.page import page_of_check
from acoustic.report.page.embed import sound_uri
from acoustic.report.page.sounds import LONGEST_S, playable_sounds

Analyse = Callable[[str], Any]
Pages = Callable[[str], Any]
Read = Callable[[str], Any]
Floats = NDArray[np.float64]


def said(found: Any) -> list[str]:
    return [attrs["aria-label"] for attrs in found.named("audio")]


def share_in(sound: Floats, rate_hz: float, low_hz: float, high_hz: float) -> float:
    power = np.abs(np.fft.rfft(sound)) ** 2
    at_hz = np.fft.rfftfreq(sound.size, 1 / rate_hz)
    return float(power[(at_hz >= low_hz) & (at_hz <= high_hz)].sum() / power.sum())


def band_of(result: Any, condition: str) -> tuple[float, float]:
    (band_hz,) = [f.evidence.band_hz for f in result.findings if f.condition == condition]
    return band_hz


def with_sound(result: Any, sound: Floats) -> Any:
    return replace(result, recording=replace(result.recording, samples=sound))


def test_five_sounds_of_a_defect(page_of: Pages, analysis_of: Analyse) -> None:
    result, found = analysis_of("outer"), page_of("outer")
    (whole, rate_hz), (clicks, clicks_hz), (banded, banded_hz), (slow, slow_hz), (level, level_hz) = found.sounds
    recording = result.recording
    assert rate_hz == clicks_hz == banded_hz == level_hz == recording.sample_rate_hz
    assert len(whole) == len(clicks) == len(banded) == len(recording.samples)
    assert len(level) == 2 * len(banded)
    assert len(slow) / slow_hz == pytest.approx(2 * len(banded) / banded_hz)
    # Vorbis changes the sound, but hardly: what is heard is the recording.
    assert np.corrcoef(whole, recording.heard)[0, 1] > 0.95
    low_hz, high_hz = band_of(result, "outer_raceway")
    assert share_in(banded, banded_hz, low_hz, high_hz) > 0.95
    assert share_in(recording.heard, rate_hz, low_hz, high_hz) < 0.7, "or the filter would not be seen"
    assert share_in(slow, slow_hz, low_hz / 2, high_hz / 2) > 0.95, "an octave lower"
    assert share_in(level, level_hz, low_hz, high_hz) > 0.95, "at its own pitch"


def test_the_clicks_alone_stand_out_and_are_as_loud_as_they_were(page_of: Pages) -> None:
    """By the levels of 5 ms in the turning part: the loudest of damage stay, and what is between them goes.

    A healthy bearing's are no clicks, and are not made loud either.
    """
    for case, most_lost_db in (("outer", 6.0), ("sound", None)):
        (whole, rate_hz), (clicks, _), *_ = page_of(case).sounds
        levels_db = [
            10 * np.log10(np.mean(sound[2 * rate_hz : 9 * rate_hz].reshape(-1, rate_hz // 200) ** 2, axis=1))
            for sound in (whole, clicks)
        ]
        before, after = (np.quantile(levels, [0.5, 0.99]) for levels in levels_db)
        assert after[0] < before[0] - 12, "hiss goes"
        if most_lost_db is None:
            assert after[1] < before[1] - 10
        else:
            assert before[1] - most_lost_db < after[1] <= before[1]
            assert after[1] - after[0] > before[1] - before[0] + 6


def test_each_says_what_it_is(page_of: Pages, analysis_of: Analyse) -> None:
    whole, clicks, banded, slow, level = said(page_of("outer"))
    low_hz, high_hz = band_of(analysis_of("outer"), "outer_raceway")
    assert re.fullmatch(r"The whole recording, 12\.0 s; made (louder|quieter) by \d+ dB\.", whole)
    assert f"only {low_hz:.0f} to {high_hz:.0f} Hz, where this was heard: outer ring" in banded
    assert "half speed" in slow and "octave lower" in slow
    assert "half speed" in level and "own pitch" in level and "smeared" in level
    assert "clicks alone, as loud as in the recording" in clicks and "10 dB" in clicks


def test_the_loudness_said_is_the_one_done(page_of: Pages, analysis_of: Analyse) -> None:
    """In dB, to half of one, by what the loudest sample became."""
    (whole, _), *_ = page_of("outer").sounds
    heard = analysis_of("outer").recording.heard
    change_db = 20 * np.log10(whole.std() / heard.std())
    direction, decibels = re.search(r"made (louder|quieter) by (\d+) dB", said(page_of("outer"))[0]).groups()
    assert change_db == pytest.approx({"louder": 1, "quieter": -1}[direction] * int(decibels), abs=0.7)
    assert np.abs(whole).max() < 1.0


def test_without_a_defect_there_is_no_band(page_of: Pages) -> None:
    assert len(page_of("sound").sounds) == 2


def test_without_librosa(analysis_of: Analyse, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "librosa", None)
    whole, banded, slow = playable_sounds(analysis_of("outer"), with_librosa=False)
    assert "whole recording" in whole.says and "only" in banded.says and "octave lower" in slow.says


def test_the_strongest_finding_s_band_is_played(analysis_of: Analyse) -> None:
    result = analysis_of("outer")
    findings = tuple(
        replace(f, detected=True, severity_db=30.0, evidence=replace(f.evidence, band_hz=(700.0, 1400.0)))
        if f.condition == "rumble"
        else f
        for f in result.findings
    )
    _, _, banded, _, _ = playable_sounds(replace(result, findings=findings))
    assert "only 700 to 1400 Hz, where this was heard: rumble" in banded.says


@pytest.mark.broad
def test_a_long_recording_is_cut_to_its_turning_part(analysis_of: Analyse, read: Read) -> None:
    """Twelve seconds and twelve still ones; then one that turns for longer than is played."""
    result = analysis_of("outer")
    samples = np.concatenate([result.recording.samples, 0.001 * result.recording.samples[::-1]])
    motion = result.motion
    found = read(page_of_check(with_sound(result, samples)))
    lasting_s = [len(sound) / rate_hz for sound, rate_hz in found.sounds]
    turning_s = motion.stop_s - motion.start_s
    assert lasting_s == pytest.approx([turning_s] * 3 + [2 * turning_s] * 2, abs=0.001)
    assert f"The turning part, {motion.start_s:.1f} to {motion.stop_s:.1f} s of 24.0 s" in said(found)[0]
    endless = replace(motion, times_s=motion.times_s * 40 / motion.stop_s)
    whole, *_ = playable_sounds(replace(with_sound(result, np.tile(samples, (2, 1))), motion=endless))
    assert f"The first {LONGEST_S:.0f} s of the turning part" in whole.says


def test_long_and_without_a_known_motion(analysis_of: Analyse) -> None:
    result = analysis_of("sound")
    longer = with_sound(result, np.tile(result.recording.samples, (4, 1)))
    whole, _ = playable_sounds(replace(longer, motion=None))
    assert whole.says.startswith("The first 20 s of the recording, 0.0 to 20.0 s")


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_what_is_no_number_is_not_played_or_drawn(value: float, unusable: Any, read: Read) -> None:
    samples = 0.1 * np.random.default_rng(1).standard_normal((48_000, 1))
    samples[100] = value
    found = read(page_of_check(with_sound(unusable, samples)))
    assert found.named("audio") == found.named("img") == []


@pytest.mark.parametrize("level", [0.0, 0.25])
def test_silence_is_not_played(level: float, unusable: Any) -> None:
    assert playable_sounds(with_sound(unusable, np.full((48_000, 1), level))) == ()


def test_the_sounds_of_the_worst_recording_are_small_enough_to_send(analysis_of: Analyse) -> None:
    """White noise, which no coder makes small, as long as is played; the pictures take 0.2 MB more."""
    noise = 0.1 * np.random.default_rng(5).standard_normal((20 * 48_000, 1))
    sounds = playable_sounds(with_sound(analysis_of("outer"), noise))
    assert len(sounds) == 5
    assert sum(len(sound.uri) for sound in sounds) < 2_500_000


def test_a_usable_sound_too_short_to_be_separated_is_played(analysis_of: Analyse) -> None:
    """A tenth of a second: the recording, its band and that an octave lower."""
    result = analysis_of("outer")
    short = with_sound(result, result.recording.samples[96_000:100_800])
    assert len(playable_sounds(short)) == 3


def test_one_short_second_is_played(unusable: Any, read: Read) -> None:
    noise = 1e-3 * np.random.default_rng(2).standard_normal((2_400, 1))
    ((sound, _),) = read(page_of_check(with_sound(unusable, noise))).sounds
    assert len(sound) == 2_400


def test_the_longest_sound_at_the_highest_rate() -> None:
    """20 s at 192 kHz: written at once, so many samples overflow the coder's stack and end the program."""
    noise = 0.1 * np.random.default_rng(4).standard_normal(20 * 192_000)
    content = base64.b64decode(sound_uri(noise, sample_rate_hz=192_000).partition(",")[2])
    decoded, rate_hz = soundfile.read(io.BytesIO(content))
    assert (len(decoded), rate_hz) == (len(noise), 192_000)
