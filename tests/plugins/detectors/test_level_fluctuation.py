"""Flicker of hiss: 1 for Gaussian noise, more for noise made of impacts, whatever the gain."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.detectors.level_fluctuation import QUANTILE, Listened, _smooth_change, flicker, fluctuation
from numpy.typing import NDArray
from scipy import special

from acoustic.dsp.levels.filterbank import BandBank, band_bank

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
def test_gain_does_not_matter(gain: float) -> None:
    """Rounding alone."""
    bank = gaussian_bank(0)
    louder = replace(bank, power=bank.power * gain**2)
    assert whole(louder) == pytest.approx(whole(bank), rel=1e-6)


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


STILL = ((0.2, 1.0), (SECONDS - 2.5, SECONDS - 0.2))
TURNING = (1.2, SECONDS - 3.0)


def crank(*, rate: int | None = None, all_along: bool = False) -> BandBank:
    """Noise, or `rate` impacts a second, that fade as the crank slows and stop with it, over a smooth room."""
    rng = np.random.default_rng(4)
    sound = gaussian(6)
    if rate is not None:
        count = rng.poisson(rate / RATE_HZ, SECONDS * RATE_HZ)
        sound = count * rng.choice([-1.0, 1.0], count.size) * np.sqrt(RATE_HZ / rate)
    pace = np.interp(np.arange(sound.size) / RATE_HZ, TURNING, (1.8, 0.5), left=0, right=0)
    return bank_of(sound * (1.0 if all_along else pace) + 0.1 * gaussian(7))


def judged(bank: BandBank, still: tuple[tuple[float, float], ...] = STILL) -> Any:
    none = np.zeros(bank.power.shape[1], dtype=bool)
    return fluctuation(Listened(bank, *TURNING, none), [Listened(bank, *part, none) for part in still])


def test_impacts_of_the_crank_stand_out() -> None:
    """1000 impacts a second in three third-octave bands about 0.7 kHz wide: by hand, a ratio near 1.7."""
    found = judged(crank(rate=1000))
    assert 1.4 < found.ratio < 2.4
    assert found.score > 3.5
    assert judged(crank()).score < 2.0


def test_rain_is_not_the_crank_s() -> None:
    """The same impacts all through the recording: as rough, and the still parts are so too."""
    found = judged(crank(rate=1000, all_along=True))
    assert found.stands_out > 3.5
    assert found.of_crank == pytest.approx(0, abs=2.0)
    assert found.score < 2.5


def test_without_a_still_part_nobody_tells_whose_it_is() -> None:
    """Half a second has a standard error of 0.29, and less tells nothing (by hand: the root of 5.15/62)."""
    found = judged(crank(rate=1000), still=())
    assert found.of_crank is None
    assert found.score == found.stands_out
    assert judged(crank(rate=1000), still=((0.2, 0.65),)).of_crank is None
    assert judged(crank(rate=1000), still=((0.2, 0.8),)).of_crank is not None


def test_the_room_may_be_recorded_apart_and_silence_tells_nothing() -> None:
    """Rain from another file is as rough; a gate's digital silence is no smoother than hiss in narrow bands."""
    bank = crank(rate=1000)
    none = np.zeros(bank.power.shape[1], dtype=bool)
    turning = Listened(bank, *TURNING, none)
    rain = Listened(crank(rate=1000, all_along=True), 0.0, 10.0, none)
    assert fluctuation(turning, [rain]).score < 2.5  # type: ignore[union-attr]
    silent = replace(bank, power=np.full_like(bank.power, 1e-12))
    told = fluctuation(turning, [Listened(silent, 0.0, 2.0, none)])
    assert told is not None and told.of_crank is not None
    assert told.of_crank < 15


def test_the_change_of_a_gamma_level_is_scipys() -> None:
    width_hz, block_s = np.array([20.0, 200.0, 4000.0]), 0.008
    shape = width_hz * block_s + 0.5
    share = special.betaincinv(shape, shape, (1 + QUANTILE) / 2)
    alike = np.sinc(2 * block_s * width_hz) ** 2
    assert _smooth_change(width_hz, block_s) == pytest.approx(
        np.log(share / (1 - share)) * np.sqrt(1 - alike), rel=2e-6
    )
