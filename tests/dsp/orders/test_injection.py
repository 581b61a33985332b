"""Test defects: as strong as asked for, at the pace asked for, and nothing else changed."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.orders.impact_level import StrikeSpectra, plain_powers, strike_powers, wide_group
from acoustic.dsp.orders.injection import StruckRing, with_test_defect, with_test_strikes
from acoustic.dsp.orders.tracking import BINS_A_TURN, AngleLevels, angle_levels

Floats = NDArray[np.float64]
BANDS_HZ = 1000.0 * 10 ** (np.arange(-5, 13) / 10)
TURNS = 12
OUTER = StruckRing(order=7.1, balls=16, turns_with_crank=False)
INNER = StruckRing(order=8.9, balls=16, turns_with_crank=True)


def quiet(seed: int = 1) -> AngleLevels:
    """Gaussian noise alone: exponential power over its own mean, one frame a cell."""
    ratio = np.random.default_rng(seed).exponential(size=(BANDS_HZ.size, TURNS * BINS_A_TURN))
    return AngleLevels(np.log1p(ratio), ratio.copy(), float(TURNS), BANDS_HZ)


@pytest.mark.parametrize("ring", [OUTER, INNER], ids=["outer", "inner"])
@pytest.mark.parametrize("severity_db", [-16.0, -6.0, 6.0])
def test_the_power_is_the_one_asked_for(ring: StruckRing, severity_db: float) -> None:
    """The plain levels' mean rises by just that much, over the bands that strikes ring and nowhere else."""
    before = quiet()
    after = with_test_defect(before, ring, severity_db, np.random.default_rng(3))
    first, last = wide_group(before)
    added = (after.plain - before.plain).mean(axis=1)
    assert added[first : last + 1].mean() == pytest.approx(10 ** (severity_db / 10))
    outside = np.delete(added, np.s_[first : last + 1])
    assert outside == pytest.approx(np.zeros(outside.size), abs=1e-12)


@pytest.mark.parametrize("ring", [OUTER, INNER], ids=["outer", "inner"])
def test_severity_reads_it_back(ring: StruckRing) -> None:
    """`strike_powers` of twenty such trains: two to three dB less than what was put in, each within half a dB.

    It is read off harmonics, which slip from strike to strike smears and which an answer's length lets fall off.
    """
    read_db = []
    for seed in range(20):
        levels = with_test_defect(quiet(seed), ring, 0.0, np.random.default_rng(seed))
        tried = ring.order * np.linspace(0.985, 1.015, 61)
        read_db.append(
            10
            * np.log10(
                max(strike_powers(StrikeSpectra(levels), [wide_group(levels)], order)[0] for order in tried)
            )
        )
    assert np.mean(read_db) == pytest.approx(-2.5, abs=0.6)
    assert np.max(np.abs(read_db - np.mean(read_db))) < 0.5


def test_it_strikes_at_its_own_pace_alone() -> None:
    """At an order where nothing strikes the levels hold a hundredth of the power."""
    levels = with_test_defect(quiet(), OUTER, 0.0, np.random.default_rng(4))
    at = max(
        plain_powers(StrikeSpectra(levels), [wide_group(levels)], 7.1 * share)[0]
        for share in np.linspace(0.985, 1.015, 61)
    )
    assert plain_powers(StrikeSpectra(levels), [wide_group(levels)], 5.3)[0] < at / 10


def test_a_log_level_rises_by_what_the_power_makes_of_it() -> None:
    """By hand: ln(1 + r + x) where each cell holds one frame, as here."""
    before = quiet()
    after = with_test_defect(before, OUTER, 0.0, np.random.default_rng(5))
    assert after.compressed == pytest.approx(np.log1p(after.plain))


def test_draws_are_repeatable_and_differ() -> None:
    one, same, other = (
        with_test_defect(quiet(), OUTER, 0.0, np.random.default_rng(seed)).plain for seed in (1, 1, 2)
    )
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)


def test_few_bands() -> None:
    """Where none of them lies in the usual range all are rung."""
    low = AngleLevels(np.ones((2, 2560)), np.ones((2, 2560)), 10.0, np.array([200.0, 250.0]))
    after = with_test_defect(low, OUTER, -3.0, np.random.default_rng(1))
    assert (after.plain - 1).mean() == pytest.approx(10**-0.3)


def test_in_time_as_in_angle() -> None:
    """The same strikes put into the bank and read in angle: as strong, at the true pace while the crank slows."""
    rng = np.random.default_rng(7)
    bank = BandBank(BANDS_HZ, rng.exponential(size=(BANDS_HZ.size, 12_000)), 0.001, 0.0005)
    times_s = np.linspace(1.0, 11.0, 400)
    turns = 2.0 * (times_s - 1.0) - 0.08 * (times_s - 1.0) ** 2
    struck = with_test_strikes(bank, times_s, turns, OUTER, 3.0, np.random.default_rng(8))
    changed = np.any(struck.power != bank.power, axis=0)
    assert not changed[struck.times_s < 0.99].any() and changed[bank.frames_between(1.2, 10.8)].mean() > 0.1
    levels = angle_levels(struck, times_s, turns, blank_s=np.empty(0))
    read = max(
        strike_powers(StrikeSpectra(levels), [wide_group(levels)], 7.1 * share)[0]
        for share in np.linspace(0.985, 1.015, 61)
    )
    assert 10 * np.log10(read) == pytest.approx(3.0 - 2.5, abs=1.0)
