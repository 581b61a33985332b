"""Clicks: when they come (beside librosa's onsets), how strong, in which rhythm, and how many by chance."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import librosa
import numpy as np
import pytest
from hypothesis import settings
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import BandBank, background_level, band_bank
from acoustic.dsp.transients import (
    find_clicks,
    near_clicks,
    regularity,
    without,
)
from acoustic.simulator import ringing, room

Floats = NDArray[np.float64]
RATE_HZ = 48000
SURE = 6.5  # robust deviations: what hiss does not reach in ten seconds
SECONDS = 10
QUICK = settings(max_examples=50, deadline=None, derandomize=True)


def bank_of(sound: Floats) -> BandBank:
    return band_bank(sound, sample_rate_hz=RATE_HZ, top_hz=18000.0)


def hiss(seed: int) -> Floats:
    rng = np.random.default_rng(seed)
    return 0.01 * room.coloured_noise(SECONDS * RATE_HZ, RATE_HZ, tilt_db_per_octave=-4.0, rng=rng)


@cache
def ringing_clicks(seed: int) -> tuple[Floats, Floats]:
    """A sound with some twenty clicks at random, a tenth of a second apart or more, and their times."""
    rng = np.random.default_rng(seed)
    times_s = np.sort(rng.uniform(0.3, SECONDS - 0.3, 25))
    times_s = times_s[np.concatenate([[True], np.diff(times_s) > 0.1])]
    response = ringing.frame_response(RATE_HZ, rng)
    strength = np.full(times_s.size, 0.5)
    clicks = ringing.ring(times_s, strength, response, samples=SECONDS * RATE_HZ, sample_rate_hz=RATE_HZ)
    return hiss(seed + 50) + clicks, times_s


class TestFindClicks:
    @pytest.mark.parametrize("seed", [0, 1, 2])
    def test_every_click_and_nothing_else(self, seed: int) -> None:
        """To two frames of 1 ms: one for the frame it falls into, one for a ring that peaks after its start."""
        sound, times_s = ringing_clicks(seed)
        found = find_clicks(bank_of(sound))
        assert found.times_s.size == times_s.size
        assert found.times_s == pytest.approx(times_s, abs=0.002)
        assert np.all(np.diff(found.times_s) > 0)

    @pytest.mark.parametrize("seed", [0, 1, 2])
    def test_beside_librosas_onsets(self, seed: int) -> None:
        """Same data, librosa.onset.onset_detect on its onset strength in steps of 5 ms.

        Its windows are 43 ms long and its peaks sit on a grid of 5 ms with a lead of up to two steps:
        15 ms. It may hear more onsets than clicks (noise swells, too), but few and none of the clicks less.
        """
        sound, _ = ringing_clicks(seed)
        ours = find_clicks(bank_of(sound)).times_s
        strength = librosa.onset.onset_strength(y=sound, sr=RATE_HZ, hop_length=240)
        theirs = librosa.onset.onset_detect(
            onset_envelope=strength, sr=RATE_HZ, hop_length=240, units="time", delta=0.3
        )
        apart = np.abs(ours[:, np.newaxis] - theirs[np.newaxis, :])
        assert np.all(apart.min(axis=1) < 0.015)
        assert np.sum(apart.min(axis=0) > 0.015) <= 3

    def test_power_by_hand(self) -> None:
        """White noise of variance s^2 and single samples of height 50 s, at 48 kHz.

        In a band of width B the sample's energy is (50 s)^2 B/24000/48000, the noise's power
        s^2 B/24000: their ratio, 2500/48000 = 0.0521 s, is the same in every band. The level it is set
        against is read off the noise here, since it is the mean power by a model only. Twenty clicks
        average the noise under each to 5 per cent, and the two frames counted before the peak cut a little
        off the low bands' ring: 10 per cent. Twice the height is four times the energy.
        """
        sound = np.random.default_rng(4).standard_normal(SECONDS * RATE_HZ)
        noise = bank_of(sound)
        over_level = noise.power.mean(axis=1) / background_level(noise).mean(axis=1)
        mean_over_level = over_level[noise.mid_hz >= 900].mean()
        at = np.arange(1, 20) * RATE_HZ // 2 + 17
        sound[at] += 50.0
        found = find_clicks(bank_of(sound), least_height=SURE)
        assert found.times_s == pytest.approx(at / RATE_HZ, abs=0.002)
        assert found.power.mean() == pytest.approx(2500 / 48000 * mean_over_level, rel=0.1)
        sound[at] += 50.0
        louder = find_clicks(bank_of(sound), least_height=SURE)
        assert louder.power.mean() / found.power.mean() == pytest.approx(4, rel=0.05)

    def test_the_spectrum_tells_where_a_click_rings(self) -> None:
        """Two rings of 3 ms decay, at 2 and at 8 kHz: each click's spectrum peaks in its own band."""
        t = np.arange(1500) / RATE_HZ
        sound = hiss(7)
        for at, frequency_hz in ((2.0, 2000.0), (5.0, 8000.0)):
            first = round(at * RATE_HZ)
            sound[first : first + t.size] += 0.5 * np.exp(-t / 0.003) * np.sin(2 * np.pi * frequency_hz * t)
        bank = bank_of(sound)
        found = find_clicks(bank, least_height=SURE)
        assert found.times_s == pytest.approx([2.0, 5.0], abs=0.003)
        heard_hz = bank.mid_hz[bank.mid_hz >= 900]
        assert found.spectrum.shape == (2, heard_hz.size)
        assert heard_hz[found.spectrum[0].argmax()] == pytest.approx(1995, abs=1)
        assert heard_hz[found.spectrum[1].argmax()] == pytest.approx(7943, abs=1)

    @pytest.mark.parametrize("gain", [0.01, 30.0])
    def test_loudness_does_not_matter(self, gain: float, louder: Callable[..., BandBank]) -> None:
        bank = bank_of(ringing_clicks(0)[0])
        plain, other = find_clicks(bank), find_clicks(louder(bank, gain))
        assert np.array_equal(plain.times_s, other.times_s)
        assert other.strength == pytest.approx(plain.strength, rel=1e-6)
        assert other.power == pytest.approx(plain.power, rel=1e-6)

    @pytest.mark.parametrize("seed", [10, 11, 12])
    def test_hiss_has_no_clicks(self, seed: int) -> None:
        """10 000 frames of hiss pass no height of 6.5 robust deviations, seldom one of 5; talk passes few."""
        assert find_clicks(bank_of(hiss(seed)), least_height=SURE).times_s.size == 0
        assert find_clicks(bank_of(hiss(seed))).times_s.size <= 2
        speech = room.talk(SECONDS * RATE_HZ, RATE_HZ, rng=np.random.default_rng(seed))
        # some twenty syllables of 0.1 to 0.3 s in ten seconds; each rises over a quarter of its length
        assert find_clicks(bank_of(hiss(seed) + 0.05 * speech)).times_s.size <= 3

    def test_a_long_swell_is_no_click(self) -> None:
        """A tenth of a second of louder hiss has neither the rise nor the end of a click."""
        sound = hiss(8)
        sound[5 * RATE_HZ : 5 * RATE_HZ + 9600] *= 1 + 8 * np.hanning(9600)
        assert find_clicks(bank_of(sound)).times_s.size == 0


class TestNearClicks:
    def test_marks_reach_either_side(self) -> None:
        """One click at 4 s, its ring a few ms long: 15 ms before are marked and 100 ms away nothing is."""
        sound = hiss(9)
        sound[4 * RATE_HZ] += 1.0
        bank = bank_of(sound)
        near = near_clicks(bank, least_height=8.0)
        assert near.shape == bank.times_s.shape
        assert near[bank.frames_between(3.987, 4.013)].all()
        assert not near[bank.frames_between(0.0, 3.9)].any()
        assert not near[bank.frames_between(4.1, 10.0)].any()

    def test_hiss_is_seldom_marked(self) -> None:
        """Four standard deviations in three groups of correlated frames: a few per cent at the most."""
        assert near_clicks(bank_of(hiss(10))).mean() < 0.1


class TestRegularity:
    def test_random_clicks_are_not_even(self) -> None:
        """Of 200 random trains a chance under 0.05 is shown by 10 on average; over 20 is three deviations off."""
        rng = np.random.default_rng(2)
        shown = [regularity(np.sort(rng.uniform(0, 10, 60))) for _ in range(200)]
        assert sum(chance < 0.05 for chance in shown) <= 20

    @pytest.mark.parametrize("slowing", [0.0, 0.02])
    def test_a_rhythm_is_even_at_any_pace(self, slowing: float) -> None:
        """60 strikes whose interval grows by nothing, or by 2 per cent each: all ratios within a quarter."""
        assert regularity(np.cumsum(0.1 * (1 + slowing) ** np.arange(60))) < 1e-20

    def test_few_clicks_tell_nothing(self) -> None:
        assert regularity(np.arange(7.0)) == 1.0


def test_a_marker_s_own_clicks_are_left_out() -> None:
    """All known times are, within 50 ms; where none is known all stay."""
    sound, times_s = ringing_clicks(1)
    clicks = find_clicks(bank_of(sound), least_height=SURE)
    assert clicks.times_s.size >= 10
    assert without(clicks, times_s).times_s.size <= 1
    assert without(clicks, times_s + 0.06).times_s.size >= 10
    assert without(clicks, np.empty(0)) is clicks
