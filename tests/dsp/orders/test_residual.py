"""Lines that are taken out, and what turns with the crank."""

from __future__ import annotations

import numpy as np
import pytest
from planted import flat, noisy, train

from acoustic.dsp.orders import residual
from acoustic.dsp.orders.harmonics import HarmonicSet, LineEvidence
from acoustic.dsp.orders.residual import lines_of, sure_lines, without_lines, without_turn_lines

PASSES = np.array([7.097, 8.903, 8.744])
INNER = HarmonicSet(name="inner_raceway", order=9.0, offsets=(1.0, -1.0))


def test_the_numbers_that_verdicts_rest_on() -> None:
    assert (residual.SMEAR, residual.HALF_WIDTH) == (0.004, 1.6)
    assert (residual.TURN_LINES, residual.TURN_NATS) == (12, 8.0)
    assert (residual.TURN_CLEAR, residual.TURN_HALF_WIDTH) == (0.35, 0.8)


class TestWithoutLines:
    def test_a_train_taken_out_counts_for_no_more_than_noise(self) -> None:
        spectra = noisy(train(7.0, 60.0))
        rest = without_lines(spectra, 7.0 * np.arange(1, 17))
        score, left = (LineEvidence(one).scores(np.array([7.0])).whole[0] for one in (spectra, rest))
        assert score > 15
        assert left < 0
        assert rest.power[:, round(14 / rest.step)].max() <= 1.0

    def test_only_the_lines_are_touched(self) -> None:
        """By hand: at 10 turns a line of 20 with a smear of 1 per cent reaches 0.16 + 0.2 either side."""
        spectra = flat({20.0: 9.0, 20.3: 9.0, 20.45: 9.0, 19.7: 9.0, 19.55: 9.0})
        rest = without_lines(spectra, np.array([20.0]), smear=0.01)
        changed = spectra.orders[np.any(rest.power != spectra.power, axis=0)]
        assert changed.min() == pytest.approx(20 - 0.36, abs=2 * spectra.step)
        assert changed.max() == pytest.approx(20 + 0.36, abs=2 * spectra.step)
        assert rest.power[0, round(20.45 / rest.step)] == 9
        assert rest.power[0, round(20.3 / rest.step)] == 1
        narrow = without_lines(spectra, np.array([20.0]), smear=0.0, half_width=0.05)
        assert narrow.power[0, round(20.3 / rest.step)] == 9
        assert spectra.power[0, round(20.0 / rest.step)] == 9  # the given one stays whole

    def test_a_strong_line_takes_its_skirts_along(self) -> None:
        """By hand: 1000 is 20 dB over 10, so the reach of 0.16 doubles: 1 + log10(1000 / 10) / 2."""
        rest = without_lines(flat({20.0: 1000.0, 20.25: 9.0, 20.45: 9.0}), np.array([20.0]), smear=0.0)
        assert rest.power[0, round(20.25 / rest.step)] == 1
        assert rest.power[0, round(20.45 / rest.step)] == 9

    def test_what_is_left_cannot_be_written(self) -> None:
        with pytest.raises(ValueError, match="read-only"):
            without_lines(flat({}), np.array([7.0])).power[...] = 1.0


class TestTurnLines:
    def test_what_turns_with_the_crank_is_taken_out(self) -> None:
        left, found = without_turn_lines(flat({float(k): 40.0 for k in range(1, 100)}), PASSES)
        assert found
        assert LineEvidence(left).scores(np.array([1.0])).whole[0] < 0
        assert left.power[:, [round(k / left.step) for k in range(1, 100)]].max() == 1

    @pytest.mark.parametrize("order", [7.1, 8.9, 8.1])
    def test_a_ball_pass_near_a_whole_number_does_not_take_itself_out(self, order: float) -> None:
        spectra = flat(train(order, 300.0))
        left, found = without_turn_lines(spectra, np.append(PASSES, order))
        assert not found
        assert left is spectra

    @pytest.mark.parametrize("seed", range(5))
    def test_noise_turns_with_nothing(self, seed: int) -> None:
        spectra = noisy({}, seed=seed)
        left, found = without_turn_lines(spectra, PASSES)
        assert (left, found) == (spectra, False)

    def test_few_lines_do_not_decide(self) -> None:
        """A swell once a turn, and twice: two of ten whole orders."""
        assert not without_turn_lines(flat({1.0: 1e3, 2.0: 1e3}), PASSES)[1]

    def test_nothing_clear_of_the_parts(self) -> None:
        spectra = flat({float(k): 40.0 for k in range(1, 100)})
        assert without_turn_lines(spectra, np.arange(1.0, 13.0)) == (spectra, False)


class TestLinesOf:
    def test_standing_ring(self) -> None:
        """Order 7, cage 0.4, up to 15: 7 and 14 with one to three turns either side, and every cage multiple."""
        outer = HarmonicSet(name="outer_raceway", order=7.0)
        lines = lines_of(outer, 7.0, 0.4, highest=15.0)
        turns = {k + side for k in (7.0, 14.0) for side in range(-3, 4)}
        assert turns <= set(np.round(lines, 9))
        cages = np.round(0.4 * np.arange(1, 38), 9)
        assert set(cages) <= set(np.round(lines, 9)), "balls differ, and come back with the cage"

    def test_turning_ring(self) -> None:
        """By hand: 9 and 18, each with one to three turns and with a turn less the cage's 0.4 either side."""
        lines = set(np.round(lines_of(INNER, 9.0, 0.4, highest=18.0), 9))
        around = (-3, -2, -1, -0.6, 0, 0.6, 1, 2, 3)
        assert lines == {round(k + side, 9) for k in (9, 18) for side in around}

    def test_a_turning_outer_ring_is_like_an_inner_one(self) -> None:
        outer = HarmonicSet(name="outer_raceway", order=9.0, offsets=(1.0, -1.0))
        assert lines_of(outer, 9.0, 0.6, highest=18.0) == pytest.approx(lines_of(INNER, 9.0, 0.6, highest=18.0))

    def test_ball(self) -> None:
        """Order 8 strikes twice a spin of 4, so 4, 8 and 12 raise lines, one to four cage turns away too."""
        lines = lines_of(HarmonicSet(name="ball", order=8.0), 8.0, 0.5, highest=12.0)
        assert set(np.round(lines, 9)) == {abs(k + side / 2) for k in (4, 8, 12) for side in range(-4, 5)}

    def test_cage(self) -> None:
        lines = lines_of(HarmonicSet(name="cage", order=0.4, with_cage=True), 0.4, 0.4, highest=1.7)
        assert lines == pytest.approx([0.4, 0.8, 1.2, 1.6])

    def test_a_ball_that_keeps_the_cage_s_pace(self) -> None:
        lines = lines_of(HarmonicSet(name="ball", order=0.4, with_cage=True), 0.4, 0.4, highest=1.7)
        assert lines == pytest.approx([0.4, 0.8, 1.2, 1.6])

    def test_jockey_wheel(self) -> None:
        """Order 4.5 up to 10: 4.5 and 9, each with one and two turns either side."""
        lines = lines_of(HarmonicSet(name="jockey", order=4.5, locked=True), 4.5, 0.4, highest=10.0)
        assert lines == pytest.approx([2.5, 3.5, 4.5, 5.5, 6.5, 7, 8, 9, 10, 11])

    def test_sure_lines_are_some_of_those(self) -> None:
        """By hand: of a standing ring the harmonics alone, of a turning one those one and two turns away too."""
        outer = HarmonicSet(name="outer_raceway", order=7.0)
        assert sure_lines(outer, 7.0, highest=15.0) == pytest.approx([7, 14])
        inner = sure_lines(INNER, 9.0, highest=18.0)
        assert inner == pytest.approx([7, 8, 9, 10, 11, 16, 17, 18, 19, 20])
        assert set(inner) <= set(np.round(lines_of(INNER, 9.0, 0.4, highest=18.0), 9))

    def test_none_falls_below_zero(self) -> None:
        assert np.all(lines_of(INNER, 2.0, 0.4, highest=10.0) >= 0)
