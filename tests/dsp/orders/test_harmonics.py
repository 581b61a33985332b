"""Sets of harmonics: their scores by hand, the two that are left out, sidebands, priors and places for luck."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from planted import flat, noisy, train
from scipy import special, stats

from acoustic.dsp.orders import harmonics
from acoustic.dsp.orders.harmonics import HarmonicSet, LineEvidence, bases_about, log_prior, log_sum, null_centres
from acoustic.dsp.orders.likelihood import line_tables, table_index

QUICK = settings(max_examples=40, deadline=None, derandomize=True)


def table(power: float) -> np.ndarray:
    """Nats of a main line by class."""
    return line_tables().main[:, table_index(np.array([power]))[0]].astype(float)


def at(order: float) -> np.ndarray:
    return np.array([order])


def test_the_numbers_that_verdicts_rest_on() -> None:
    assert (harmonics.HARMONICS, harmonics.TRIMMED) == (10, 2)
    assert (harmonics.BASES_A_LINE, harmonics.REACH) == (1.5, 2.6)
    usual = HarmonicSet(name="outer_raceway", order=7.0)
    assert usual.multiples == (1, 2, 3, 4, 5, 6, 7, 8, 9, 10)
    assert (usual.spread, usual.tried, usual.locked, usual.whole, usual.with_cage) == (0.005, 1, *[False] * 3)


class TestScores:
    def test_ten_lines_by_hand(self) -> None:
        """Ten lines of 60 in one of two rows: the mean over classes and rows of ten times the table.

        Single precision in sums of some tens of nats: 1e-5.
        """
        scores = LineEvidence(flat(train(7.0, 60.0), row=1)).scores(at(7.0))
        lines, none = 10 * table(60.0), 10 * table(1.0)
        assert scores.whole[0] == pytest.approx(special.logsumexp([*lines, *none]) - math.log(8), rel=1e-5)
        assert scores.trimmed[0] == pytest.approx(
            special.logsumexp([*(0.8 * lines), *(10 * table(1.0) - 2 * table(1.0))]) - math.log(8), rel=1e-5
        )
        assert scores.clearest(0) == (1, 10)

    def test_two_lines_are_a_healthy_ring_s(self) -> None:
        """Waviness raises a line or two, however high: less those, the other eight speak against."""
        scores = LineEvidence(flat(train(7.0, 1e4, harmonics=(1, 2)))).scores(at(7.0))
        bare = LineEvidence(flat({})).scores(at(7.0))
        assert scores.trimmed[0] < 0
        assert scores.trimmed[0] - bare.trimmed[0] < 0.5, "and no more than where there is no line at all"
        assert scores.clearest(0)[1] == 2

    def test_lines_past_the_highest_order_are_not_known(self) -> None:
        """By hand: of ten harmonics of 20 five lie below 116; the other five are worth no nats."""
        scores = LineEvidence(flat(train(20.0, 60.0, harmonics=range(1, 6)))).scores(at(20.0))
        expected = special.logsumexp([*(5 * table(60.0)), *(5 * table(1.0))]) - math.log(8)
        assert scores.whole[0] == pytest.approx(expected, rel=1e-5)

    @pytest.mark.parametrize("sign", [1, -1])
    def test_a_modulated_train_scores_more_where_sidebands_are_looked_for(self, sign: int) -> None:
        lines = train(8.9, 30.0) | {8.9 * k + sign: 12.0 for k in range(1, 11)}
        evidence = LineEvidence(flat(lines))
        bare, modulated, other = (
            float(evidence.scores(at(8.9), offsets).whole[0]) for offsets in ((), (1.0, -1.0), (0.44, -0.44))
        )
        assert modulated > bare + 3
        # half of the prior is the plain train's, so that what is not modulated loses ln 2 and no more
        assert bare - math.log(2) - 1e-4 <= other <= bare + 0.5

    def test_a_modulation_without_a_carrier_is_none(self) -> None:
        """Strong lines one turn beside places where nothing stands."""
        lines = {8.9 * k + side: 500.0 for k in range(1, 11) for side in (1.0, -1.0)}
        scores = LineEvidence(flat(lines)).scores(at(8.9), (1.0, -1.0))
        assert scores.whole[0] < 0

    def test_one_line_more_never_speaks_against(self) -> None:
        found = [
            float(LineEvidence(flat(train(7.0, 60.0, harmonics=range(1, n + 1)))).scores(at(7.0)).whole[0])
            for n in range(11)
        ]
        assert found == sorted(found)

    @given(seed=st.integers(0, 30))
    @QUICK
    def test_the_order_of_the_groups_does_not_matter(self, seed: int) -> None:
        spectra = noisy(train(7.1, 20.0), seed=seed)
        turned = type(spectra)(spectra.orders, spectra.power[::-1].copy(), spectra.groups[::-1], spectra.turns)
        bases = bases_about(7.1, 0.006, spectra.turns)
        one, two = (LineEvidence(which).scores(bases, (1.0, -1.0)) for which in (spectra, turned))
        assert two.whole == pytest.approx(one.whole, rel=1e-4, abs=1e-4)
        assert two.trimmed == pytest.approx(one.trimmed, rel=1e-4, abs=1e-4)
        best = int(one.whole.argmax())
        assert spectra.groups[one.clearest(best)[0]] == turned.groups[two.clearest(best)[0]]

    def test_places_do_not_depend_on_each_other(self) -> None:
        """Each base has the same score alone and among others."""
        evidence = LineEvidence(noisy(train(7.1, 20.0)))
        bases = np.array([4.0, 7.1, 9.3])
        together = evidence.scores(bases, (1.0,))
        for k, base in enumerate(bases):
            alone = evidence.scores(at(base), (1.0,))
            assert together.whole[k] == pytest.approx(alone.whole[0], rel=1e-5, abs=1e-5)
            assert together.clearest(k)[1] == alone.clearest(0)[1]

    @pytest.mark.parametrize("seed", range(3))
    def test_noise_keeps_markovs_inequality(self, seed: int) -> None:
        """A Bayes factor has the mean one where there is nothing, so that one in k at most reaches k."""
        nats = LineEvidence(noisy({}, turns=40.0, seed=seed)).scores(np.linspace(3, 11, 2000)).whole
        for factor in (2, 5, 20):
            assert np.mean(nats > math.log(factor)) <= 1 / factor
        assert np.mean(nats < 0) > 0.9


class TestPriors:
    def test_a_normal_law_that_sums_to_one(self) -> None:
        """Against scipy's normal density at the same places, made to sum to 1."""
        bases = bases_about(7.1, 0.006, 12.0)
        theirs = stats.norm.pdf(bases, loc=7.1, scale=7.1 * 0.006)
        assert np.exp(log_prior(7.1, 0.006, bases)) == pytest.approx(theirs / theirs.sum(), rel=1e-9)

    @pytest.mark.parametrize("order", [0.44, 7.1, 8.9])
    def test_the_tenth_harmonic_is_not_missed(self, order: float) -> None:
        """By hand: from one base to the next it moves by 10/15 of 1/turns at most, half a line's width."""
        bases = bases_about(order, 0.006, 12.0)
        assert np.diff(bases) == pytest.approx(np.diff(bases)[0], rel=1e-9)
        assert 10 * np.diff(bases)[0] <= 1 / 1.5 / 12 + 1e-9
        assert (bases[0], bases[-1]) == pytest.approx((order * (1 - 0.0156), order * (1 + 0.0156)), rel=1e-9)
        assert order in bases

    def test_a_higher_multiple_needs_them_denser(self) -> None:
        """By hand: half a line's width at the 22nd multiple too."""
        bases = bases_about(0.44, 0.006, 12.0, highest=22)
        assert 22 * np.diff(bases)[0] <= 1 / 1.5 / 12 + 1e-9

    def test_log_sum_against_scipy(self) -> None:
        nats = np.array([-1000.0, 3.0, 2.0, 800.0])
        assert log_sum(nats) == pytest.approx(special.logsumexp(nats), rel=1e-12)


class TestNullCentres:
    def test_clear_of_the_parts(self) -> None:
        centres = null_centres([7.1, 8.9], low=5.0, high=12.0, count=20, gap=0.02)
        assert 10 <= centres.size <= 20
        assert centres.min() >= 5 and centres.max() <= 12
        for order in (7.1, 8.9, 14.2, 17.8, 3.55, 4.45):
            assert np.abs(centres / order - 1).min() > 0.02

    def test_where_there_is_no_room_the_farthest_are_taken(self) -> None:
        centres = null_centres(np.geomspace(5, 12, 60).tolist(), low=5.0, high=12.0, count=20, gap=0.02)
        assert centres.size >= 10
        assert np.all(np.diff(centres) > 0)
