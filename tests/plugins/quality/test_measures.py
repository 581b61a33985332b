"""What is wrong with samples, in numbers: silence, clipping, gaps, jumps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from acoustic_plugins.quality.measures import QUIETEST, clipped_share, gaps, sounding_level, wrapped_share
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

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
