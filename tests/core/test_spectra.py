"""Order spectra: the law of whitened noise, scipy's periodogram on the same data, tempered lines."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal, stats

from acoustic.core.spectra import HIGHEST_ORDER, STRONG_LINE, band_runs, order_spectra, tempered

Floats = NDArray[np.float64]
QUICK = settings(max_examples=30, deadline=None, derandomize=True)
CELLS = 256


def noise(turns: int, seed: int, *, bands: int = 1) -> Floats:
    """Compressed levels of noise: logs of exponential power, independent from cell to cell."""
    return np.log1p(np.random.default_rng(seed).exponential(size=(bands, turns * CELLS)))


def theirs(row: Floats, length: int) -> Floats:
    """scipy's periodogram of one row with the same taper."""
    taper = signal.windows.kaiser(row.size, 3.5, sym=True)
    return signal.periodogram(row, fs=CELLS, window=taper, nfft=length, detrend="constant")[1]


class TestOrders:
    @pytest.mark.parametrize("turns", [5.3, 12.0, 31.7])
    def test_the_axis(self, turns: float) -> None:
        """Equal steps from 0 to the highest order, four or more to a resolution of 1.2/turns."""
        cells = noise(32, 1)[:, : int(turns * CELLS)]
        orders = order_spectra(cells, turns=turns, runs=((0, 0),)).orders
        assert orders[0] == 0
        assert np.diff(orders) == pytest.approx(orders[1], rel=1e-9)
        assert orders[-1] == pytest.approx(HIGHEST_ORDER, abs=orders[1])
        assert orders[1] < 1.2 / turns / 4

    def test_orders_the_levels_cannot_carry_are_left_out(self) -> None:
        spectra = order_spectra(noise(10, 1), turns=10.0, runs=((0, 0),), highest_order=40.0)
        whole = order_spectra(noise(10, 1), turns=10.0, runs=((0, 0),))
        assert spectra.orders[-1] == pytest.approx(40, abs=spectra.orders[1])
        assert spectra.orders == pytest.approx(whole.orders[: spectra.orders.size], rel=1e-12)

    @given(order=st.floats(2.0, 60.0), turns=st.floats(6.0, 20.0))
    @QUICK
    def test_a_line_stands_at_its_order(self, order: float, turns: float) -> None:
        """cos(2 pi order x turns) in noise: its top within half a step, and one more for the floor.

        Line over noise: power 0.5 against 0.15 spread over 128 orders, 3 x 128 x turns/1.5 or 1500 and
        more, so that noise moves the top by about 0.5/(turns sqrt(1500)), a tenth of a step; but so
        strong a line lifts the floor on its own side, whose slope tilts the flat top. A resolution is
        five steps or more, and 1 per cent of order 60 some twenty.
        """
        cells = int(turns * CELLS)
        angle = (np.arange(cells) + 0.5) * turns / cells
        rows = np.cos(2 * np.pi * order * angle + 0.3)[np.newaxis] + noise(20, 2)[:, :cells]
        spectra = order_spectra(rows, turns=turns, runs=((0, 0),))
        top = spectra.orders[int(spectra.power[0].argmax())]
        assert top == pytest.approx(order, abs=1.6 * spectra.orders[1])


class TestWhitening:
    def test_bins_of_noise_are_exponential(self) -> None:
        """Kolmogorov and Smirnov against scipy's exponential law of mean 1, nothing fitted.

        The taper's main lobe ends 1.5 bins of 1/turns from a line, so bins 2/turns apart are
        independent: 20 spectra of 12 turns give 20 x 354 from order 1 to 60. For 7080 the distance stays
        below 1.63/sqrt(7080) = 0.0194 in 99 of 100 sets. A scale wrong by 10 per cent makes it 0.035, a
        lost ln 2 0.13, and the squares of something heavier than Gaussian sums more still.
        """
        powers = []
        for seed in range(20):
            spectra = order_spectra(noise(12, 100 + seed), turns=12.0, runs=((0, 0),))
            step = round(2 / 12 / spectra.orders[1])
            first, last = np.searchsorted(spectra.orders, [1, 60])
            powers.append(spectra.power[0, first:last:step])
        independent = np.concatenate(powers)
        assert independent.size == pytest.approx(7080, abs=40)
        assert stats.kstest(independent, stats.expon.cdf).statistic < 0.0194
        assert independent.mean() == pytest.approx(1, abs=0.05)  # 4 spreads of 1/sqrt(7080)

    def test_steep_floors_are_levelled(self) -> None:
        """Noise summed up (20 dB a decade) comes out as flat as white noise.

        Medians lie a factor up to 1.35 in order apart, interpolated in log-log, in which the slope is
        straight: what is left is their own error. Means over 25 independent bins spread by 20 per cent.
        """
        ratios = []
        for seed in range(12):
            rows = np.cumsum(noise(12, 200 + seed) - 0.596, axis=1)
            spectra = order_spectra(rows, turns=12.0, runs=((0, 0),))
            edges = np.searchsorted(spectra.orders, [2, 6, 12, 25, 50, 100])
            ratios.append([spectra.power[0, a:b].mean() for a, b in pairwise(edges)])
        assert np.mean(ratios, axis=0) == pytest.approx(1, abs=0.2)

    def test_against_scipys_periodogram(self) -> None:
        """On the same data both differ by the floor alone, which is smooth.

        The floor is a straight line in log-log between medians a factor of 1.35 in order apart. The
        narrowest stretches hold about 8 independent bins, so a log median errs by 1.44/sqrt(8) =
        0.5; two of them differ by 0.7 over ln 1.35 = 0.3, 2.3 per unit of log order. 6 are allowed:
        from bin to bin below 3 per cent, where the noise itself jumps by tens.
        """
        rows = noise(10, 3)
        spectra = order_spectra(rows, turns=10.0, runs=((0, 0),))
        length = round(CELLS / spectra.orders[1])
        keep = slice(int(4 / spectra.orders[1]), int(95 / spectra.orders[1]))
        floor = np.log(theirs(rows[0], length)[: spectra.orders.size] / spectra.power[0])[keep]
        limit = 6 * spectra.orders[1] / spectra.orders[keep]
        assert np.all(np.abs(np.diff(floor)) < limit[:-1])
        # white noise: the density is the variance over 128 orders at every order (by Parseval); medians
        # of 15 or more independent bins are sure to 30 per cent
        assert np.exp(floor) == pytest.approx(rows.var() / 128, rel=0.6)
        assert np.exp(floor.mean()) == pytest.approx(rows.var() / 128, rel=0.12)

    def test_a_run_sums_its_bands_before_it_squares(self) -> None:
        """Bands are brought to unit variance and added: scipy's periodogram of that sum, up to the floor."""
        rows = noise(8, 4, bands=4) * np.array([[1.0], [10.0], [0.1], [5.0]])
        spectra = order_spectra(rows, turns=8.0, runs=((0, 0), (1, 3)))
        length = round(CELLS / spectra.orders[1])
        summed = (rows[1:4] / rows[1:4].std(axis=1, keepdims=True)).sum(axis=0)
        keep = slice(int(4 / spectra.orders[1]), int(95 / spectra.orders[1]))
        floor = np.log(theirs(summed, length)[: spectra.orders.size] / spectra.power[1])[keep]
        limit = 6 * spectra.orders[1] / spectra.orders[keep]
        assert np.all(np.abs(np.diff(floor)) < limit[:-1])

    @given(gain=st.floats(1e-6, 1e6), offset=st.floats(-100.0, 100.0))
    @QUICK
    def test_gain_and_offset_do_not_matter(self, gain: float, offset: float) -> None:
        """The offset loses up to 9 digits before it is taken away again: 1e-4."""
        rows = noise(6, 5, bands=2)
        plain = order_spectra(rows, turns=6.0, runs=((0, 1),)).power
        other = order_spectra(gain * rows + gain * offset, turns=6.0, runs=((0, 1),)).power
        assert other[:, 30:] == pytest.approx(plain[:, 30:], rel=1e-4, abs=1e-6)

    def test_the_spectra_cannot_be_written(self) -> None:
        spectra = order_spectra(noise(6, 6), turns=6.0, runs=((0, 0),))
        for values in (spectra.orders, spectra.power, spectra.weight, spectra.noise):
            with pytest.raises(ValueError, match="read-only"):
                values[...] = 1.0

    def test_a_dead_band_stays_finite(self) -> None:
        rows = np.concatenate([noise(6, 7), np.zeros((1, 6 * CELLS))])
        spectra = order_spectra(rows, turns=6.0, runs=((0, 0), (0, 1), (1, 1)))
        assert np.all(np.isfinite(spectra.power))
        assert spectra.power[1] == pytest.approx(spectra.power[0], rel=1e-9)


class TestTempered:
    def test_by_hand(self) -> None:
        """Up to 8 nothing changes; e times 8 counts 8 (1 + 1) = 16, e^2 times 8 counts 24."""
        assert STRONG_LINE == 8
        given_power = np.array([0.0, 0.5, 8.0, 8 * math.e, 8 * math.e**2])
        assert tempered(given_power) == pytest.approx([0, 0.5, 8, 16, 24], rel=1e-12)

    @given(low=st.floats(0, 1e6), more=st.floats(0, 1e6))
    @QUICK
    def test_more_never_counts_less_nor_more_than_itself(self, low: float, more: float) -> None:
        lower, higher = tempered(np.array([low, low + more]))
        assert lower <= higher
        assert higher - lower <= more * (1 + 1e-9) + 1e-9

    def test_the_weights_are_the_tempered_powers(self) -> None:
        spectra = order_spectra(noise(9, 8), turns=9.0, runs=((0, 0),))
        assert np.array_equal(spectra.weight, tempered(spectra.power))


class TestBandRuns:
    def test_by_hand(self) -> None:
        """Bands 1, 2, 3 of 0..3: three alone, two pairs, and all three, which is the run of three."""
        assert band_runs(4, lowest=1) == ((1, 1), (2, 2), (3, 3), (1, 2), (2, 3), (1, 3))

    @given(bands=st.integers(1, 30), lowest=st.integers(0, 29))
    @QUICK
    def test_every_choice(self, bands: int, lowest: int) -> None:
        """No run twice, none outside, each band alone, all together, and wide runs half overlap."""
        if lowest >= bands:
            return
        runs = band_runs(bands, lowest=lowest)
        assert len(set(runs)) == len(runs)
        assert all(lowest <= first <= last < bands for first, last in runs)
        assert {(band, band) for band in range(lowest, bands)} <= set(runs)
        assert (lowest, bands - 1) in runs
        for width in (2, 3, 5, 8):
            starts = [first for first, last in runs if last - first + 1 == width]
            if width < bands - lowest:
                # two neighbours share a band or more, and together they reach the last band but a few
                assert all(0 < b - a <= max(1, width // 2) for a, b in pairwise(starts))
                assert starts[-1] + width + max(1, width // 2) > bands
