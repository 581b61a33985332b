"""What limits a recording: silence, clipping, gaps, and filters of scipy's that cut off the top."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from acoustic.dsp.quality import (
    QUIETEST,
    bandwidth_hz,
    can_be_heard,
    clipped_share,
    gaps,
    out_of_range,
    running_rms,
    sounding_level,
    wrapped_share,
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


class TestSoundingLevel:
    def test_by_hand(self) -> None:
        """A sine of 0.5: 0.5/sqrt(2), a constant added or not (whole periods but for a few samples: 1e-3)."""
        assert sounding_level(sine(440, height=0.5)) == pytest.approx(0.5 / math.sqrt(2), rel=1e-3)
        assert sounding_level(sine(440, height=0.5) + 0.3) == pytest.approx(0.5 / math.sqrt(2), rel=1e-3)
        assert sounding_level(EMPTY) == 0
        assert sounding_level(np.full(1000, 0.25)) == 0

    def test_the_last_bit_is_silence(self) -> None:
        """Dither that flips the last of 16 bits by half lies below the limit, ten steps of noise above."""
        flips = np.random.default_rng(2).integers(0, 2, 48000) / 32768
        assert sounding_level(flips) < QUIETEST < sounding_level(20 * flips)


class TestClippedShare:
    @pytest.mark.parametrize("limit", [0.3, 0.7, 0.95])
    @pytest.mark.parametrize("frequency_hz", [100.0, 441.0])
    def test_a_clipped_sine(self, limit: float, frequency_hz: float) -> None:
        """By hand: |sin| > c for a share 1 - 2 asin(c)/pi of the time.

        The first and last sample of each of the 2f flat tops a second do not count, and the edges
        fall between samples: two to three samples a top, 2.5 x 2f/48000 of all.
        """
        clipped = np.clip(sine(frequency_hz), -limit, limit)
        expected = 1 - 2 * math.asin(limit) / math.pi - 5 * frequency_hz / RATE_HZ
        assert clipped_share(clipped) == pytest.approx(expected, abs=2 * frequency_hz / RATE_HZ)

    def test_clipped_on_one_side(self) -> None:
        """Half as much as on both: the other side's tops are as flat, but 1.4e-4 of it lower."""
        both = clipped_share(np.clip(sine(100), -0.7, 0.7))
        one = clipped_share(np.clip(sine(100), -0.6999, 0.7))
        assert one == pytest.approx(both / 2, rel=0.01)

    @pytest.mark.parametrize(
        "sound",
        [EMPTY, np.zeros(1000), sine(440), sine(1000, height=0.01), white(), np.round(white() * 32768) / 32768],
        ids=["empty", "silence", "full sine", "quiet sine", "noise", "16 bits"],
    )
    def test_unclipped(self, sound: Floats) -> None:
        assert clipped_share(sound) == 0.0

    def test_whole_number_limits_are_unequal(self) -> None:
        """16 bits end at -1 and at 32767/32768, 3e-5 less: both sides must count."""
        sound = np.clip(np.round(2 * sine(100) * 32768), -32768, 32767) / 32768
        expected = 1 - 2 * math.asin(0.5) / math.pi
        assert clipped_share(sound) == pytest.approx(expected, abs=0.02)

    @given(gain=st.floats(1e-3, 10.0))
    @QUICK
    def test_gain_does_not_matter(self, gain: float) -> None:
        """Clipped, then turned down: the flat tops are still there."""
        clipped = np.clip(sine(100, seconds=0.2), -0.6, 0.6)
        assert clipped_share(gain * clipped) == clipped_share(clipped)


class TestGaps:
    @pytest.mark.parametrize("held", [0.0, 0.25])
    def test_to_the_sample(self, held: float) -> None:
        """Samples 10 000 to 10 479 stand still, 10 ms: from the first to the last of them."""
        sound = white()
        sound[10000:10480] = held
        ((start_s, stop_s),) = gaps(sound, RATE_HZ)
        assert start_s == pytest.approx(10000 / RATE_HZ, abs=1.01 / RATE_HZ)
        assert stop_s == pytest.approx(10480 / RATE_HZ, abs=1.01 / RATE_HZ)

    @pytest.mark.parametrize(("samples", "count"), [(150, 0), (240, 1)])
    def test_four_milliseconds_at_least(self, samples: int, count: int) -> None:
        """4 ms are 192 samples."""
        sound = white()
        sound[5000 : 5000 + samples] = 0.0
        assert len(gaps(sound, RATE_HZ)) == count

    def test_at_either_end_and_throughout(self) -> None:
        sound = white()
        sound[:4800] = 0
        sound[-4800:] = 0
        found = gaps(sound, RATE_HZ)
        assert len(found) == 2
        assert found[0] == pytest.approx((0.0, 0.1), abs=1e-4)
        assert found[1] == pytest.approx((3.9, 4.0), abs=1e-4)
        assert len(gaps(np.zeros(48000), RATE_HZ)) == 1

    @pytest.mark.parametrize("sound", [EMPTY, np.ones(1), white()], ids=["empty", "one sample", "noise"])
    def test_none(self, sound: Floats) -> None:
        assert gaps(sound, RATE_HZ) == []


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


class TestWrappedShare:
    def test_a_lost_byte(self) -> None:
        """Even from -1 to 1, each for itself: (0.5 / 2)^2 of the pairs differ by 1.5; of 192 000 to 2 %."""
        even = np.random.default_rng(4).uniform(-1, 1, 4 * RATE_HZ)
        assert wrapped_share(even) == pytest.approx(1 / 16, rel=0.02)

    def test_whole_numbers_put_together_wrongly(self) -> None:
        """Noise of 1000 steps of 16 bits, one byte off."""
        whole = np.round(1000 * 10 * white()).astype("<i2").tobytes()
        off = np.frombuffer(whole[1:-1], dtype="<i2") / 32768
        assert wrapped_share(off) == pytest.approx(1 / 16, rel=0.05)

    @pytest.mark.parametrize(
        "sound", [EMPTY, sine(440), sine(5000), white() / 0.5], ids=["empty", "a", "5k", "noise"]
    )
    def test_what_a_microphone_hears(self, sound: Floats) -> None:
        assert wrapped_share(sound) == 0.0
