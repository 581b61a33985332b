"""Whether the sound follows the crank, on banks of exponential power made by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from acoustic_plugins.quality.following import fast_over_slow, noise_steps, turning_over_still
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import BandBank

Floats = NDArray[np.float64]
BANDS_HZ = 1000.0 * 10 ** (np.arange(-3, 13) / 10)
SECONDS, START_S, STOP_S = 12.0, 2.0, 10.0
TIMES_S = (np.arange(round(SECONDS * 1000)) + 0.5) / 1000
MOTION_S = np.linspace(START_S, STOP_S, 81)
SPEED_HZ = np.linspace(2.0, 0.5, 81)
CERTAIN = 4.0


def bank_of(levels: Floats, seed: int = 1) -> BandBank:
    """Frames of 1 ms: exponential power whose mean is `levels`, shape (frames,) or (bands, frames)."""
    power = np.random.default_rng(seed).exponential(size=(BANDS_HZ.size, levels.shape[-1])) * levels
    return BandBank(BANDS_HZ, power, 0.001, 0.0005)


def speed_at(times_s: Floats = TIMES_S) -> Floats:
    """The crank's speed: pushed within 0.3 s before the motion begins, at rest within a second after it."""
    pushed = np.clip((times_s - START_S) / 0.3 + 1, 0, 1)
    return pushed * np.interp(times_s, MOTION_S, SPEED_HZ) * np.clip(STOP_S + 1 - times_s, 0, 1)


def running(over_room: float) -> Floats:
    """Room, and running noise that grows with the square of the speed; `over_room` at 2 turns a second."""
    return 1 + over_room * (speed_at() / 2) ** 2


class TestFastOverSlow:
    @pytest.mark.parametrize("over_room", [0.5, 2.0, 20.0])
    def test_by_hand(self, over_room: float) -> None:
        """Speeds fall evenly from 2 to 0.5 turns a second: the thirds run from 2 to 1.5 and from 1 to 0.5.

        The mean of their levels in dB is integrated numerically; each third's 27 blocks of 0.1 s err by 0.6 dB
        (see `block_levels_db`), over five bands by 0.05 dB together: four of them and a block's width are allowed.
        """
        found = fast_over_slow(bank_of(running(over_room)), MOTION_S, SPEED_HZ, least_ratio=1.5)
        assert found is not None
        fast, slow = (
            np.mean(10 * np.log10(1 + over_room * (np.linspace(*ends, 1000) / 2) ** 2))
            for ends in ((2.0, 1.5), (1.0, 0.5))
        )
        assert found.level_db == pytest.approx(fast - slow, abs=0.3)
        assert np.all(found.level_certainty > CERTAIN)

    def test_a_recorder_s_gain_hides_the_level_but_not_the_shape(self) -> None:
        """Gain that makes all blocks equally loud, on a bearing heard in the upper half of the bands alone."""
        levels = np.ones((BANDS_HZ.size, TIMES_S.size))
        levels[8:] = running(4.0)
        levels /= levels.mean(axis=0)
        found = fast_over_slow(bank_of(levels), MOTION_S, SPEED_HZ, least_ratio=1.5)
        assert found is not None
        assert found.reshaped(least_db=0.8, certainty=CERTAIN)
        same = fast_over_slow(bank_of(running(4.0) / running(4.0)), MOTION_S, SPEED_HZ, least_ratio=1.5)
        assert same is not None and not same.reshaped(least_db=0.8, certainty=CERTAIN)

    def test_steady_noise_does_not_follow(self) -> None:
        """Twenty recordings: no group of bands is certainly louder in any."""
        for seed in range(20):
            found = fast_over_slow(bank_of(np.ones(TIMES_S.size), seed), MOTION_S, SPEED_HZ, least_ratio=1.5)
            assert found is not None
            assert not found.louder(least_db=0.5, certainty=CERTAIN)
            assert not found.reshaped(least_db=0.5, certainty=CERTAIN)

    def test_loudness_does_not_matter(self) -> None:
        found, louder = (
            fast_over_slow(bank_of(gain * running(2.0)), MOTION_S, SPEED_HZ, least_ratio=1.5) for gain in (1, 1e3)
        )
        assert found is not None and louder is not None
        assert louder.level_db == pytest.approx(found.level_db, abs=1e-6)

    def test_a_driven_crank_tells_nothing(self) -> None:
        steady = np.full(MOTION_S.size, 1.2)
        assert fast_over_slow(bank_of(running(2.0)), MOTION_S, steady, least_ratio=1.5) is None

    def test_too_short(self) -> None:
        few_s = np.linspace(3.0, 3.6, 5)
        assert fast_over_slow(bank_of(running(2.0)), few_s, np.linspace(2, 1, 5), least_ratio=1.5) is None


class TestTurningOverStill:
    def test_each_still_part_by_itself(self) -> None:
        """A noise that goes on after the stop: louder than before the push, no louder than after."""
        levels = np.where(TIMES_S < START_S, 1.0, 10.0)
        before, after = turning_over_still(bank_of(levels), START_S, STOP_S, ((0.0, 1.8), (10.2, 12.0)))
        assert before.level_db == pytest.approx(10.0, abs=0.3)
        assert after.level_db == pytest.approx(0.0, abs=0.3)
        assert before.louder(least_db=1.5, certainty=CERTAIN)
        assert not after.louder(least_db=1.5, certainty=CERTAIN)

    def test_a_moment_is_no_still_part(self) -> None:
        assert turning_over_still(bank_of(running(2.0)), START_S, STOP_S, ((0.0, 0.2),)) == ()


class TestNoiseSteps:
    @pytest.mark.parametrize("rise_db", [4.0, 10.0, 40.0])
    def test_begins_and_ends(self, rise_db: float) -> None:
        """Noise over a room from 4 to 7 s: found to the block, as high as it is."""
        levels = np.where((TIMES_S >= 4.0) & (TIMES_S < 7.0), 10 ** (rise_db / 10), 1.0)
        begins, ends = noise_steps(bank_of(levels))
        assert (begins.at_s, ends.at_s) == (pytest.approx(4.0, abs=0.06), pytest.approx(7.0, abs=0.06))
        assert begins.rise_db == pytest.approx(rise_db, abs=0.6)
        assert ends.rise_db == pytest.approx(-rise_db, abs=0.6)

    @pytest.mark.parametrize("over_room", [0.0, 1.0, 10.0, 1000.0])
    def test_a_push_is_none(self, over_room: float) -> None:
        """A crank that gains speed in 0.3 s, however loud."""
        assert noise_steps(bank_of(running(over_room))) == ()

    @pytest.mark.parametrize("decay_s", [0.02, 0.1, 0.3])
    def test_bangs_are_none(self, decay_s: float) -> None:
        since_s = TIMES_S - 5.0
        bang = np.where(since_s >= 0, 1e4 * np.exp(-np.maximum(since_s, 0) / decay_s), 0.0)
        assert noise_steps(bank_of(1 + bang)) == ()

    def test_talk_is_none(self) -> None:
        """Syllables of 0.2 s, four a second, 20 dB over the room."""
        levels = 1 + 100 * ((TIMES_S % 0.25 < 0.2) & (TIMES_S > 4))
        assert noise_steps(bank_of(levels)) == ()

    def test_noise_in_place_of_sound_may_be_quieter_below(self) -> None:
        """White where the room's noise falls by 3 dB a band: louder in the upper ten of sixteen."""
        room = 10 ** (-0.3 * np.arange(BANDS_HZ.size))[:, np.newaxis] * np.ones(TIMES_S.size)
        room[:, TIMES_S > 5] = 10**-1.5
        (step,) = noise_steps(bank_of(room))
        assert step.at_s == pytest.approx(5.0, abs=0.06) and step.rise_db > 0

    def test_a_tone_is_none(self) -> None:
        """A whistle in one band of sixteen."""
        levels = np.ones((BANDS_HZ.size, TIMES_S.size))
        levels[6, TIMES_S > 5] = 1e3
        assert noise_steps(bank_of(levels)) == ()

    def test_a_steady_room_has_none(self) -> None:
        assert all(noise_steps(bank_of(np.ones(TIMES_S.size), seed)) == () for seed in range(10))

    def test_loudness_does_not_matter(self) -> None:
        levels = np.where(TIMES_S > 6.0, 5.0, 1.0)
        (one,), (other,) = noise_steps(bank_of(levels)), noise_steps(bank_of(1e6 * levels))
        assert other.rise_db == pytest.approx(one.rise_db, abs=1e-6)
        assert math.isclose(one.at_s, other.at_s)

    def test_shorter_than_it_takes(self) -> None:
        assert noise_steps(bank_of(np.ones(150))) == ()


def test_arrays_are_read_only() -> None:
    found = fast_over_slow(bank_of(running(2.0)), MOTION_S, SPEED_HZ, least_ratio=1.5)
    assert found is not None
    with pytest.raises(ValueError, match="read-only"):
        found.level_db[0] = 0.0
