"""Combs of lines: the law of their sums, planted combs found and taken out, calibrated chances."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import special, stats

from acoustic.core.lines import (
    Backdrop,
    Comb,
    Match,
    backdrop,
    erlang_surprise,
    lines_of,
    match_comb,
    telling_runs,
    without_lines,
)
from acoustic.core.spectra import OrderSpectra, band_runs, order_spectra

Floats = NDArray[np.float64]
QUICK = settings(max_examples=40, deadline=None, derandomize=True)
CELLS = 256
TURNS = 10


def noise(seed: int, *, bands: int = 6, turns: int = TURNS) -> Floats:
    """Compressed levels of noise, independent from cell to cell and band to band."""
    return np.log1p(np.random.default_rng(seed).exponential(size=(bands, turns * CELLS)))


def spectra_of(cells: Floats, *, turns: int = TURNS) -> OrderSpectra:
    return order_spectra(cells, turns=float(turns), runs=band_runs(cells.shape[0], lowest=0))


def flat(lines: dict[float, float], *, row: int = 0) -> OrderSpectra:
    """Two runs whose power is 1 everywhere but at the lines given, order: power, in one row.

    A real line's top, 1.2/turns wide, spans some five bins; here five are equally high.
    """
    spectra = order_spectra(noise(1, bands=2), turns=float(TURNS), runs=((0, 0), (1, 1)))
    power = np.ones_like(spectra.power)
    for order, height in lines.items():
        middle = round(order / spectra.orders[1])
        power[row, middle - 2 : middle + 3] = height
    return replace(spectra, power=power, weight=power.copy())


def comb_of(order: float, height: float, harmonics: int, *sides: float) -> dict[float, float]:
    places = [
        k * order + side for k in range(1, harmonics + 1) for side in (0.0, *sides, *(-side for side in sides))
    ]
    return dict.fromkeys(places, height)


def match_at(order: float, name: str = "outer_raceway", *sidebands: float) -> Match:
    comb = Comb(name=name, order=order, sidebands=sidebands)
    return Match(comb=comb, surprise=50.0, order=order, harmonics=5, run=0, with_sidebands=False)


class TestErlangSurprise:
    @pytest.mark.parametrize("lines", [1, 2, 3, 5, 8, 24, 40])
    def test_against_scipy(self, lines: int) -> None:
        """-ln of the upper regularised incomplete gamma function, three ways of scipy's.

        Up to 500 scipy's own value is above 1e-250. Below a surprise of 0.1 digits cancel in ln Q
        near 1: 1e-12 absolute; else 1e-9 relative.
        """
        total = np.concatenate([np.linspace(0, 60, 241), [100.0, 200.0, 500.0]])
        ours = erlang_surprise(lines, total)
        assert ours == pytest.approx(-stats.gamma.logsf(total, lines), rel=1e-9, abs=1e-12)
        assert ours == pytest.approx(-np.log(special.gammaincc(lines, total)), rel=1e-9, abs=1e-12)
        assert np.exp(-ours) == pytest.approx(stats.poisson.cdf(lines - 1, total), rel=1e-9, abs=1e-300)

    @pytest.mark.parametrize("lines", [1, 2, 8, 40])
    @pytest.mark.parametrize("total", [1000, 5000, 10**6])
    def test_deep_tails_against_exact_arithmetic(self, lines: int, total: int) -> None:
        """By hand: -ln(exp(-s) sum s^j/j!) = s - ln(sum), the sum here in whole fractions.

        exp(-1000) is no double precision number any more, so scipy cannot serve. Rounding, 1e-12.
        """
        summed = sum(Fraction(total**j, math.factorial(j)) for j in range(lines))
        exact = total - (math.log(summed.numerator) - math.log(summed.denominator))
        assert float(erlang_surprise(lines, np.array([float(total)]))[0]) == pytest.approx(exact, rel=1e-12)

    def test_by_hand(self) -> None:
        """One line: s itself. Two: s - ln(1 + s), for s = 3 that is 1.61371. Nothing: no surprise."""
        assert erlang_surprise(1, np.array([0.0, 3.0, 800.0])) == pytest.approx([0, 3, 800], rel=1e-12)
        assert erlang_surprise(2, np.array([3.0])) == pytest.approx([1.61371], abs=5e-6)
        assert np.all(erlang_surprise(8, np.zeros((2, 3))) == 0)

    @given(lines=st.integers(1, 40), low=st.floats(0, 500), more=st.floats(0, 500))
    @QUICK
    def test_more_power_surprises_more_and_more_lines_less(self, lines: int, low: float, more: float) -> None:
        lower, higher = erlang_surprise(lines, np.array([low, low + more]))
        assert lower <= higher + 1e-9
        assert erlang_surprise(lines + 1, np.array([low]))[0] <= lower + 1e-9


class TestMatchComb:
    @pytest.mark.parametrize("order", [6.9, 7.0, 7.12])
    def test_a_planted_comb_by_hand(self, order: float) -> None:
        """Eight lines of 30 in the second run, within 2 per cent of 7: all of the sum and no more.

        Five bins are equally high, so the eighth harmonic places the order to 2.5 steps / 8.
        """
        spectra = flat(comb_of(order, 30.0, 8), row=1)
        match = match_comb(spectra, Comb(name="outer_raceway", order=7.0, tolerance=0.02))
        assert match.surprise == pytest.approx(-stats.gamma.logsf(240, 8), rel=1e-9)
        assert (match.harmonics, match.run, match.with_sidebands) == (8, 1, False)
        assert match.order == pytest.approx(order, abs=2.6 * spectra.orders[1] / 8)
        assert match.comb.order == 7.0

    @pytest.mark.parametrize("planted", [2, 3, 5, 8])
    def test_the_number_of_harmonics(self, planted: int) -> None:
        """By hand, lines of 60 over 1: two make 120 - ln 121 = 115.2, and a third of 1 would make
        121 - ln(1 + 121 + 7320.5) = 112.1: as many are summed as stand out."""
        match = match_comb(flat(comb_of(7.0, 60.0, planted)), Comb(name="outer_raceway", order=7.0))
        assert match.harmonics == planted
        assert match.surprise == pytest.approx(-stats.gamma.logsf(60.0 * planted, planted), rel=1e-9)
        if planted == 2:
            assert match.surprise == pytest.approx(120 - math.log(121), rel=1e-9)

    def test_sidebands(self) -> None:
        """Lines of 6 with sidebands of 6 a turn away: 24 lines of 6 beat eight of 6, and the comb says so."""
        lines = comb_of(8.9, 6.0, 8, 1.0)
        with_sides = match_comb(flat(lines), Comb(name="inner_raceway", order=8.9, sidebands=(1.0,)))
        without = match_comb(flat(lines), Comb(name="inner_raceway", order=8.9))
        assert with_sides.with_sidebands
        assert not without.with_sidebands
        assert with_sides.surprise == pytest.approx(-stats.gamma.logsf(24 * 6, 24), rel=1e-9)
        assert without.surprise == pytest.approx(-stats.gamma.logsf(8 * 6, 8), rel=1e-9)

    def test_bare_lines_do_not_pay_for_absent_sidebands(self) -> None:
        match = match_comb(flat(comb_of(8.9, 20.0, 8)), Comb(name="inner_raceway", order=8.9, sidebands=(1.0,)))
        assert not match.with_sidebands

    def test_lines_past_the_tolerance_are_not_found(self) -> None:
        """7 per cent off, no harmonic of 7.0 meets a line within 2 per cent: two ones make 2 - ln 3 = 0.90."""
        match = match_comb(flat(comb_of(7.5, 60.0, 3)), Comb(name="outer_raceway", order=7.0, tolerance=0.02))
        assert match.surprise < 0.91

    @pytest.mark.parametrize("seed", [1, 2, 3])
    def test_a_train_of_pulses_in_noise(self, seed: int) -> None:
        """Pulses one cell long at 7.13 a turn, four times the noise's mean, in two of six bands.

        The eighth harmonic places the order to a third of 1.2/(8 turns): 0.005.
        """
        cells = np.random.default_rng(seed).exponential(size=(6, TURNS * CELLS))
        at = (np.arange(0.2, 7.13 * TURNS) / 7.13 * CELLS).astype(int)
        cells[3:5, at[at < cells.shape[1]]] += 4
        spectra = spectra_of(np.log1p(cells))
        match = match_comb(spectra, Comb(name="outer_raceway", order=7.05, tolerance=0.018))
        assert match.order == pytest.approx(7.13, abs=0.005)
        assert spectra.runs[match.run][0] <= 4
        assert spectra.runs[match.run][1] >= 3
        assert match.surprise > 30


class TestTellingRuns:
    def test_by_hand(self) -> None:
        """Five lines of 30 in one run, of 25 in the other: -ln Q(5, 150) = 133.1 and -ln Q(5, 125) = 108.8,
        0.82 of it, so both speak at 0.7 and one at 0.9."""
        spectra = flat(comb_of(7.0, 30.0, 5), row=1)
        power = spectra.power.copy()
        power[0] = np.where(power[1] == 30, 25.0, 1.0)
        both = replace(spectra, power=power, weight=power.copy())
        match = match_comb(both, Comb(name="outer_raceway", order=7.0))
        share = stats.gamma.logsf(125, 5) / stats.gamma.logsf(150, 5)
        assert 0.75 < share < 0.85
        assert telling_runs(both, match, least_share=0.7) == [1, 0]
        assert telling_runs(both, match, least_share=0.9) == [1]
        assert telling_runs(both, match, least_share=0.7, most=1) == [1]


class TestWithoutLines:
    def test_a_comb_taken_out_is_gone(self) -> None:
        spectra = flat(comb_of(7.0, 60.0, 8))
        comb = Comb(name="outer_raceway", order=7.0)
        assert match_comb(spectra, comb).surprise > 400
        rest = without_lines(spectra, 7.0 * np.arange(1, 15), smear=0.004)
        # what is put there is noise, in which the best of a search of this size stays below 20
        assert match_comb(rest, comb).surprise < 20

    def test_a_train_taken_out_leaves_what_noise_leaves(self) -> None:
        """The same search after removal scores as in the noise the train was planted in.

        The best of some hundred searches of exponential sums has a spread of about 1.3; 5 either
        side is four of those, and the train itself scored ten times as high.
        """
        cells = np.random.default_rng(5).exponential(size=(6, TURNS * CELLS))
        comb = Comb(name="outer_raceway", order=7.0)
        plain = match_comb(spectra_of(np.log1p(cells)), comb).surprise
        at = (np.arange(0.2, 7.0 * TURNS) / 7.0 * CELLS).astype(int)
        cells[:, at] += 6
        spectra = spectra_of(np.log1p(cells))
        rest = without_lines(spectra, 7.0 * np.arange(1, 15), smear=0.004)
        assert match_comb(spectra, comb).surprise > 100
        assert match_comb(rest, comb).surprise == pytest.approx(plain, abs=5)

    def test_only_the_lines_are_touched(self) -> None:
        """By hand: at 10 turns a line of 20 with a smear of 1 per cent reaches 0.16 + 0.2 either side."""
        spectra = flat({20.0: 9.0, 20.3: 9.0, 20.45: 9.0, 19.7: 9.0, 19.55: 9.0})
        rest = without_lines(spectra, np.array([20.0]), smear=0.01)
        changed = spectra.orders[np.any(rest.power != spectra.power, axis=0)]
        step = spectra.orders[1]
        assert changed.min() == pytest.approx(20 - 0.36, abs=2 * step)
        assert changed.max() == pytest.approx(20 + 0.36, abs=2 * step)
        assert rest.power[0, round(20.45 / step)] == 9
        assert rest.power[0, round(20.3 / step)] < 9
        narrow = without_lines(spectra, np.array([20.0]), smear=0.0, half=0.05)
        assert narrow.power[0, round(20.3 / step)] == 9
        assert spectra.power[0, round(20.0 / step)] == 9  # the given one stays whole

    def test_a_strong_line_takes_its_skirts_along(self) -> None:
        """By hand: 1000 is 20 dB over 10, so the reach of 0.16 doubles: 1 + log10(1000 / 10) / 2."""
        rest = without_lines(flat({20.0: 1000.0, 20.3: 9.0, 20.36: 9.0}), np.array([20.0]), smear=0.0)
        step = rest.orders[1]
        assert rest.power[0, round(20.3 / step)] < 9
        assert rest.power[0, round(20.36 / step)] == 9


class TestLinesOf:
    def test_outer_ring(self) -> None:
        """Order 7, cage 0.4, up to 15: 7 and 14, each with 0.4, 1, 2 and 3 either side."""
        lines = lines_of(match_at(7.0), highest=15.0, cage=0.4)
        assert lines == pytest.approx([4, 5, 6, 6.6, 7, 7.4, 8, 9, 10, 11, 12, 13, 13.6, 14, 14.4, 15, 16, 17])

    def test_ball(self) -> None:
        """Order 8 strikes twice a spin of 4, so 4, 8 and 12 raise lines, one to three cage turns away too.

        Sidebands weaken as they lie farther off; how many more are listed is free, but each is half
        a turn from the next here.
        """
        lines = lines_of(match_at(8.0, "ball", 0.5), highest=12.0, cage=0.5)
        expected = {k + side / 2 for k in (4, 8, 12) for side in range(-3, 4)}
        assert expected <= set(np.round(lines, 9))
        assert np.all(2 * lines == np.round(2 * lines))

    def test_inner_ring_and_cage(self) -> None:
        """Inner: turns away, three at least; cage: its harmonics alone. None falls below zero."""
        inner = lines_of(match_at(9.0, "inner_raceway", 1.0), highest=10.0, cage=0.4)
        assert set(np.round(inner, 6)) >= {6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0}
        assert np.all(inner == np.round(inner))
        cage = lines_of(match_at(0.4, "cage"), highest=1.7, cage=0.4)
        assert cage == pytest.approx([0.4, 0.8, 1.2, 1.6])
        assert np.all(lines_of(match_at(2.0, "inner_raceway", 1.0), highest=10.0, cage=0.4) >= 0)

    def test_a_turning_outer_ring_is_like_an_inner_one(self) -> None:
        """What turns passes the load once a turn, whichever ring it is."""
        lines = lines_of(match_at(7.0, "outer_raceway", 1.0), highest=8.0, cage=0.6)
        assert set(np.round(lines, 6)) >= {4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0}


class TestBackdrop:
    @given(location=st.floats(-5, 60), scale=st.floats(0.5, 10), low=st.floats(-50, 2000), more=st.floats(0, 500))
    @QUICK
    def test_the_chance_is_the_upper_tail_of_a_gumbel_law(
        self, location: float, scale: float, low: float, more: float
    ) -> None:
        """Against scipy.stats.gumbel_r, whose own tail has nine digits left of 1 - exp(-x)."""
        law = Backdrop(location, scale)
        assert 0 <= law.chance(low + more) <= law.chance(low) <= 1
        theirs = stats.gumbel_r.sf(low, loc=location, scale=scale)
        assert law.chance(low) == pytest.approx(theirs, rel=1e-9, abs=1e-12)

    def test_far_tails_do_not_vanish_in_rounding(self) -> None:
        """By hand: exp(-100/2) = 1.93e-22, where 1 - exp(-1.93e-22) would be nought."""
        assert Backdrop(0.0, 2.0).chance(100.0) == pytest.approx(math.exp(-50), rel=1e-9, abs=0)
        assert Backdrop(0.0, 1.0).chance(-1e9) == 1.0

    @pytest.mark.parametrize(
        "comb",
        [
            Comb(name="outer_raceway", order=7.1),
            Comb(name="inner_raceway", order=8.9, sidebands=(1.0,)),
            Comb(name="cage", order=0.444),
        ],
        ids=lambda comb: comb.name,
    )
    def test_calibrated_on_white_noise(self, comb: Comb) -> None:
        """60 recordings of noise: chances below 0.1 come up about six times.

        Binomial bounds for 60 at 0.1: 14 or more come in 2.0 of 1000 sets, 0 in 1.8 of 1000
        (scipy.stats.binom). None of 60 may fall below 1e-4 (6 of 1000 sets), and the median lies at
        a half within four spreads of 0.5/sqrt(60).
        """
        chances = []
        for seed in range(60):
            spectra = spectra_of(noise(1000 + seed))
            law = backdrop(spectra, comb, avoid=[7.1, 8.9, 8.74])
            chances.append(law.chance(match_comb(spectra, comb).surprise))
        below = int(np.sum(np.array(chances) < 0.1))
        assert stats.binom.sf(13, 60, 0.1) + stats.binom.cdf(0, 60, 0.1) < 0.004
        assert 1 <= below <= 13
        assert np.median(chances) == pytest.approx(0.5, abs=0.25)
        assert min(chances) > 1e-4

    def test_lines_elsewhere_raise_the_bar(self) -> None:
        """A room full of rhythm at orders that mean nothing makes the same comb less surprising."""
        quiet = noise(7)
        busy = quiet.copy()
        angle = np.arange(busy.shape[1]) / CELLS
        for order in np.geomspace(4.6, 11, 25):
            busy += 0.15 * np.cos(2 * np.pi * order * angle + order)
        comb = Comb(name="outer_raceway", order=7.1)
        laws = [backdrop(spectra_of(cells), comb, avoid=[7.1]) for cells in (quiet, busy)]
        assert laws[1].chance(25.0) > 10 * laws[0].chance(25.0)
