"""What limits a recording: silence, clipping, gaps, and filters of scipy's that cut off the top."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from acoustic.dsp.quality import (
    bandwidth_hz,
    can_be_heard,
    out_of_range,
    running_rms,
)
from acoustic.simulator import room

Floats = NDArray[np.float64]
RATE_HZ = 48000
EMPTY = np.empty(0)
QUICK = settings(max_examples=25, deadline=None, derandomize=True)


def sine(frequency_hz: float, *, height: float = 1.0, seconds: float = 2.0) -> Floats:
    return height * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ + 0.3)


def white(seed: int = 1, *, seconds: float = 4.0) -> Floats:
    return 0.1 * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))


class TestBandwidth:
    @pytest.mark.parametrize("cut_hz", [3000, 5000, 8000, 12000, 16000, 20000])
    def test_against_scipys_low_pass(self, cut_hz: int) -> None:
        """A windowed filter of 513 taps falls from full to -50 dB within 3.3 x 48000/513 = 310 Hz.

        Half of that lies above the cut; steps of 200 Hz add one: foot from 0 to 400 Hz above the cut.
        """
        taps = signal.firwin(513, cut_hz, fs=RATE_HZ)
        sound = signal.lfilter(taps, 1, white()) + 1e-6 * white(2)
        assert 0 <= bandwidth_hz(sound, RATE_HZ) - cut_hz <= 400

    @pytest.mark.parametrize("rate_hz", [8000, 22050, 44100, 48000])
    def test_nothing_is_cut(self, rate_hz: int) -> None:
        sound = np.random.default_rng(3).standard_normal(4 * rate_hz)
        assert bandwidth_hz(sound, rate_hz) == pytest.approx(0.47 * rate_hz)

    @pytest.mark.parametrize("tilt_db", [-3.0, -6.0, -12.0])
    def test_sound_that_falls_steadily_is_not_cut(self, tilt_db: float) -> None:
        """12 dB an octave is 1.5 dB in the 1.2 kHz above 10 kHz: no cliff of 15."""
        rng = np.random.default_rng(4)
        sound = room.coloured_noise(4 * RATE_HZ, RATE_HZ, tilt_db_per_octave=tilt_db, rng=rng)
        assert bandwidth_hz(sound, RATE_HZ) == pytest.approx(0.47 * RATE_HZ)

    def test_a_loud_tone_is_no_edge(self) -> None:
        """Medians of 200 Hz pass over a whistle."""
        assert bandwidth_hz(white() + sine(9000, seconds=4), RATE_HZ) == pytest.approx(0.47 * RATE_HZ)

    @given(gain=st.sampled_from([1e-3, 0.25, 8.0]))
    @QUICK
    def test_gain_does_not_matter(self, gain: float) -> None:
        sound = signal.lfilter(signal.firwin(513, 7000, fs=RATE_HZ), 1, white()) + 1e-6 * white(2)
        assert bandwidth_hz(gain * sound, RATE_HZ) == bandwidth_hz(sound, RATE_HZ)

    def test_a_recording_resampled_up_is_found_out(self) -> None:
        """16 kHz brought to 48 by scipy, whose filter has 61 taps and a Kaiser taper of 5 (50 dB).

        By Kaiser's rule it falls over (50 - 8)/(2.285 x 60) radians, 2340 Hz, half of that past 8 kHz;
        with the step of 200 Hz the foot lies from 0 to 1400 Hz above.
        """
        slow = 0.1 * np.random.default_rng(5).standard_normal(4 * 16000)
        fast = signal.resample_poly(slow, 3, 1) + 1e-7 * white(6)
        assert 0 <= bandwidth_hz(fast, RATE_HZ) - 8000 <= 1400


class TestOutOfRange:
    @pytest.mark.parametrize("value", [4.01, -5.0, 1e10, -1e200, 1.7e308])
    def test_counted(self, value: float) -> None:
        sound = white()
        sound[[3, 300]] = value
        assert out_of_range(sound) == 2
        assert not can_be_heard(sound)

    def test_what_is_no_number_is_not_counted_but_cannot_be_heard(self) -> None:
        sound = white()
        sound[:3] = [np.nan, np.inf, -np.inf]
        assert out_of_range(sound) == 0
        assert not can_be_heard(sound)

    def test_a_float_file_may_overshoot(self) -> None:
        assert out_of_range(np.array([3.9, -4.0])) == 0
        assert can_be_heard(np.array([3.9, -4.0]))


class TestRunningRms:
    def test_wild_samples_do_not_overflow(self) -> None:
        """They count as full scale: the block they lie in is loud, the usual block is as before."""
        sound = white()
        expected = running_rms(sound[:, np.newaxis], RATE_HZ)
        for value in (1e300, -np.inf, np.nan):
            spoilt = sound.copy()
            spoilt[7] = value
            assert running_rms(spoilt[:, np.newaxis], RATE_HZ) == pytest.approx(expected, rel=0.01)
