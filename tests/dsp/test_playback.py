"""The band that is played: against tones, an independent spectrum, and in time."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from acoustic.dsp.playback import band_pass

Floats = NDArray[np.float64]

RATE_HZ = 48_000
LOW_HZ, HIGH_HZ = 2_000.0, 4_000.0  # flanks of 250 Hz, half of each inside


def kept(sound: Floats) -> Floats:
    return band_pass(sound, sample_rate_hz=RATE_HZ, low_hz=LOW_HZ, high_hz=HIGH_HZ)


def tone(frequency_hz: float) -> Floats:
    return np.sin(2 * np.pi * frequency_hz * np.arange(RATE_HZ) / RATE_HZ)


@pytest.mark.parametrize(
    ("frequency_hz", "height"),
    [(1000, 0), (1800, 0), (2000, 0.5), (2200, 1), (3000, 1), (3800, 1), (4000, 0.5), (4200, 0), (9000, 0)],
)
def test_tones(frequency_hz: float, height: float) -> None:
    """All of it in the band, none outside, half at the edge; looked at away from the ends of the sound."""
    middle = slice(RATE_HZ // 4, -RATE_HZ // 4)
    assert kept(tone(frequency_hz))[middle] == pytest.approx(height * tone(frequency_hz)[middle], abs=2e-3)


def test_the_energy_of_noise_lies_in_the_band() -> None:
    """By Welch's spectrum; of white noise 2 of 24 kHz would lie there without the filter."""
    noise = np.random.default_rng(1).standard_normal(5 * RATE_HZ)
    for sound, least, most in ((noise, 0.07, 0.1), (kept(noise), 0.97, 1.0)):
        at_hz, power = signal.welch(sound, RATE_HZ, nperseg=8192)
        share = power[(at_hz >= LOW_HZ) & (at_hz <= HIGH_HZ)].sum() / power.sum()
        assert least < share < most


def test_a_strike_stays_where_it_is_and_rings_evenly() -> None:
    """Zero phase: as much before as after."""
    strike = np.zeros(RATE_HZ)
    strike[20_000] = 1.0
    rung = kept(strike)
    assert int(np.argmax(np.abs(rung))) == 20_000
    assert rung[19_000:20_000][::-1] == pytest.approx(rung[20_001:21_001], abs=1e-12)


def test_the_end_does_not_ring_into_the_beginning() -> None:
    strike = np.zeros(RATE_HZ)
    strike[-1] = 1.0
    rung = kept(strike)
    assert np.abs(rung[:1000]).max() < 1e-4 * np.abs(rung).max()


def test_gain_and_odd_lengths() -> None:
    noise = np.random.default_rng(2).standard_normal(10_007)
    assert kept(noise).shape == noise.shape
    assert kept(7 * noise) == pytest.approx(7 * kept(noise))


def test_a_band_past_half_the_rate() -> None:
    """What is not in the recording is not kept, and not invented."""
    noise = np.random.default_rng(3).standard_normal(8_000)
    assert np.isfinite(band_pass(noise, sample_rate_hz=8_000, low_hz=3_000, high_hz=6_000)).all()


@pytest.mark.parametrize(("low_hz", "high_hz"), [(3000.0, 3000.0), (3000.0, 2000.0), (-1.0, 2000.0)])
def test_no_band(low_hz: float, high_hz: float) -> None:
    with pytest.raises(ValueError, match="0 <= low < high is needed"):
        band_pass(tone(1000), sample_rate_hz=RATE_HZ, low_hz=low_hz, high_hz=high_hz)


def test_two_channels_are_refused() -> None:
    with pytest.raises(ValueError, match=r"got shape \(10, 2\)"):
        band_pass(np.zeros((10, 2)), sample_rate_hz=RATE_HZ, low_hz=LOW_HZ, high_hz=HIGH_HZ)
