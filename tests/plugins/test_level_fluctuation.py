"""Flicker of hiss: 1 for Gaussian noise, more for noise made of impacts, whatever the gain."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.detectors.level_fluctuation import flicker, fluctuation, follows_speed
from numpy.typing import NDArray
from scipy import stats

from acoustic.core.envelope import BandBank, band_bank

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


TIMES_S = np.linspace(0.5, SECONDS - 3.0, 200)
TURNS = 1.8 * (TIMES_S - 0.5) - 0.04 * (TIMES_S - 0.5) ** 2  # from 1.8 to 0.48 turns a second
SPEED_HZ = 1.8 - 0.08 * (TIMES_S - 0.5)
STILL = ((SECONDS - 2.5, SECONDS - 0.2),)


def crank(*, rate: int | None = None, follows: bool = True, room: float = 0.1) -> BandBank:
    """Noise, or `rate` impacts a second, as loud as the crank is fast, over a smooth room."""
    rng = np.random.default_rng(4)
    sound = gaussian(6)
    if rate is not None:
        count = rng.poisson(rate / RATE_HZ, SECONDS * RATE_HZ)
        sound = count * rng.choice([-1.0, 1.0], count.size) * np.sqrt(RATE_HZ / rate)
    at_s = np.arange(sound.size) / RATE_HZ
    pace = np.interp(at_s, TIMES_S, SPEED_HZ, left=0, right=0) if follows else 1.0
    return bank_of(sound * pace + room * gaussian(7))


def judged(bank: BandBank, *, still: tuple[tuple[float, float], ...] = STILL) -> Any:
    none = np.zeros(bank.power.shape[1], dtype=bool)
    return fluctuation(bank, TIMES_S, TURNS, still, leave_out=none)


def test_impacts_of_the_crank_stand_out_whoever_tells_the_speed() -> None:
    """1000 impacts a second in three third-octave bands about 0.7 kHz wide: by hand, a ratio near 1.7, ln 0.5;
    with and without a still part the same bands are as rough, and follow the speed."""
    bank = crank(rate=1000)
    found, alone = judged(bank), judged(bank, still=())
    assert 1.4 < found.ratio < 2.4
    assert (found.ratio, found.stands_out) == (alone.ratio, alone.stands_out)
    assert min(found.score, alone.score) > 3.5
    smooth = judged(crank())
    assert smooth.stands_out < 2.0
    assert smooth.of_crank > 5.0


def test_rain_is_not_the_crank_s() -> None:
    """The same impacts all through the recording: as rough, but neither louder with speed nor less while still."""
    found = judged(crank(rate=1000, follows=False))
    assert found.stands_out > 3.5
    assert found.of_crank < 3.0
    assert found.score < 3.0


def test_a_steady_speed_tells_nothing_by_itself() -> None:
    bank, none = crank(rate=1000), np.zeros(SECONDS * 1000, dtype=bool)
    assert follows_speed(bank, slice(9, 12), TIMES_S, 1.2 * TIMES_S, leave_out=none) is None
    assert fluctuation(bank, TIMES_S, 1.2 * TIMES_S, (), leave_out=none).of_crank is None


def test_a_level_that_goes_with_the_speed_is_told_by_the_correlation() -> None:
    """Against scipy's: t = r sqrt((n - 2) / (1 - r^2)) of the same levels has its very p."""
    bank = crank(room=3.0)
    none = np.zeros(bank.power.shape[1], dtype=bool)
    t = follows_speed(bank, slice(12, 13), TIMES_S, TURNS, leave_out=none)
    edges = np.searchsorted(bank.times_s, np.arange(TIMES_S[0], TIMES_S[-1], 0.5))
    level = [np.log(np.median(bank.power[12, a:b])) for a, b in pairwise(edges)]
    speed = [np.log(np.interp(bank.times_s[a:b].mean(), TIMES_S, SPEED_HZ)) for a, b in pairwise(edges)]
    theirs = stats.pearsonr(level, speed, alternative="greater").pvalue
    assert stats.t.sf(t, len(level) - 2) == pytest.approx(theirs, rel=0.05)
