"""Drivetrain orders from tooth counts, and their combs: worked by hand, narrow, and judged among whole turns."""

from __future__ import annotations

import numpy as np
import pytest

from acoustic.core.drivetrain import drive_combs, drive_orders, heard_chain
from acoustic.core.ground import Ground
from acoustic.core.lines import Comb, Match, backdrop, lines_of, match_comb
from acoustic.core.spectra import OrderSpectra, tempered

SPREAD = 0.001


def spectra_with(lines: dict[float, float], *, turns: float = 12.0, seed: int = 1) -> OrderSpectra:
    """Three runs of exponential noise, with lines of that power."""
    rng = np.random.default_rng(seed)
    orders = np.arange(4801) / 48.0
    power, noise = rng.exponential(size=(3, orders.size)), rng.exponential(size=(3, orders.size))
    for order, height in lines.items():
        power[:, round(order * 48)] = height
    return OrderSpectra(orders, power, tempered(power), noise, ((0, 0), (1, 1), (2, 2)), turns)


def match_at(comb: Comb, order: float) -> Match:
    return Match(comb=comb, surprise=50.0, order=order, harmonics=5, run=0, with_sidebands=False)


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


class TestCombs:
    def test_teeth_leave_no_room_for_slip(self) -> None:
        """Half a per cent of slip is usual in a bearing; with a speed known to 0.1 per cent none fits here."""
        combs = drive_combs(drive_orders(50, sprocket=17, jockey=11), speed_spread=SPREAD)
        assert [comb.name for comb in combs] == ["chain", "jockey", "hub"]
        assert all(comb.locked and comb.tolerance < 0.003 and comb.spread < 0.0015 for comb in combs)
        assert [comb.whole for comb in combs] == [True, False, False]

    @pytest.mark.parametrize(("chainring", "sprocket"), [(34, 34), (34, 17), (50, 25)])
    def test_what_turns_with_the_legs_is_none(self, chainring: int, sprocket: int) -> None:
        """Once or twice a turn, as the pedals come round and the legs push: no line tells them apart."""
        combs = drive_combs(drive_orders(chainring, sprocket=sprocket), speed_spread=SPREAD)
        assert [comb.name for comb in combs] == ["chain"]

    def test_an_unsure_speed_widens_the_search_to_a_limit(self) -> None:
        widths = [drive_combs(drive_orders(50), speed_spread=s)[0].tolerance for s in (0.0, 0.001, 0.002, 0.1)]
        assert widths == sorted(set(widths))
        assert widths[-1] <= 0.01

    def test_lines_of_a_jockey_wheel(self) -> None:
        """Order 4.5 up to 10: 4.5 and 9, each with one and two turns either side."""
        (_, comb) = drive_combs(drive_orders(45, jockey=10), speed_spread=SPREAD)
        lines = lines_of(match_at(comb, 4.5), highest=10.0, cage=0.4)
        assert lines == pytest.approx([2.5, 3.5, 4.5, 5.5, 6.5, 7, 8, 9, 10, 11])


class TestHeardChain:
    @pytest.mark.parametrize("teeth", [24, 38, 50])
    def test_found_among_all(self, teeth: int) -> None:
        comb = heard_chain(spectra_with({float(teeth): 60.0, 2.0 * teeth: 30.0}), speed_spread=SPREAD)
        assert comb.order == teeth
        assert comb.tried == 41  # from 20 to 60

    def test_lines_at_every_whole_order_are_no_chain(self) -> None:
        """A click once a turn lifts all whole orders, the chain's too; set against its like it is nothing."""
        clicks = spectra_with({float(k): 40.0 for k in range(1, 100)})
        chain = spectra_with({50.0: 40.0, 100.0: 40.0, 49.0: 20.0, 51.0: 20.0})
        (comb,) = drive_combs(drive_orders(50), speed_spread=SPREAD)
        chances = []
        for spectra in (clicks, chain):
            ground = Ground.of(spectra, [comb])
            match = match_comb(ground.under(comb), comb)
            law = backdrop(ground.without(match, cage=0.44).under(comb), comb, avoid=[7.1, 8.9])
            chances.append(law.chance(match.surprise))
        assert chances[0] > 0.01
        assert chances[1] < 1e-6


class TestGround:
    def test_a_drivetrain_keeps_what_a_part_only_may_raise(self) -> None:
        """A standing ring's order 7 surely raises 7 and 14; one turn off, 8, it may. Noise stays below 30 here."""
        outer = Comb(name="outer_raceway", order=7.0)
        jockey = Comb(name="jockey", order=3.3, locked=True)
        ground = Ground.of(spectra_with({7.0: 200.0, 8.0: 100.0}), [outer, jockey])
        rest = ground.without(match_at(outer, 7.0), cage=0.44)
        at_7, at_8 = 7 * 48, 8 * 48
        assert rest.under(jockey).power[0, at_7] < 30 and rest.under(jockey).power[0, at_8] == 100
        assert rest.under(outer).power[0, at_7] < 30 and rest.under(outer).power[0, at_8] < 30

    def test_whole_turns_are_kept_for_the_chain_alone(self) -> None:
        chain = Comb(name="chain", order=50.0, locked=True, whole=True)
        outer = Comb(name="outer_raceway", order=7.2)
        ground = Ground.of(spectra_with({float(k): 300.0 for k in range(1, 100)}), [outer, chain])
        assert ground.under(chain).power[0, 50 * 48] == 300
        assert ground.under(outer).power[0, 50 * 48] < 30
