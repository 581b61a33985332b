"""The strength of regular strikes: trains of known mean power, swells that count for little, faint strikes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special

from acoustic.dsp.orders import impact_level
from acoustic.dsp.orders.impact_level import (
    StrikeSpectra,
    faint_powers,
    impact_power,
    plain_powers,
    strike_powers,
    wide_group,
)
from acoustic.dsp.orders.tracking import BINS_A_TURN, AngleLevels

Floats = NDArray[np.float64]
BINS = 256


def train(height: float, *, order: float = 7.0, turns: int = 12, seed: int = 3) -> Floats:
    """Noise of mean 1 with pulses two bins long; their mean power is height x 2 x order / 256."""
    bins = 1 + 0.1 * np.random.default_rng(seed).standard_normal(turns * BINS)
    at = (np.arange(0.2, order * turns - 1) / order * BINS).astype(int)
    bins[at] += height
    bins[at + 1] += height
    return bins


def test_the_numbers_that_verdicts_rest_on() -> None:
    assert (impact_level.MOST, impact_level.DROPPED, impact_level.FALLING_OFF) == (10, 0.3, 2.4)
    assert impact_level.WIDE_HZ == (700.0, 7500.0)


@pytest.mark.parametrize("mean_power", [0.2, 1.0, 5.0])
def test_a_train_of_mean_power(mean_power: float) -> None:
    """By hand: a train of mean P has Fourier coefficients near P at every low harmonic.

    The root of 2.4 makes up for coefficients that fall off, which these do not: at most 1.9 dB high, and 3 dB
    either side are asked for.
    """
    levels = train(mean_power * BINS / (2 * 7.0))
    assert abs(10 * math.log10(impact_power(levels, 7.0, turns=12.0) / mean_power)) < 3


def test_twice_the_events_twice_the_power() -> None:
    """Proportional but for the noise taken off: 2 per cent."""
    one, two = (impact_power(train(height), 7.0, turns=12.0) for height in (20.0, 40.0))
    assert two == pytest.approx(2 * one, rel=0.02)


def test_noise_alone() -> None:
    """Ten seeds of exponential noise averaged over two frames a bin: near nothing on the mean.

    By hand: variance 1/2 over 1536 independent bins puts 3.3e-4 into each, and some 2.4 of them (3
    over 12 turns, at 1/12 x 1.2 each) into a line; the root of 2.4 such is 0.044. That is what the floor takes
    off; what is left must be less than half of it.
    """
    found = []
    for seed in range(10):
        levels = np.random.default_rng(seed).exponential(size=(12 * BINS, 2)).mean(axis=1)
        found.append(impact_power(levels, 7.0, turns=12.0))
    assert min(found) >= 0
    assert np.mean(found) < 0.015
    assert max(found) < 0.03


@pytest.mark.parametrize("paces", [(1,), (1, 2), (1, 2, 3), (2, 4, 5)])
def test_swells_of_up_to_three_paces_count_for_little(paces: tuple[int, ...]) -> None:
    """By hand: three of ten harmonics are dropped, so that three cosines leave nothing but the noise."""
    angle = np.arange(12 * BINS) / BINS
    swell = sum(0.3 * np.cos(2 * np.pi * 7 * pace * angle) for pace in paces)
    assert impact_power(train(0.0) + swell, 7.0, turns=12.0) < 0.01


def test_the_lines_of_another_lift_none() -> None:
    """By hand: every third harmonic at 10.0 a turn falls on every fourth at 7.5, beside waviness at 7.5."""
    angle = np.arange(12 * BINS) / BINS
    levels = train(40.0, order=10.0) + 0.2 * np.cos(2 * np.pi * 7.5 * angle)
    both = impact_power(levels, 7.5, turns=12.0)
    alone = impact_power(levels, 7.5, turns=12.0, leave_out=10.0 * np.arange(1, 11))
    assert alone < 0.1 * impact_power(levels, 10.0, turns=12.0)
    assert alone <= both


def test_another_order_counts_for_little() -> None:
    """Events at 7 a turn, asked for at 8.3: at least 10 dB less."""
    levels = train(40.0)
    assert impact_power(levels, 8.3, turns=12.0) < 0.1 * impact_power(levels, 7.0, turns=12.0)


def test_a_compressed_strike_is_worth_what_the_notes_say() -> None:
    """scipy's exponential integral: the mean of 1 / (1 + N) for exponential N of mean 1 is e E1(1)."""
    assert math.e * special.exp1(1.0) == pytest.approx(0.596, abs=5e-4)


def test_faint_strikes_are_measured_where_talk_cannot_drown_them() -> None:
    """Strikes that add 5 to exponential noise of mean 1, in one bin of 36.6: a mean power of -8.6 dB.

    Twelve bins of 200, as syllables leave, hide them in the plain levels: by hand 200 sqrt(12) / 3072 =
    0.23 in every coefficient, against 0.14. On the compressed ones a strike is worth the mean of
    ln(6 + N) - ln(1 + N), 1.93 - 0.60 = 1.33, which 0.596 turns to 2.2 of its 5: 3.5 dB low, but there.
    """
    rng = np.random.default_rng(5)
    bins = rng.exponential(size=(24, 12 * BINS_A_TURN))
    at = np.round(np.arange(0.2, 12 * 7.0) / 7.0 * BINS_A_TURN).astype(int)
    bins[:, at[at < bins.shape[1]]] += 5.0
    bins[:, rng.choice(bins.shape[1], 12, replace=False)] += 200.0
    levels = AngleLevels(np.log1p(bins), bins, 12.0, np.full(24, 1000.0))
    found = strike_powers(StrikeSpectra(levels), [(0, 23)], 7.0)[0]
    assert 10 * np.log10(found) == pytest.approx(-8.6 - 3.5, abs=2.5)
    assert found == max(
        plain_powers(StrikeSpectra(levels), [(0, 23)], 7.0)[0],
        faint_powers(StrikeSpectra(levels), [(0, 23)], 7.0)[0],
    )
    assert impact_power(bins.mean(axis=0), 7.0, turns=12.0) < found


def test_the_bands_in_which_strikes_ring() -> None:
    """By hand: of 0.5, 1, 2, 4 and 8 kHz three lie between 0.7 and 7.5; of bands far below all are taken."""
    empty = np.zeros((5, 8))
    mid_hz = np.array([500.0, 1000.0, 2000.0, 4000.0, 8000.0])
    assert wide_group(AngleLevels(empty, empty.copy(), 8.0, mid_hz)) == (1, 3)
    assert wide_group(AngleLevels(empty.copy(), empty.copy(), 8.0, mid_hz / 100)) == (0, 4)
