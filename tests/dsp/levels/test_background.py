"""The still parts and the turning part, on banks of exponential power made by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.levels.background import block_levels_db, over_room, still_parts, turning_part
from acoustic.dsp.levels.filterbank import BandBank

Floats = NDArray[np.float64]
BANDS_HZ = np.array([125.0, 500.0, 2000.0, 8000.0])


def bank_of(level: Floats, seed: int = 1) -> BandBank:
    """Frames of 1 ms: exponential power whose mean is `level`, the same in four bands."""
    power = np.random.default_rng(seed).exponential(size=(BANDS_HZ.size, level.size)) * level
    return BandBank(BANDS_HZ, power, 0.001, 0.0005)


def spin(rise_db: float, *, seconds: float = 12.0, start_s: float = 3.0, stop_s: float = 9.0) -> Floats:
    times_s = (np.arange(round(seconds * 1000)) + 0.5) / 1000
    return np.where((times_s >= start_s) & (times_s < stop_s), 10 ** (rise_db / 10), 1.0)


class TestBlockLevels:
    def test_level_and_times(self) -> None:
        """The median of 100 exponentials over ln 2 is their mean, 3 dB re 1 here, to 1/(ln 2 sqrt(100)) =
        0.6 dB a block; over 40 blocks to 0.1, three of which are allowed. Middles at 50, 150 ms, ..."""
        times_s, levels_db = block_levels_db(bank_of(np.full(4050, 2.0)))
        assert levels_db.shape == (4, 40)
        assert times_s == pytest.approx(0.05 + 0.1 * np.arange(40), abs=1e-9)
        assert levels_db.mean(axis=1) == pytest.approx(10 * np.log10(2.0), abs=0.3)

    def test_clicks_do_not_count(self) -> None:
        """By hand: a tenth of the frames sent above move the median to quantile 0.5/0.9: +0.68 dB.

        Their mean would go up by 30 dB.
        """
        bank = bank_of(np.full(8000, 1.0))
        power = bank.power.copy()
        power[:, ::10] *= 1e4
        raised = block_levels_db(BandBank(BANDS_HZ, power, 0.001, 0.0005))[1]
        plain = block_levels_db(bank)[1]
        assert raised.mean() - plain.mean() == pytest.approx(
            10 * np.log10(-np.log(1 - 0.5 / 0.9) / np.log(2)), abs=0.15
        )

    def test_silence_has_a_level(self) -> None:
        assert np.all(np.isfinite(block_levels_db(bank_of(np.zeros(500)))[1]))

    def test_shorter_than_a_block(self) -> None:
        times_s, levels_db = block_levels_db(bank_of(np.ones(30)))
        assert levels_db.shape == (4, 1)
        assert times_s.shape == (1,)


class TestTurningPart:
    @pytest.mark.parametrize("rise_db", [6.0, 12.0, 30.0])
    def test_found_to_two_blocks(self, rise_db: float) -> None:
        """Levels err by 0.6 dB a block and less over three bands; the threshold lies 3 dB or more away.

        So the edges are right to the blocks of 0.1 s they fall into, and one more for chance.
        """
        start_s, stop_s = turning_part(bank_of(spin(rise_db)))
        assert start_s == pytest.approx(3.0, abs=0.15)
        assert stop_s == pytest.approx(9.0, abs=0.15)

    def test_a_knock_before_is_not_the_start(self) -> None:
        level = spin(8.0)
        level[1000:1300] = 1e4
        level[10500:10700] = 1e4
        start_s, stop_s = turning_part(bank_of(level))
        assert start_s == pytest.approx(3.0, abs=0.15)
        assert stop_s == pytest.approx(9.0, abs=0.15)

    @pytest.mark.parametrize("level", [np.ones(8000), spin(1.0)], ids=["steady", "1 dB"])
    def test_nothing_louder_is_the_whole(self, level: Floats) -> None:
        assert turning_part(bank_of(level)) == pytest.approx((0.0, level.size / 1000))

    def test_loudness_does_not_matter(self, louder: Callable[..., BandBank]) -> None:
        bank = bank_of(spin(10.0))
        assert turning_part(louder(bank, 0.01)) == turning_part(bank)

    def test_low_rumble_of_the_room_does_not_count(self) -> None:
        """Below 250 Hz a lorry passes: 20 dB in the lowest band, from 0.5 to 2 s."""
        bank = bank_of(spin(8.0))
        power = bank.power.copy()
        power[0, 500:2000] *= 100
        start_s, _ = turning_part(BandBank(BANDS_HZ, power, 0.001, 0.0005))
        assert start_s == pytest.approx(3.0, abs=0.15)


class TestStillParts:
    @pytest.mark.parametrize(
        ("start_s", "stop_s", "parts"),
        [
            # margins of 1 s before and 0.5 s after in a recording of 12 s
            (3.0, 9.0, ((0.0, 2.0), (9.5, 12.0))),
            (1.2, 9.0, ((9.5, 12.0),)),
            (3.0, 11.3, ((0.0, 2.0),)),
            (1.2, 11.3, ()),
            (1.4, 11.1, ((0.0, 0.4), (11.6, 12.0))),
        ],
    )
    def test_by_hand(self, start_s: float, stop_s: float, parts: tuple[tuple[float, float], ...]) -> None:
        """What is left must last 0.3 s."""
        found = still_parts(12.0, start_s, stop_s, before_s=1.0, after_s=0.5)
        assert len(found) == len(parts)
        for one, two in zip(found, parts, strict=True):
            assert one == pytest.approx(two, abs=1e-9)


class TestOverRoom:
    STILL = ((0.0, 2.5), (9.5, 12.0))

    @pytest.mark.parametrize("rise_db", [0.0, 1.5, 6.0, 20.0])
    def test_the_rise_is_read(self, rise_db: float) -> None:
        """50 still blocks of 0.6 dB spread and 60 turning ones: 0.12 dB; four of those.

        Its certainty is the rise over that, 50 for 6 dB give or take the error's own error.
        """
        over = over_room(bank_of(spin(rise_db)), 3.0, 9.0, self.STILL)
        assert over is not None
        assert over.excess_db == pytest.approx(rise_db, abs=0.5)
        assert over.certainty == pytest.approx(over.excess_db / 0.12, rel=0.35, abs=0.5)

    def test_equal_levels_are_not_certain(self) -> None:
        """Twenty recordings of one level in four bands: a normal deviate, four spreads for 80 of them.

        Their mean square is 1 within four times sqrt(2/80).
        """
        found = []
        for seed in range(20):
            over = over_room(bank_of(np.ones(12000), seed), 3.0, 9.0, self.STILL)
            assert over is not None
            found.append(over.certainty)
        assert np.max(np.abs(found)) < 4
        assert np.mean(np.square(found)) == pytest.approx(1, abs=0.65)

    @pytest.mark.parametrize(
        ("start_s", "stop_s", "still"),
        [(3.0, 9.0, ()), (3.0, 9.0, ((0.0, 0.2),)), (3.0, 3.2, STILL), (20.0, 30.0, STILL)],
    )
    def test_fewer_than_three_blocks(
        self, start_s: float, stop_s: float, still: tuple[tuple[float, float], ...]
    ) -> None:
        assert over_room(bank_of(spin(6.0)), start_s, stop_s, still) is None
