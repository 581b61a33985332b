"""Order spectra: the law of whitened noise, scipy's periodogram on the same data, groups of bands."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal, stats

from acoustic.dsp.orders.spectrum import HIGHEST_ORDER, band_groups, order_spectra

Floats = NDArray[np.float64]
QUICK = settings(max_examples=30, deadline=None, derandomize=True)
BINS = 256


def noise(turns: int, seed: int, *, bands: int = 1) -> Floats:
    """Compressed levels of noise: logs of exponential power, independent from bin to bin."""
    return np.log1p(np.random.default_rng(seed).exponential(size=(bands, turns * BINS)))


def theirs(row: Floats, length: int) -> Floats:
    """scipy's periodogram of one row with the same taper."""
    taper = signal.windows.kaiser(row.size, 3.5, sym=True)
    return signal.periodogram(row, fs=BINS, window=taper, nfft=length, detrend="constant")[1]


class TestOrders:
    @pytest.mark.parametrize("turns", [5.3, 12.0, 31.7])
    def test_the_axis(self, turns: float) -> None:
        """Equal steps from 0 to the highest order, four or more to a resolution of 1.2/turns."""
        spectra = order_spectra(noise(32, 1)[:, : int(turns * BINS)], turns=turns, groups=((0, 0),))
        assert spectra.orders[0] == 0
        assert np.diff(spectra.orders) == pytest.approx(spectra.step, rel=1e-9)
        assert spectra.orders[-1] == pytest.approx(HIGHEST_ORDER, abs=spectra.step)
        assert spectra.step < 1.2 / turns / 4

    def test_ten_harmonics_of_all_but_the_fastest_ball_passes_are_in_sight(self) -> None:
        """By hand: 19 balls pass the inner ring 19 x 0.55 = 10.5 times a turn; its tenth lies at 105."""
        assert HIGHEST_ORDER == 116.0

    def test_orders_the_levels_cannot_carry_are_left_out(self) -> None:
        spectra = order_spectra(noise(10, 1), turns=10.0, groups=((0, 0),), highest_order=40.0)
        whole = order_spectra(noise(10, 1), turns=10.0, groups=((0, 0),))
        assert spectra.orders[-1] == pytest.approx(40, abs=spectra.step)
        assert spectra.orders == pytest.approx(whole.orders[: spectra.orders.size], rel=1e-12)

    @given(order=st.floats(2.0, 60.0), turns=st.floats(6.0, 20.0))
    @QUICK
    def test_a_line_stands_at_its_order(self, order: float, turns: float) -> None:
        """cos(2 pi order x turns) in noise: its top within half a step, and one more for the floor.

        Line over noise: power 0.5 against 0.15 spread over 128 orders, 3 x 128 x turns/1.5 or 1500 and
        more, so that noise moves the top by about 0.5/(turns sqrt(1500)), a tenth of a step; but so
        strong a line lifts the floor about it, whose slope tilts the flat top.
        """
        bins = int(turns * BINS)
        angle = (np.arange(bins) + 0.5) * turns / bins
        rows = np.cos(2 * np.pi * order * angle + 0.3)[np.newaxis] + noise(20, 2)[:, :bins]
        spectra = order_spectra(rows, turns=turns, groups=((0, 0),))
        top = spectra.orders[int(spectra.power[0].argmax())]
        assert top == pytest.approx(order, abs=1.6 * spectra.step)


class TestWhitening:
    def test_bins_of_noise_are_exponential(self) -> None:
        """Kolmogorov and Smirnov against scipy's exponential law of mean 1, nothing fitted.

        The taper's main lobe ends 1.5 bins of 1/turns from a line, so bins 2/turns apart are
        independent: 20 spectra of 12 turns give 20 x 354 from order 1 to 60. For 7080 the distance stays
        below 1.63/sqrt(7080) = 0.0194 in 99 of 100 sets. A scale wrong by 10 per cent makes it 0.035, a
        lost ln 2 0.13. The mean is raised by what the floor does not know: a median of some 24 bins errs by
        1.44/sqrt(24) = 0.29 of itself, and the mean of its inverse is 1 + 0.29^2 = 1.08, less for its
        smoothing between pieces.
        """
        powers = []
        for seed in range(20):
            spectra = order_spectra(noise(12, 100 + seed), turns=12.0, groups=((0, 0),))
            step = round(2 / 12 / spectra.step)
            first, last = np.searchsorted(spectra.orders, [1, 60])
            powers.append(spectra.power[0, first:last:step])
        independent = np.concatenate(powers)
        assert independent.size == pytest.approx(7080, abs=40)
        assert stats.kstest(independent, stats.expon.cdf).statistic < 0.0194
        assert independent.mean() == pytest.approx(1.04, abs=0.05)  # 4 spreads of 1/sqrt(7080)

    def test_steep_floors_are_levelled(self) -> None:
        """Noise summed up (20 dB a decade) comes out as flat as white noise.

        A straight slope of 40 dB over the range, all of it but 20 per cent: the running median is taken over three
        orders, in which the steepest part falls by half, and what leaks from the lowest orders is even, so that
        bins scatter less than exponential ones.
        """
        ratios = []
        for seed in range(12):
            rows = np.cumsum(noise(12, 200 + seed) - 0.596, axis=1)
            spectra = order_spectra(rows, turns=12.0, groups=((0, 0),))
            edges = np.searchsorted(spectra.orders, [3, 6, 12, 25, 50, 100])
            ratios.append([spectra.power[0, a:b].mean() for a, b in pairwise(edges)])
        assert np.mean(ratios, axis=0) == pytest.approx(1.0, abs=0.2)

    def test_against_scipys_periodogram(self) -> None:
        """On the same data both differ by the floor alone, which is smooth.

        White noise: the density is the variance over 128 orders at every order (by Parseval). A running
        median of 24 independent bins errs by 1.44/sqrt(24) = 0.29 in the logarithm, a third of it at most from
        one piece to the next, which are 0.75 orders apart.
        """
        rows = noise(10, 3)
        spectra = order_spectra(rows, turns=10.0, groups=((0, 0),))
        length = round(BINS / spectra.step)
        keep = slice(int(4 / spectra.step), int(95 / spectra.step))
        floor = np.log(theirs(rows[0], length)[: spectra.orders.size] / spectra.power[0])[keep]
        assert np.all(np.abs(np.diff(floor)) < 1.0 / 0.75 * spectra.step)
        assert np.exp(floor) == pytest.approx(rows.var() / 128, rel=1.2)
        assert np.exp(floor.mean()) == pytest.approx(rows.var() / 128, rel=0.12)

    def test_a_group_sums_its_bands_before_it_squares(self) -> None:
        """Bands are brought to unit variance and added: scipy's periodogram of that sum, up to the floor."""
        rows = noise(8, 4, bands=4) * np.array([[1.0], [10.0], [0.1], [5.0]])
        spectra = order_spectra(rows, turns=8.0, groups=((0, 0), (1, 3)))
        length = round(BINS / spectra.step)
        summed = (rows[1:4] / rows[1:4].std(axis=1, keepdims=True)).sum(axis=0)
        keep = slice(int(4 / spectra.step), int(95 / spectra.step))
        floor = np.log(theirs(summed, length)[: spectra.orders.size] / spectra.power[1])[keep]
        assert np.all(np.abs(np.diff(floor)) < 1.0 / 0.75 * spectra.step)

    def test_a_main_line_with_its_sidebands_does_not_fill_the_floor(self) -> None:
        """Ten harmonics of a loud train stand far out: a median over three orders sees noise between them."""
        train = noise(12, 5)
        train[0, (np.arange(0.2, 7.1 * 12) / 7.1 * BINS).astype(int)] += 3
        spectra = order_spectra(train, turns=12.0, groups=((0, 0),))
        lines = [spectra.power[0, round((7.1 * k - 0.05) / spectra.step) :][:10].max() for k in range(1, 11)]
        assert min(lines) > 25

    @given(gain=st.floats(1e-6, 1e6), offset=st.floats(-100.0, 100.0))
    @QUICK
    def test_gain_and_offset_do_not_matter(self, gain: float, offset: float) -> None:
        """The offset loses up to 9 digits before it is taken away again: 1e-4."""
        rows = noise(6, 5, bands=2)
        plain = order_spectra(rows, turns=6.0, groups=((0, 1),)).power
        other = order_spectra(gain * rows + gain * offset, turns=6.0, groups=((0, 1),)).power
        assert other[:, 30:] == pytest.approx(plain[:, 30:], rel=1e-4, abs=1e-6)

    def test_the_spectra_cannot_be_written(self) -> None:
        spectra = order_spectra(noise(6, 6), turns=6.0, groups=((0, 0),))
        for values in (spectra.orders, spectra.power):
            with pytest.raises(ValueError, match="read-only"):
                values[...] = 1.0

    def test_a_dead_band_stays_finite(self) -> None:
        rows = np.concatenate([noise(6, 7), np.zeros((1, 6 * BINS))])
        spectra = order_spectra(rows, turns=6.0, groups=((0, 0), (0, 1), (1, 1)))
        assert np.all(np.isfinite(spectra.power))
        assert spectra.power[1] == pytest.approx(spectra.power[0], rel=1e-9)


class TestBandGroups:
    def test_by_hand(self) -> None:
        """Bands 1, 2, 3 of 0..3: each alone, and all three, which is the group of three."""
        assert band_groups(4, lowest=1) == ((1, 1), (2, 2), (3, 3), (1, 3))

    @given(bands=st.integers(1, 30), lowest=st.integers(0, 29))
    @QUICK
    def test_every_choice(self, bands: int, lowest: int) -> None:
        """No group twice, none outside, each band alone, all together, and wide groups half overlap."""
        if lowest >= bands:
            return
        groups = band_groups(bands, lowest=lowest)
        assert len(set(groups)) == len(groups)
        assert all(lowest <= first <= last < bands for first, last in groups)
        assert {(band, band) for band in range(lowest, bands)} <= set(groups)
        assert (lowest, bands - 1) in groups
        for width in (3, 5, 8):
            starts = [first for first, last in groups if last - first + 1 == width]
            if width < bands - lowest:
                # two neighbours share a band or more, and together they reach the last band but a few
                assert all(0 < b - a <= max(1, width // 2) for a, b in pairwise(starts))
                assert starts[-1] + width + max(1, width // 2) > bands
