"""What is played: against tones, impacts at known times, an independent spectrum, and in time."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from acoustic.dsp.playback import SHORTEST_S, band_pass, clicks_alone, half_speed, librosa_problem

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


def rings(times_s: Floats, samples: int) -> Floats:
    """Impacts that ring at 4 kHz and fall by 1/e in 2 ms."""
    sound = np.zeros(samples)
    t = np.arange(480) / RATE_HZ
    for first in np.round(times_s * RATE_HZ).astype(int):
        sound[first : first + t.size] += np.exp(-t / 0.002) * np.sin(2 * np.pi * 4_000 * t)
    return sound


@pytest.mark.parametrize("impacts_hz", [3.0, 10.0, 20.0])
@pytest.mark.parametrize("tone_hz", [100.0, 440.0, 2_500.0, 4_000.0])
def test_clicks_stay_and_a_tone_goes(impacts_hz: float, tone_hz: float) -> None:
    """In a tone as high as they: the clicks' share of the result is 1 dB off at most, the tone 40 dB down."""
    samples = 3 * RATE_HZ
    clicks = rings(np.arange(0.2, 2.8, 1 / impacts_hz), samples)
    carrier = np.exp(-2j * np.pi * tone_hz * np.arange(samples) / RATE_HZ)
    sound = clicks + carrier.imag
    kept = clicks_alone(sound, sample_rate_hz=RATE_HZ)
    assert kept.shape == sound.shape
    between = np.ones(samples, dtype=bool)
    for first in np.flatnonzero(np.diff((np.abs(clicks) > 0).astype(int)) == 1):
        between[max(0, first - 960) : first + 1_440] = False  # a frame about each
    tone_left = 2 * abs(np.mean((kept * carrier)[between])) / 1.0
    assert 20 * np.log10(tone_left) < -40
    if tone_hz != 4_000.0:  # at the rings' own pitch a tone as high hides them
        assert 20 * np.log10(kept @ clicks / (clicks @ clicks)) == pytest.approx(0, abs=1)


def test_noise_is_left_as_a_crackle() -> None:
    """White noise, by its power: 15 dB and more go. That some stays is said on the page."""
    noise = np.random.default_rng(5).standard_normal(3 * RATE_HZ)
    kept = clicks_alone(noise, sample_rate_hz=RATE_HZ)
    assert -30 < 20 * np.log10(kept.std() / noise.std()) < -15


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 192_000])
def test_clicks_stay_in_place_at_every_rate(rate_hz: int) -> None:
    strike = np.zeros(rate_hz + 1)
    strike[rate_hz // 3] = 1.0
    assert int(np.argmax(clicks_alone(strike, sample_rate_hz=rate_hz))) == rate_hz // 3
    slow = half_speed(strike, sample_rate_hz=rate_hz)
    assert int(np.argmax(np.abs(slow))) == pytest.approx(2 * (rate_hz // 3), abs=0.01 * rate_hz)


@pytest.mark.parametrize("tone_hz", [150.0, 440.0, 1_000.0, 6_000.0])
def test_half_speed_keeps_pitch_and_level(tone_hz: float) -> None:
    """Twice as long to the sample, the tone to 0.1 % by the highest line, its level to 0.5 dB."""
    slow = half_speed(tone(tone_hz), sample_rate_hz=RATE_HZ)
    assert slow.size == 2 * RATE_HZ
    lines = np.abs(np.fft.rfft(slow * np.hanning(slow.size)))
    assert np.fft.rfftfreq(slow.size, 1 / RATE_HZ)[np.argmax(lines)] == pytest.approx(tone_hz, rel=1e-3)
    middle = slow[RATE_HZ // 4 : -RATE_HZ // 4]
    assert 20 * np.log10(middle.std() * np.sqrt(2)) == pytest.approx(0, abs=0.5)


def test_half_speed_puts_impacts_at_twice_their_time() -> None:
    """By where their energy lies, to a frame of 10 ms; and it is drawn out, but to no more than 20 ms."""
    times_s = np.array([0.3, 0.7, 1.1, 1.7])
    slow = half_speed(rings(times_s, 2 * RATE_HZ), sample_rate_hz=RATE_HZ)
    at_s = np.arange(slow.size) / RATE_HZ
    for time_s in 2 * times_s:
        near = np.abs(at_s - time_s) < 0.2
        energy = slow[near] ** 2 / np.sum(slow[near] ** 2)
        middle_s = float(at_s[near] @ energy)
        assert middle_s == pytest.approx(time_s + 0.004, abs=0.01)
        assert np.sqrt((at_s[near] - middle_s) ** 2 @ energy) < 0.02


@pytest.mark.parametrize("change", [clicks_alone, half_speed], ids=lambda change: change.__name__)
def test_silence_and_what_is_too_short(change: Callable[..., Floats]) -> None:
    assert not change(np.zeros(RATE_HZ), sample_rate_hz=RATE_HZ).any()
    shortest = round(SHORTEST_S * RATE_HZ)
    noise = np.random.default_rng(6).standard_normal(shortest)
    assert np.isfinite(change(noise, sample_rate_hz=RATE_HZ)).all()
    with pytest.raises(ValueError, match=r"0\.2 s of sound or more are needed"):
        change(noise[1:], sample_rate_hz=RATE_HZ)
    with pytest.raises(ValueError, match=r"got shape \(10, 2\)"):
        change(np.zeros((10, 2)), sample_rate_hz=RATE_HZ)


def test_librosa_that_cannot_be_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    assert librosa_problem() == ""
    monkeypatch.setitem(sys.modules, "librosa", None)
    assert "librosa" in librosa_problem()
    broken = ModuleType("librosa")
    broken.__getattr__ = lambda name: (_ for _ in ()).throw(RuntimeError("no locator available"))
    monkeypatch.setitem(sys.modules, "librosa", broken)
    assert librosa_problem() == "no locator available"
