"""Flicker of hiss: 1 for Gaussian noise, more for noise made of impacts, whatever the gain."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.core.envelope import BandBank, band_bank
from acoustic.core.roughness import flicker

Floats = NDArray[np.float64]
RATE_HZ = 48000
SECONDS = 20
WIDE_FROM_HZ = 950.0  # from the 1 kHz band up a block of 8 ms holds two or more independent samples


def bank_of(sound: Floats) -> BandBank:
    return band_bank(sound, sample_rate_hz=RATE_HZ, top_hz=18000.0)


@cache
def gaussian(seed: int) -> Floats:
    return np.random.default_rng(seed).standard_normal(SECONDS * RATE_HZ)


@cache
def gaussian_bank(seed: int) -> BandBank:
    return bank_of(gaussian(seed))


def whole(bank: BandBank, *, leave_out: NDArray[np.bool_] | None = None) -> Floats:
    out = np.zeros(bank.power.shape[1], dtype=bool) if leave_out is None else leave_out
    return flicker(bank, 0.2, SECONDS - 0.2, leave_out=out)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_gaussian_noise_flickers_by_one(seed: int) -> None:
    """By hand: 2448 overlapping differences; the quantile q = 0.3 of |x| at 0.3853, density 0.741.

    Its spread is sqrt(0.3 x 0.7 / 2448)/0.741 = 0.0125, 3.2 per cent, so 6.5 per cent of the
    square and about 8 for differences that share blocks: four of those. The law of trigamma(B T) + 1/2
    itself is an approximation that reads a tenth low where B T is 2.
    Below 1 kHz a block holds less than two independent samples; it must read low there, never high.
    """
    bank = gaussian_bank(seed)
    found = whole(bank)
    wide = bank.mid_hz >= WIDE_FROM_HZ
    assert np.all(np.abs(found[wide] - 0.95) < 0.32)
    assert found[wide].mean() == pytest.approx(0.95, abs=0.08)
    assert np.all(found[~wide] < 1.15)
    assert np.all(found > 0)


@pytest.mark.parametrize("rate", [1000, 3000])
def test_impacts_flicker_by_theory(rate: int) -> None:
    """By hand: N unit impacts a second. Over a time T their number varies by 1/(N T), their
    interference by 1/(B T): together 1 + B/N times what Gaussian noise of the same band shows.

    At 1000 a second that is 3.3 at 10 kHz and 4.7 at 16. The logarithm of so skewed a level and
    the quantile make it no exact law: a fifth in each band, a tenth over them.
    """
    rng = np.random.default_rng(9)
    count = rng.poisson(rate / RATE_HZ, SECONDS * RATE_HZ)
    bank = bank_of(count * rng.choice([-1.0, 1.0], count.size))
    found = whole(bank)
    width_hz = bank.mid_hz * (10**0.05 - 10**-0.05)
    high = bank.mid_hz > 6000
    expected = 1 + width_hz[high] / rate
    assert found[high] == pytest.approx(expected, rel=0.2)
    assert (found[high] / expected).mean() == pytest.approx(1, abs=0.1)
    assert np.all(found[high] > whole(gaussian_bank(0))[high] * 1.2)


@pytest.mark.parametrize("gain", [0.03, 5.0])
def test_gain_does_not_matter(gain: float, louder: Callable[..., BandBank]) -> None:
    """Rounding alone."""
    bank = gaussian_bank(0)
    assert whole(louder(bank, gain)) == pytest.approx(whole(bank), rel=1e-6)


def test_slow_changes_do_not_matter() -> None:
    """Level falling by 26 dB in 20 s: 0.005 nepers of power in the 16 ms between the two blocks, where
    noise alone spreads by 0.3 and more. The same noise, so the two agree to a few per cent."""
    fading = gaussian(1) * np.exp(np.linspace(0, -3, gaussian(1).size))
    assert whole(bank_of(fading)) == pytest.approx(whole(gaussian_bank(1)), rel=0.05)


def test_what_is_left_out_does_not_count() -> None:
    """Forty bursts a second, each 8 ms of 20 dB: left in, they lift every band; left out, they do not.

    Two blocks in three go with them, so the estimate is sure to 15 per cent only.
    """
    rng = np.random.default_rng(3)
    sound = gaussian(2).copy()
    bursts = np.zeros(sound.size, dtype=bool)
    for start in rng.integers(0, sound.size - 400, 40 * SECONDS):
        bursts[start : start + 384] = True
    sound[bursts] *= 10
    bank = bank_of(sound)
    frames = bursts.reshape(-1, 48).any(axis=1)
    spread = np.convolve(frames, np.ones(9), mode="same") > 0.5  # and the ring of the filters, 4 ms
    wide = bank.mid_hz >= WIDE_FROM_HZ
    assert np.all(whole(bank)[wide] > 3)
    assert np.all(np.abs(whole(bank, leave_out=spread)[wide] - 0.95) < 0.6)


def test_too_little_is_no_number() -> None:
    """30 blocks of 8 ms are 0.24 s; and all but nothing left out leaves fewer than 30, too."""
    bank = gaussian_bank(0)
    none = np.zeros(bank.power.shape[1], dtype=bool)
    assert np.all(np.isnan(flicker(bank, 1.0, 1.23, leave_out=none)))
    assert np.all(np.isfinite(flicker(bank, 1.0, 1.3, leave_out=none)))
    most = ~none
    most[:100] = False
    assert np.all(np.isnan(flicker(bank, 0.0, 10.0, leave_out=most)))
    assert np.all(np.isnan(flicker(bank, 90.0, 91.0, leave_out=none)))
