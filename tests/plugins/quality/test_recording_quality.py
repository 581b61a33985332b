"""What limits a recording: each problem where it is, not where it isn't, and how far it goes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.quality.recording_quality import RecordingQuality
from numpy.typing import NDArray

from acoustic.api import Recording
from acoustic.check.features import extract_features

HearingOf = Callable[..., Any]
RecordingOf = Callable[..., Any]
RATE_HZ = 48_000


def of_samples(samples: NDArray[np.float64], rate_hz: float = RATE_HZ) -> dict[str, Any]:
    """Problems of the samples alone, by code."""
    columns = samples[:, np.newaxis] if samples.ndim == 1 else samples
    recording = Recording(Path("x.wav"), "", columns.copy(), float(rate_hz), "in memory")
    return {problem.code: problem for problem in RecordingQuality().check(recording, None)}


def of_hearing(features: Any) -> dict[str, Any]:
    """Problems of the turning part, by code."""
    return {problem.code: problem for problem in RecordingQuality().check(features.recording, features)}


@pytest.fixture
def noise() -> NDArray[np.float64]:
    return 0.05 * np.random.default_rng(8).standard_normal(4 * RATE_HZ)


@pytest.mark.parametrize("case", ["sound", "outer", "rumble", "grit"])
def test_a_good_recording_has_no_problem(case: str, recording_of: RecordingOf, features_of: HearingOf) -> None:
    assert of_samples(recording_of(case).heard) == {}
    assert of_hearing(features_of(case)) == {}


def test_what_sounds_at_one_angle_is_told_and_voids_nothing(features_of: HearingOf) -> None:
    """A card that ticks once a turn, and nobody said that it is the marker."""
    found = of_hearing(features_of("ticking"))
    assert list(found) == ["fixed_angle"]
    assert found["fixed_angle"].voids == "nothing"
    assert "chainring bolts" in found["fixed_angle"].advice


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_samples_that_are_no_numbers(value: float, noise: Any) -> None:
    noise[[7, 700, 70_000]] = value
    found = of_samples(noise)
    assert list(found) == ["non_finite"], "of such samples nothing else can be said"
    assert found["non_finite"].voids == "any"
    assert "3 samples" in found["non_finite"].detail


def test_no_numbers_in_the_channel_that_is_not_judged(noise: Any) -> None:
    other = noise.copy()
    other[5] = np.nan
    assert "non_finite" in of_samples(np.column_stack([noise, other]))


@pytest.mark.parametrize("value", [5.0, -1e6, 1e10, -1e200, 1e308])
@pytest.mark.parametrize("channels", [1, 2])
def test_a_sample_out_of_range_voids_everything(value: float, channels: int, noise: Any) -> None:
    """Squares of the larger ones overflow: warnings are errors here."""
    samples = np.stack([noise] * channels, axis=1)
    samples[1234, -1] = value
    found = of_samples(samples)
    assert list(found) == ["out_of_range"]
    assert found["out_of_range"].voids == "any"
    assert "1 sample " in found["out_of_range"].detail


def test_a_float_file_may_overshoot_a_little(noise: Any) -> None:
    noise[1234] = 3.9
    assert of_samples(noise) == {}


@pytest.mark.parametrize("offset", [0.0, 0.25, -1.0])
def test_silence_and_a_constant(offset: float) -> None:
    found = of_samples(np.full(RATE_HZ, offset))
    assert list(found) == ["silent"]
    assert found["silent"].voids == "any"


def test_an_offset_alone_is_no_problem(noise: Any) -> None:
    """Cheap microphones shift the whole sound; what is heard stays the same."""
    assert of_samples(noise + 0.3) == {}


def test_clipping(noise: Any) -> None:
    """A tone cut at half its height stands at the limit two thirds of the time."""
    tone = np.sin(2 * np.pi * 200 * np.arange(noise.size) / RATE_HZ)
    cut = of_samples(np.clip(tone, -0.5, 0.5) + 0 * noise)["clipped"]
    assert cut.voids == "any"
    assert "%" in cut.detail
    assert "clipped" not in of_samples(tone + noise)


def test_some_clipping_is_said_but_voids_nothing(recording_of: RecordingOf) -> None:
    """Strikes cut off at a seventh of their height: still strikes, at the same times."""
    heard = recording_of("outer").heard
    top = 0.15 * float(np.max(np.abs(heard)))
    found = of_samples(np.clip(heard, -top, top))
    assert list(found) == ["clipped"]
    assert found["clipped"].voids == "nothing"


@pytest.mark.parametrize(("every_s", "voids"), [(0.5, "clean"), (0.04, "any")])
def test_dropouts(every_s: float, voids: str, noise: Any) -> None:
    """10 ms of silence out of 500 ms are 2 %, out of 40 ms 25 %."""
    for start in range(0, noise.size, int(every_s * RATE_HZ)):
        noise[start : start + RATE_HZ // 100] = 0
    found = of_samples(noise)
    assert list(found) == ["dropouts"]
    assert found["dropouts"].voids == voids


@pytest.mark.parametrize(("top_hz", "voids"), [(900, "any"), (1800, "any"), (2300, "any"), (3400, "nothing")])
def test_a_cut_off_top(top_hz: float, voids: str, noise: Any) -> None:
    """3.4 kHz is a phone call, in which strikes can be heard; below 2.5 kHz little of them is left."""
    found = of_samples(low_passed(noise, top_hz))
    assert list(found) == ["narrow_band"]
    assert found["narrow_band"].voids == voids
    assert "kHz" in found["narrow_band"].detail


@pytest.mark.parametrize("top_hz", [7000, 12_000, 20_000])
def test_a_top_high_enough(top_hz: float, noise: Any) -> None:
    assert of_samples(low_passed(noise, top_hz)) == {}


def low_passed(samples: NDArray[np.float64], top_hz: float) -> NDArray[np.float64]:
    """80 dB less above a frequency."""
    spectrum = np.fft.rfft(samples)
    spectrum[np.fft.rfftfreq(samples.size, 1 / RATE_HZ) > top_hz] *= 1e-4
    return np.fft.irfft(spectrum, samples.size)


def with_motion(features: Any, **changes: Any) -> Any:
    """Hear the same recording by another motion."""
    return extract_features(features.recording, replace(features.motion, **changes), features.bearing)


@pytest.mark.parametrize(("turns", "voids"), [(2.0, "any"), (5.0, "clean"), (8.0, None)])
def test_too_few_turns(turns: float, voids: str | None, features_of: HearingOf) -> None:
    """With two turns a rhythm of seven a turn is told from nothing by chance; with eight it is not."""
    features = features_of("sound")
    short = with_motion(features, turns=features.motion.turns * turns / features.motion.total_turns)
    found = of_hearing(short)
    assert list(found) == ([] if voids is None else ["too_short"])
    if voids is not None:
        assert found["too_short"].voids == voids
        assert f"{turns:.1f} turns" in found["too_short"].detail


def test_a_moment_is_too_short_however_fast(features_of: HearingOf) -> None:
    features = features_of("sound")
    moment = with_motion(features, times_s=np.array([2.0, 2.5]), turns=np.array([0.0, 20.0]))
    assert of_hearing(moment)["too_short"].voids == "any"


def test_no_still_part(features_of: HearingOf) -> None:
    """A coasting crank is heard to slow down; of one that turns evenly nothing tells the room from the bearing."""
    assert of_hearing(with_motion(features_of("sound"), still=())) == {}
    assert list(of_hearing(with_motion(features_of("steady"), still=()))) == ["no_still_part"]


@pytest.mark.parametrize("running_db", [-25.0, -18.0])
def test_too_far_away(running_db: float, features_of: HearingOf) -> None:
    """A crank that adds less than a hundredth to the room's noise is not heard at all."""
    found = of_hearing(features_of("far_away", running_db=running_db))
    assert list(found) == ["faint"]
    assert found["faint"].voids == "clean"


def test_every_problem_says_what_to_do(noise: Any, features_of: HearingOf) -> None:
    problems = [
        *of_samples(np.zeros(RATE_HZ)).values(),
        *of_samples(low_passed(noise, 3000)).values(),
        *of_hearing(features_of("far_away")).values(),
        *of_hearing(with_motion(features_of("steady"), still=())).values(),
    ]
    assert len(problems) == 4
    for problem in problems:
        assert problem.code.isidentifier() and problem.code == problem.code.lower()
        assert problem.detail and not problem.detail.endswith(".")
        assert problem.advice[0].isupper() and problem.advice.endswith(".")
