"""Which part is named: planted damage in simulated spins, near and full collisions, invariances."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import signal

from acoustic.core.geometry import BearingGeometry, defect_orders
from acoustic.core.rings import PARTS, part_combs
from acoustic.simulator import Spin, SpinPlan

Simulated = Callable[[SpinPlan], Spin]
SLIP = 0.004
CERTAIN = 1e-6  # planted damage; sound spins below stay above 1e-3

# By hand for 16 balls of 3.5 on 31 mm, cage 0.443548 lagging by 0.4 per cent: 0.441774.
# Outer 16 x 0.441774, inner 16 x (1 - 0.441774), ball 8.744240 x 0.996.
TRUE_ORDERS = {"outer_raceway": 7.06839, "inner_raceway": 8.93161, "ball": 8.70926}


def plan(geometry: BearingGeometry, *parts: tuple[str, float], **more: Any) -> SpinPlan:
    return SpinPlan(
        geometry=geometry, defects=parts, **{"duration_s": 11.0, "turns": 10.0, "waviness": 0.0} | more
    )


@pytest.fixture(scope="session")
def colliding() -> BearingGeometry:
    """8 balls of 10 on 50 mm: by hand inner and ball both strike 4.8 times a turn, outer 3.2."""
    return BearingGeometry(balls=8, ball_diameter_mm=10.0, pitch_diameter_mm=50.0)


@pytest.fixture(scope="session")
def spin(commonest: BearingGeometry, simulated: Simulated) -> Spin:
    return simulated(plan(commonest, ("inner_raceway", -2.0), seed=1))


class TestPartCombs:
    def test_orders_and_sidebands(self, colliding: BearingGeometry) -> None:
        """Round numbers by hand: cage 0.4, outer 3.2, inner 4.8, ball 4.8.

        The ring that turns carries its spot through the load once a turn, a ball goes through it
        with the cage; what stands still has no sidebands (Randall and Antoni 2011, from memory).
        """
        combs = {comb.name: comb for comb in part_combs(colliding, speed_spread=0.0)}
        assert tuple(combs) == PARTS
        expected = {
            "outer_raceway": (3.2, ()),
            "inner_raceway": (4.8, (1.0,)),
            "ball": (4.8, (0.4,)),
            "cage": (0.4, ()),
        }
        for part, (order, sidebands) in expected.items():
            assert combs[part].order == pytest.approx(order, rel=1e-12)
            assert combs[part].sidebands == pytest.approx(sidebands, rel=1e-12)
            assert combs[part].balls == 8

    def test_the_turning_ring_has_the_turn_sidebands(self, colliding: BearingGeometry) -> None:
        turned = replace(colliding, turning="outer")
        combs = {comb.name: comb for comb in part_combs(turned, speed_spread=0.0)}
        assert combs["outer_raceway"].sidebands == (1.0,)
        assert combs["inner_raceway"].sidebands == ()
        assert combs["ball"].sidebands == pytest.approx((0.6,), rel=1e-12)  # the cage turns 1 - 0.4

    def test_an_unsure_speed_widens_the_search(self, colliding: BearingGeometry) -> None:
        """At a sure speed slip of 1 to 2 per cent must be reached; never so wide that orders a ball apart
        (1/16 of the order at 16 balls) mix: half of that is 3 per cent, plus a little."""
        widths = [part_combs(colliding, speed_spread=s)[0].tolerance for s in (0, 0.003, 0.01, 0.03, 0.3)]
        assert widths == sorted(widths)
        assert 0.01 <= widths[0] <= 0.02
        assert widths[2] > widths[0]
        assert widths[-1] == widths[-2] <= 0.04


class TestPlanted:
    @pytest.mark.parametrize("seed", [0, 1, 2])
    @pytest.mark.parametrize("part", ["outer_raceway", "inner_raceway", "ball"])
    def test_named_right(
        self, part: str, seed: int, commonest: BearingGeometry, simulated: Simulated, hear: Callable[..., Any]
    ) -> None:
        """Strikes 4 dB below the room in its own band, inner and ball 1.8 per cent apart.

        The random walk of the intervals (0.5 per cent each, some 60 of them) and a line's width of
        1.2 over 8 turns and 5 harmonics place the order to 0.2 per cent.
        """
        heard = hear(simulated(plan(commonest, (part, -4.0), seed=seed)), commonest)
        assert heard.parts[0].part == part
        assert heard.parts[0].chance < CERTAIN
        assert heard.parts[0].rivals == ()
        assert heard.parts[0].match.order == pytest.approx(TRUE_ORDERS[part], rel=0.002)
        assert sorted(p.part for p in heard.parts) == sorted(PARTS)
        assert all(p.chance > 1e-3 for p in heard.parts[1:])

    @pytest.mark.parametrize("seed", [0, 1])
    @pytest.mark.parametrize("part", ["inner_raceway", "ball"])
    def test_a_full_collision_is_never_named_wrong(
        self, part: str, seed: int, colliding: BearingGeometry, simulated: Simulated, hear: Callable[..., Any]
    ) -> None:
        """One order for both: the sidebands decide, or both are named as rivals."""
        heard = hear(simulated(plan(colliding, (part, 0.0), seed=seed)), colliding)
        first = heard.parts[0]
        assert first.chance < CERTAIN
        assert first.part in ("inner_raceway", "ball")
        assert first.part == part or part in first.rivals
        assert heard.part("outer_raceway").chance > 1e-3

    @pytest.mark.parametrize("seed", [0, 1])
    def test_a_full_collision_without_sidebands_stays_open(
        self, seed: int, colliding: BearingGeometry, simulated: Simulated, hear: Callable[..., Any]
    ) -> None:
        """Every angle loaded alike, so the inner ring's strikes carry no sideband to tell them by."""
        bare = plan(colliding, ("inner_raceway", 0.0), seed=seed, load_zone=0.0, slip=0.0)
        first = hear(simulated(bare), colliding).parts[0]
        assert first.chance < CERTAIN
        assert {first.part, *first.rivals} == {"inner_raceway", "ball"}

    def test_two_parts_at_once(
        self, commonest: BearingGeometry, simulated: Simulated, hear: Callable[..., Any]
    ) -> None:
        damage = (("outer_raceway", 0.0), ("inner_raceway", 0.0))
        heard = hear(simulated(plan(commonest, *damage, seed=5)), commonest)
        assert {p.part for p in heard.parts[:2]} == {"outer_raceway", "inner_raceway"}
        assert all(p.chance < CERTAIN for p in heard.parts[:2])
        assert heard.part("cage").chance > 1e-3

    def test_the_louder_damage_has_the_greater_ratio(
        self, commonest: BearingGeometry, simulated: Simulated, hear: Callable[..., Any]
    ) -> None:
        """The same strikes (same seed) over the same noise, at four levels.

        Faint ones, 6 dB apart, differ by 6 dB but for the noise and the choice of bands, a third of
        that. Loud ones meet the cap on loud frames: more may count for less than it is, never for
        less than before.
        """
        found_db = []
        for level_db in (-14.0, -8.0, -2.0, 4.0):
            heard = hear(simulated(plan(commonest, ("outer_raceway", level_db), seed=1)), commonest)
            found_db.append(10 * math.log10(heard.part("outer_raceway").event_ratio))
        assert found_db[1] - found_db[0] == pytest.approx(6, abs=2)
        assert found_db == sorted(found_db)

    @pytest.mark.parametrize("seed", [0, 1, 2])
    def test_nothing_planted(
        self, seed: int, commonest: BearingGeometry, simulated: Simulated, hear: Callable[..., Any]
    ) -> None:
        """12 chances, all of them above 1e-3: that happens in 99 of 100 sets."""
        heard = hear(simulated(plan(commonest, seed=seed)), commonest)
        assert all(p.chance > 1e-3 for p in heard.parts)

    def test_what_comes_once_a_turn_is_no_part(
        self, commonest: BearingGeometry, simulated: Simulated, hear: Callable[..., Any]
    ) -> None:
        """A card's ticks, 25 dB over the room, left in: whole-turn lines are set aside."""
        heard = hear(simulated(plan(commonest, seed=1, ticks_db=25.0)), commonest)
        assert all(p.chance > 1e-3 for p in heard.parts)

    def test_the_ball_count_is_inferred(
        self, commonest: BearingGeometry, simulated: Simulated, hear: Callable[..., Any]
    ) -> None:
        """15 balls simulated, 16 thought likelier: orders 6 per cent apart, so the lines decide."""
        fifteen = replace(commonest, balls=15)
        heard = hear(simulated(plan(fifteen, ("outer_raceway", 0.0), seed=2)), commonest, fifteen)
        assert heard.parts[0].part == "outer_raceway"
        assert heard.parts[0].match.comb.balls == 15
        assert heard.parts[0].chance < CERTAIN


class TestInvariance:
    @pytest.mark.parametrize("gain", [0.125, 0.3, 40.0])
    def test_gain(self, gain: float, spin: Spin, commonest: BearingGeometry, hear: Callable[..., Any]) -> None:
        """Levels are set against levels: rounding alone, 1e-6 of a surprise of some hundred."""
        plain, other = hear(spin, commonest), hear(spin, commonest, gain=gain)
        for one, two in zip(plain.parts, other.parts, strict=True):
            assert two.part == one.part
            assert two.match.order == one.match.order
            assert two.match.surprise == pytest.approx(one.match.surprise, rel=1e-6)
            assert two.event_ratio == pytest.approx(one.event_ratio, rel=1e-6, abs=1e-9)

    @pytest.mark.parametrize("late_s", [0.5, 2.0])
    def test_time(self, late_s: float, spin: Spin, commonest: BearingGeometry, hear: Callable[..., Any]) -> None:
        """Room noise before, marks as much later: times move, orders do not.

        Whole frames put before leave every frame of the turning part as it was, but for the length of
        the one transform and rounding of the marks: the surprise may move by a few thousandths.
        """
        count = round(late_s * spin.sample_rate_hz)
        room = np.std(spin.samples[: spin.sample_rate_hz]) * np.random.default_rng(9).standard_normal(count)
        late = replace(spin, samples=np.concatenate([room, spin.samples]), marks_s=spin.marks_s + late_s)
        plain, other = hear(spin, commonest), hear(late, commonest)
        assert other.parts[0].part == plain.parts[0].part
        assert other.parts[0].match.order == pytest.approx(plain.parts[0].match.order, rel=2e-4)
        assert other.parts[0].match.surprise == pytest.approx(plain.parts[0].match.surprise, rel=0.02)
        assert other.levels.turns == pytest.approx(plain.levels.turns, abs=0.005)

    def test_sample_rate(self, spin: Spin, commonest: BearingGeometry, hear: Callable[..., Any]) -> None:
        """scipy.signal.resample_poly to 44.1 kHz: frames of 0.998 in place of 1 ms, nothing else."""
        slower = replace(spin, samples=signal.resample_poly(spin.samples, 147, 160), sample_rate_hz=44100)
        plain, other = hear(spin, commonest), hear(slower, commonest)
        assert other.parts[0].part == plain.parts[0].part
        assert other.parts[0].match.order == pytest.approx(plain.parts[0].match.order, rel=1e-3)
        assert other.parts[0].match.surprise == pytest.approx(plain.parts[0].match.surprise, rel=0.1)
        ratio_db = 10 * math.log10(other.parts[0].event_ratio / plain.parts[0].event_ratio)
        assert abs(ratio_db) < 0.5

    def test_true_orders_by_hand(self, commonest: BearingGeometry) -> None:
        """The slipping orders typed above follow from the rolling ones."""
        orders = defect_orders(commonest)
        lagging = orders.cage * (1 - SLIP)
        assert TRUE_ORDERS["outer_raceway"] == pytest.approx(16 * lagging, abs=1e-5)
        assert TRUE_ORDERS["inner_raceway"] == pytest.approx(16 * (1 - lagging), abs=1e-5)
        assert TRUE_ORDERS["ball"] == pytest.approx(orders.ball * (1 - SLIP), abs=1e-5)
