"""Where each part raises lines: orders by hand, and how one part found places the others."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from acoustic.dsp.geometry import BearingGeometry
from acoustic.dsp.orders import hypotheses
from acoustic.dsp.orders.harmonics import HarmonicSet
from acoustic.dsp.orders.hypotheses import PARTS, cage_seen, part_sets, tied

# 8 balls of 10 on 50 mm: by hand inner and ball both strike 4.8 times a turn, outer 3.2.
COLLIDING = BearingGeometry(balls=8, ball_diameter_mm=10.0, pitch_diameter_mm=50.0)


def sets_of(geometry: BearingGeometry, *, speed_spread: float = 0.0) -> dict[str, HarmonicSet]:
    """By part; of a ball that keeps the cage's pace under 'ball with cage'."""
    return {
        "ball with cage" if one.with_cage and one.name == "ball" else one.name: one
        for one in part_sets(geometry, speed_spread=speed_spread)
    }


def test_the_numbers_that_verdicts_rest_on() -> None:
    assert PARTS == ("outer_raceway", "inner_raceway", "ball", "cage")
    assert (hypotheses.SLIP_SPREAD, hypotheses.BALL_SPREAD, hypotheses.FOUND_SPREAD) == (0.006, 0.005, 0.0008)
    assert (hypotheses.CAGE_HARMONICS, hypotheses.BALL_LOAD_HARMONICS, hypotheses.BALL_SPINS) == (8, 3, (1, 2))


class TestPartSets:
    def test_orders_and_sidebands(self) -> None:
        """Round numbers by hand: cage 0.4, outer 3.2, inner 4.8, ball 4.8.

        The ring that turns carries its spot through the load once a turn, a ball goes through it
        with the cage (Randall and Antoni 2011, from memory); balls that differ come back to the standing ring with
        the cage, to the turning one a turn less the cage's.
        """
        sets = sets_of(COLLIDING)
        assert tuple(sets) == ("outer_raceway", "inner_raceway", "ball", "ball with cage", "cage")
        cages = {0.4, -0.4, 0.8, -0.8}
        expected = {
            "outer_raceway": (3.2, cages | {1.2, -1.2}),
            "inner_raceway": (4.8, {1.0, -1.0, 2.0, -2.0, 0.6, -0.6}),
            "ball": (4.8, cages | {-2.4}),  # a ball that strikes one ring more than the other: half its order
            "cage": (0.4, set()),
        }
        for part, (order, offsets) in expected.items():
            assert sets[part].order == pytest.approx(order, rel=1e-12)
            assert set(np.round(sets[part].offsets, 9)) == offsets
            assert sets[part].balls == 8
            assert not sets[part].locked
        assert [len(sets[part].multiples) for part in PARTS] == [10, 10, 10, 8]
        assert [sets[part].with_cage for part in PARTS] == [False, False, False, True]

    @pytest.mark.parametrize(
        ("geometry", "multiples"),
        [
            # By hand: the ball spins 2.4 / 0.4 = 6 times a cage turn.
            (COLLIDING, (1, 2, 3, 6, 12)),
            # By hand: cage 0.381645, ball 3.987859, so 5.2246 spins a cage turn, and twice that 10.449.
            (BearingGeometry(balls=8, ball_diameter_mm=6.746, pitch_diameter_mm=28.499), (1, 2, 3, 5, 6, 10, 11)),
        ],
    )
    def test_a_ball_that_keeps_the_cage_s_pace(
        self, geometry: BearingGeometry, multiples: tuple[int, ...]
    ) -> None:
        """Its load comes round with the cage, and strikes come about its spin and twice that."""
        sets = sets_of(geometry, speed_spread=0.008)
        carried, cage = sets["ball with cage"], sets["cage"]
        assert carried.multiples == multiples
        assert replace(carried, name="cage", multiples=cage.multiples) == cage

    def test_the_turning_ring_has_the_turn_sidebands(self) -> None:
        turned = sets_of(replace(COLLIDING, turning="outer"))
        assert set(np.round(turned["outer_raceway"].offsets, 9)) == {1.0, -1.0, 2.0, -2.0, 0.4, -0.4}
        assert 1.0 not in turned["inner_raceway"].offsets
        assert 0.6 in np.round(turned["ball"].offsets, 9)  # the cage turns 1 - 0.4

    @pytest.mark.parametrize("turning", ["inner", "outer"])
    def test_slip_moves_each_order_as_the_cage_does(self, turning: str) -> None:
        """Against the kinematics: the standing ring is struck Z f times a turn, the turning one Z (1 - f) times.

        The cage's fraction grown by one in a million, by numerical difference: 1e-5 of the share.
        """
        geometry = replace(COLLIDING, turning=turning)
        sets = sets_of(geometry)
        cage, step = sets["cage"].order, 1e-6
        standing, moving = ("outer_raceway", "inner_raceway")[:: 1 if turning == "inner" else -1]
        for part, struck in ((standing, lambda f: 8 * f), (moving, lambda f: 8 * (1 - f)), ("cage", lambda f: f)):
            assert struck(cage) == pytest.approx(sets[part].order, rel=1e-9)
            share = (struck(cage * (1 + step)) / struck(cage) - 1) / step
            assert sets[part].slip_share == pytest.approx(share, rel=1e-5)
            assert cage_seen(sets[part], struck(cage * 1.004), cage) == pytest.approx(cage * 1.004, rel=1e-9)

    def test_an_unsure_speed_widens_the_search(self) -> None:
        """Slip and speed are independent: spreads add by squares, 0.006 and 0.008 to 0.010."""
        sets = sets_of(COLLIDING, speed_spread=0.008)
        assert sets["outer_raceway"].spread == pytest.approx(0.010, rel=1e-12)
        assert sets["inner_raceway"].spread == pytest.approx((0.004**2 + 0.008**2) ** 0.5, rel=1e-12)
        assert sets["ball"].spread == pytest.approx((0.006**2 + 0.005**2 + 0.008**2) ** 0.5, rel=1e-12)


class TestTied:
    @pytest.mark.parametrize("speed_spread", [0.001, 0.005, 0.03])
    @pytest.mark.parametrize("first", ["outer_raceway", "inner_raceway", "ball", "ball with cage", "cage"])
    @pytest.mark.parametrize("second", ["outer_raceway", "inner_raceway", "ball", "ball with cage", "cage"])
    def test_against_the_conditioning_of_a_normal_law(self, first: str, second: str, speed_spread: float) -> None:
        """The covariance of (wanted, found) written out from its causes, conditioned by numpy.

        Causes: slip, speed, how well the first's order was found, and each ball's own spin. What the first
        tells of the second is the regression on it; what is left is the Schur complement, and on it lies how
        well an order is found.
        """
        if first == second:
            return
        sets = sets_of(COLLIDING, speed_spread=speed_spread)
        one, other = sets[first], sets[second]
        causes = np.diag([0.006**2, speed_spread**2, 0.0008**2, 0.005**2, 0.005**2])
        mixing = np.array(
            [
                [other.slip_share, 1.0, 0.0, float(second == "ball"), 0.0],
                [one.slip_share, 1.0, 1.0, 0.0, float(first == "ball")],
            ]
        )
        ((own, shared), (_, known)) = mixing @ causes @ mixing.T
        found = one.order * 1.0035
        expected = tied(other, one, found, speed_spread=speed_spread)
        assert expected.order == pytest.approx(other.order * (1 + shared / known * 0.0035), rel=1e-9)
        assert expected.spread == pytest.approx((own - shared**2 / known + 0.0008**2) ** 0.5, rel=1e-6)
        assert replace(expected, order=other.order, spread=other.spread) == other

    def test_what_slip_adds_to_one_ring_it_takes_from_the_other(self) -> None:
        """A sure speed, and the outer ring 0.4 per cent low: the inner one lies 0.4 x 0.4/0.6 = 0.27 high."""
        sets = sets_of(COLLIDING, speed_spread=1e-6)
        low = tied(sets["inner_raceway"], sets["outer_raceway"], 3.2 * 0.996, speed_spread=1e-6)
        assert low.order / 4.8 - 1 == pytest.approx(0.004 * 0.4 / 0.6, rel=0.03)
        assert low.spread < 0.0011

    def test_a_wrong_speed_moves_all_alike(self) -> None:
        """Known to 5 per cent: 3 per cent off is the speed's, for any slip that happens."""
        sets = sets_of(COLLIDING, speed_spread=0.05)
        high = tied(sets["inner_raceway"], sets["outer_raceway"], 3.2 * 1.03, speed_spread=0.05)
        assert high.order / 4.8 - 1 == pytest.approx(0.03, abs=0.002)

    def test_teeth_tell_nothing_of_slip(self) -> None:
        chain = HarmonicSet(name="chain", order=50.0, locked=True, whole=True)
        inner = sets_of(COLLIDING)["inner_raceway"]
        assert tied(inner, chain, 50.02, speed_spread=0.001) == inner
        assert tied(chain, inner, 4.82, speed_spread=0.001) == chain
