"""The sharpness of a beat under a guess of the course, and how its stretches run early or late."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from acoustic.core.beat import beat_levels, beat_spectrum, settled_beat, sharpest_beat, usual_floor
from acoustic.core.envelope import band_bank
from acoustic.core.fold import beat_delays

RATE_HZ = 48_000
TIME = np.linspace(0, 1, 1025)


def clicking(times_s: Any, *, seconds: float = 8.0, loudness: float = 40.0) -> Any:
    """A bank of noise with clicks at these times."""
    rng = np.random.default_rng(2)
    sound = rng.standard_normal(int(seconds * RATE_HZ))
    ring = np.exp(-np.arange(400) / 80) * rng.standard_normal(400)
    for time_s in times_s:
        first = int(time_s * RATE_HZ)
        sound[first : first + 400] += loudness * ring[: max(0, sound.size - first)] / 10
    return band_bank(sound, sample_rate_hz=RATE_HZ, top_hz=16_000.0)


def slowing(start_hz: float = 12.0, stop_s: float = 10.0, seconds: float = 8.0) -> tuple[Any, Any]:
    """Times of beats whose rate falls evenly to nothing at `stop_s`, and their count against TIME."""
    count = start_hz * (TIME * seconds - (TIME * seconds) ** 2 / (2 * stop_s))
    return np.interp(np.arange(1, int(count[-1])), count, TIME * seconds), count


def test_the_true_course_is_sharpest() -> None:
    times_s, count = slowing()
    levels = beat_levels(clicking(times_s), 0.0, 8.0)
    floor = usual_floor(levels, [TIME, TIME**0.8, TIME**1.3], most_beats=600)
    true = sharpest_beat(levels, count / count[-1], floor, fewest=20, most=120)
    even = sharpest_beat(levels, TIME, floor, fewest=20, most=120)
    assert true.beats == pytest.approx(count[-1], abs=0.6)
    assert true.surprise > even.surprise + 30


def test_a_line_stands_at_its_beats() -> None:
    """Clicks 9 times a second for 8 s: 72 beats, whatever the gain."""
    bank = clicking(np.arange(0.05, 8, 1 / 9))
    power = beat_spectrum(beat_levels(bank, 0.0, 8.0), TIME, most_beats=100)
    strongest = power.sum(axis=0)[100:].argmax() + 100
    assert strongest / 4 == pytest.approx(72, abs=0.5)


@pytest.mark.parametrize("octave", [1 / 2, 2.0, 3.0])
def test_a_multiple_of_the_beat_is_put_right(octave: float) -> None:
    levels = beat_levels(clicking(np.arange(0.05, 8, 1 / 9)), 0.0, 8.0)
    floor = usual_floor(levels, [TIME**0.8, TIME**1.3], most_beats=1800)
    assert settled_beat(levels, TIME, floor, 72 * octave).beats == pytest.approx(72, abs=0.6)


def test_delays_follow_the_beat_where_the_guess_does_not() -> None:
    """Guessed as even, the beats of a slightly slowing source run early, then late, as the delays tell."""
    times_s, count = slowing(start_hz=9.0, stop_s=160.0)
    levels = beat_levels(clicking(times_s), 0.0, 8.0)
    delays = beat_delays(levels, TIME, beats=float(count[-1]), group=levels.integral.shape[0] - 1)
    true = np.interp(delays.share, TIME, count)
    wrong = delays.share * count[-1]
    assert np.abs(wrong - true).max() > 0.3
    # A constant remains: where in the beat the click comes.
    off = delays.beats - true
    assert np.abs(off - np.median(off)).max() < 0.06


def test_too_short_a_part_is_refused() -> None:
    with pytest.raises(ValueError, match="a second or more"):
        beat_levels(clicking([0.5]), 1.0, 1.5)
