"""Drivetrain orders from tooth counts, and their harmonics: worked by hand, narrow, judged among whole turns."""

from __future__ import annotations

import numpy as np
import pytest
from planted import levels_with, noisy, spectra_of, strikes, train

from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.dsp.orders import drivetrain
from acoustic.dsp.orders.drivetrain import drive_orders, drive_sets, heard_chain
from acoustic.dsp.orders.ranking import rank_parts

SPREAD = 0.001


def test_the_numbers_that_verdicts_rest_on() -> None:
    assert (drivetrain.LOCKED_SPREAD, drivetrain.WIDEST_SPREAD) == (0.0004, 0.004)
    assert (drivetrain.AS_THE_LEGS, drivetrain.UNKNOWN_TEETH) == (0.05, (20, 60))


class TestOrders:
    def test_worked_by_hand(self) -> None:
        """50, 17 and 11 teeth: 50 links turn the hub 50/17 = 2.941 and a jockey wheel 50/11 = 4.545 times."""
        orders = {order.part: order.order for order in drive_orders(50, sprocket=17, jockey=11)}
        assert orders == {
            "chain": 50.0,
            "jockey": pytest.approx(4.545, abs=5e-4),
            "hub": pytest.approx(2.941, abs=5e-4),
            "pedal": 1.0,
        }

    def test_what_is_not_known_is_left_out(self) -> None:
        assert [order.part for order in drive_orders(34)] == ["chain", "pedal"]
        assert [order.part for order in drive_orders(34, jockey=12)] == ["chain", "jockey", "pedal"]

    def test_each_says_where_it_comes_from(self) -> None:
        told = {order.part: order.derivation for order in drive_orders(50, sprocket=17, jockey=11)}
        assert "50 links" in told["chain"] and "17 teeth" in told["hub"] and "11 teeth" in told["jockey"]
        assert "once" in told["pedal"]


class TestSets:
    def test_teeth_leave_no_room_for_slip(self) -> None:
        """Half a per cent of slip is usual in a bearing; with a speed known to 0.1 per cent none fits here."""
        sets = drive_sets(drive_orders(50, sprocket=17, jockey=11), speed_spread=SPREAD)
        assert [one.name for one in sets] == ["chain", "jockey", "hub"]
        assert all(one.locked and one.spread < 0.0015 and one.balls == 0 for one in sets)
        assert [one.whole for one in sets] == [True, False, False]
        assert sets[0].offsets == (1.0, -1.0, 2.0, -2.0)

    @pytest.mark.parametrize(("chainring", "sprocket"), [(34, 34), (34, 17), (50, 25)])
    def test_what_turns_with_the_legs_is_none(self, chainring: int, sprocket: int) -> None:
        """Once or twice a turn, as the pedals come round and the legs push: no line tells them apart."""
        sets = drive_sets(drive_orders(chainring, sprocket=sprocket), speed_spread=SPREAD)
        assert [one.name for one in sets] == ["chain"]

    def test_an_unsure_speed_widens_the_search_to_a_limit(self) -> None:
        widths = [drive_sets(drive_orders(50), speed_spread=s)[0].spread for s in (0.0, 0.001, 0.002, 0.1)]
        assert widths == sorted(set(widths))
        assert widths[-1] == 0.004


class TestHeardChain:
    @pytest.mark.parametrize("teeth", [24, 38, 50])
    def test_found_among_all(self, teeth: int) -> None:
        found = heard_chain(noisy(train(teeth, 60.0, harmonics=(1, 2))), speed_spread=SPREAD)
        assert found.order == teeth
        assert found.tried == 41  # from 20 to 60

    def test_lines_at_every_whole_order_are_no_chain(self, commonest: BearingGeometry) -> None:
        """A click once a turn lifts all whole orders, the chain's too; set against its like it is nothing."""
        sets = drive_sets(drive_orders(50), speed_spread=SPREAD)
        chances = []
        for order, height in ((1.0, 30.0), (50.0, 3.0)):
            levels = levels_with((strikes(order), height))
            ranking = rank_parts(spectra_of(levels), levels, [commonest], speed_spread=SPREAD, drive=sets)
            chances.append(ranking.drive[0].chance)
        assert chances[0] > 0.01
        assert chances[1] < 0.002


class TestBesideTheBearing:
    @pytest.mark.parametrize("seed", [1, 2])
    def test_a_jockey_wheel_and_a_ring_are_both_found(self, seed: int, commonest: BearingGeometry) -> None:
        sets = drive_sets(drive_orders(50, jockey=11), speed_spread=SPREAD)
        trains = [(strikes(order), 4.0) for order in (50 / 11, defect_orders(commonest).outer_raceway)]
        levels = levels_with(*trains, seed=seed, turns=20.0)
        ranking = rank_parts(spectra_of(levels), levels, [commonest], speed_spread=SPREAD, drive=sets)
        certain = {part.part for part in (*ranking.parts, *ranking.drive) if part.certain}
        assert certain == {"jockey", "outer_raceway"}

    def test_a_jockey_wheel_alone_is_no_part_of_the_bearing(self, commonest: BearingGeometry) -> None:
        sets = drive_sets(drive_orders(50, jockey=11), speed_spread=SPREAD)
        levels = levels_with((strikes(50 / 11), 4.0))
        ranking = rank_parts(spectra_of(levels), levels, [commonest], speed_spread=SPREAD, drive=sets)
        assert {part.part for part in ranking.drive if part.certain and part.named} == {"jockey"}
        assert not any(part.certain for part in ranking.parts)

    def test_whole_turns_are_kept_for_the_chain_alone(self, commonest: BearingGeometry) -> None:
        """A chain of 50 links strikes at every fiftieth whole order: no part of the bearing has those."""
        sets = drive_sets(drive_orders(50), speed_spread=SPREAD)
        at = strikes(50.0)
        levels = levels_with((at, 3 * (1 + 0.5 * np.cos(2 * np.pi * at))))
        ranking = rank_parts(spectra_of(levels), levels, [commonest], speed_spread=SPREAD, drive=sets)
        assert ranking.drive[0].certain
        assert not any(part.certain for part in ranking.parts)
