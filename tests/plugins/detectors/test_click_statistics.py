"""Clicks that keep a rhythm, or follow the crank, or are more than chance brings; beside scipy."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from acoustic_plugins.detectors.click_statistics import (
    IN_STEP,
    follows_crank,
    keeps_pace,
    more_than_expected,
    off_rhythm,
    rhythm,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

QUICK = settings(max_examples=50, deadline=None, derandomize=True)


class TestRhythm:
    @pytest.mark.parametrize("order", [0.9, 5.3, 12.7])
    def test_a_steady_beat(self, order: float) -> None:
        """Twenty turns of clicks with a jitter of 2 per cent of the interval.

        The order is found on a grid of 0.2/20 turns; jitter adds 0.02/(order turns sqrt(n)), less.
        By hand: R^2/n = n exp(-(2 pi 0.02)^2) = 0.984 n, against scipy's circular variance.
        """
        rng = np.random.default_rng(1)
        turns = (np.arange(0.4, 20 * order) + 0.02 * rng.standard_normal(math.ceil(20 * order - 0.4))) / order
        found, chance, offset = rhythm(turns)
        assert found == pytest.approx(order, abs=0.011)
        assert offset.shape == turns.shape
        assert offset.max() < 0.2
        length = 1 - stats.circvar(2 * np.pi * found * turns)
        rayleigh = turns.size * length**2
        assert rayleigh > 0.8 * turns.size
        # at least one order was tried, and no more than a few for each independent one (16 orders x 20 turns)
        assert math.exp(-rayleigh) < chance < 3 * 16 * 20 * math.exp(-rayleigh)

    def test_offsets_against_scipys_circular_mean(self) -> None:
        """Off the mean direction of the clicks within reach: distance on the circle / 2 pi."""
        rng = np.random.default_rng(2)
        turns = np.sort(np.concatenate([np.arange(40) / 4.0, rng.uniform(0, 10, 6)]))
        found, _, offset = rhythm(turns)
        angle = 2 * np.pi * found * turns
        train = np.abs((turns * 4 + 0.5) % 1 - 0.5) <= 0.05
        assert train.sum() >= 40
        apart = np.angle(np.exp(1j * (angle - stats.circmean(angle[offset <= IN_STEP]))))
        assert offset == pytest.approx(np.abs(apart) / (2 * np.pi), abs=2e-3)
        assert offset[train].max() < 0.1

    def test_both_strikes_of_a_spall_are_parted(self) -> None:
        """Met where it begins and again a third of the interval later: the mean would lie between the two."""
        begins = np.arange(40) / 4.0
        turns = np.sort(np.concatenate([begins, begins + 1 / 12]))
        first = off_rhythm(turns, 4.0) <= IN_STEP
        assert first.sum() == 40
        assert np.all(off_rhythm(turns[~first], 4.0) < 1e-9)
        assert keeps_pace(turns[~first], 4.0) == pytest.approx(math.exp(-40))

    def test_the_test_of_one_order_is_rayleighs(self) -> None:
        """Of 2000 sets of ten angles at random one in ten falls below 0.1: 157 to 246 (binomial, 1 in 1000)."""
        sets = np.random.default_rng(5).uniform(0, 10, (2000, 10))
        below = sum(keeps_pace(turns, 4.0) < 0.1 for turns in sets)
        assert 157 <= below <= 246
        assert keeps_pace(np.zeros(0), 4.0) == 1.0

    @pytest.mark.parametrize("clicks", [8, 20, 60])
    def test_random_angles_keep_no_beat(self, clicks: int) -> None:
        """200 sets at random: chances below 0.05 come in ten; 22 or more in 3 of 10 000 (binomial).

        The test may be cautious, so there is no lower bound but that chances are chances.
        """
        chances = [rhythm(np.sort(np.random.default_rng(s).uniform(0, 9, clicks)))[1] for s in range(200)]
        assert stats.binom.sf(21, 200, 0.05) < 5e-4
        assert sum(chance < 0.05 for chance in chances) <= 21
        assert 0 <= min(chances) <= max(chances) <= 1

    @given(late=st.floats(-100.0, 100.0))
    @QUICK
    def test_where_counting_starts_does_not_matter(self, late: float) -> None:
        """Phases of 1e2 turns x 16 lose 3 of 16 digits."""
        turns = np.sort(np.random.default_rng(3).uniform(0, 8, 25))
        plain, moved = rhythm(turns), rhythm(turns + late)
        assert moved[0] == pytest.approx(plain[0], rel=1e-9)
        assert moved[1] == pytest.approx(plain[1], rel=1e-6, abs=1e-12)

    def test_five_are_too_few(self) -> None:
        order, chance, offset = rhythm(np.arange(5.0))
        assert (order, chance) == (0.0, 1.0)
        assert np.array_equal(offset, np.full(5, 0.5))


class TestFollowsCrank:
    # speed falls from 1.5 to 0.5 turns a second in one second: turns = 1.5 t - t^2/2, one in all
    TIMES_S = np.linspace(0, 1, 1001)
    TURNS = 1.5 * TIMES_S - TIMES_S**2 / 2

    def test_evenly_in_angle(self) -> None:
        """By hand: the mean over angle of ln w is the integral of w ln w from 0.5 to 1.5.

        (w^2/2 ln w - w^2/4) gives 0.456148 - 0.5625 + 0.086643 + 0.0625 = 0.042791 a click.
        Midpoints of 1000 equal parts: 1e-3 of it, the end points of the speed a little more.
        """
        angles = (np.arange(1000) + 0.5) / 1000
        clicks_s = np.interp(angles, self.TURNS, self.TIMES_S)
        odds = follows_crank(clicks_s, self.TIMES_S, self.TURNS)
        assert odds / 1000 == pytest.approx(0.042791, rel=0.01)

    def test_evenly_in_time(self) -> None:
        """By hand: the mean over time, w ln w - w from 0.5 to 1.5: -0.891802 + 0.846574 = -0.045229."""
        clicks_s = (np.arange(1000) + 0.5) / 1000
        odds = follows_crank(clicks_s, self.TIMES_S, self.TURNS)
        assert odds / 1000 == pytest.approx(-0.045229, rel=0.01)

    def test_a_steady_crank_tells_nothing(self) -> None:
        assert follows_crank(np.array([0.1, 0.5]), self.TIMES_S, 2 * self.TIMES_S) == pytest.approx(0, abs=1e-9)
        assert follows_crank(np.empty(0), self.TIMES_S, self.TURNS) == 0.0


class TestMoreThanExpected:
    @given(
        count=st.integers(0, 200),
        duration_s=st.floats(0.5, 60.0),
        quiet_count=st.integers(0, 100),
        quiet_s=st.one_of(st.just(0.0), st.floats(0.1, 60.0)),
    )
    @QUICK
    def test_against_scipys_binomial_test(
        self, count: int, duration_s: float, quiet_count: int, quiet_s: float
    ) -> None:
        """Of so many clicks, how many fall into the turning part: scipy's exact binomial test, 1e-9 or better."""
        chance = more_than_expected(count, duration_s, quiet_count, quiet_s)
        if count == 0 or quiet_s == 0:
            assert chance == 1.0
            return
        share = duration_s / (duration_s + quiet_s)
        theirs = stats.binomtest(count, count + quiet_count, share, alternative="greater").pvalue
        assert chance == pytest.approx(theirs, rel=1e-7, abs=1e-250)

    def test_without_a_still_part_nothing_is_expected(self) -> None:
        assert more_than_expected(50, 8.0, 0, 0.0) == 1.0

    def test_monotone(self) -> None:
        chances = [more_than_expected(k, 8.0, 1, 2.0) for k in range(40)]
        assert chances[0] == 1.0
        assert all(later < earlier for earlier, later in pairwise(chances))
        assert more_than_expected(10, 8.0, 5, 2.0) > more_than_expected(10, 8.0, 0, 2.0)
        assert more_than_expected(10, 8.0, 0, 5.0) < more_than_expected(10, 8.0, 0, 1.0)

    def test_parts_of_a_click_do_not_count(self) -> None:
        """Counts corrected for what a beat hides are no whole numbers: they are taken down, never up."""
        assert more_than_expected(0.9, 8.0, 0, 2.0) == 1.0
        assert more_than_expected(7.9, 8.0, 0, 2.0) == more_than_expected(7, 8.0, 0, 2.0)
