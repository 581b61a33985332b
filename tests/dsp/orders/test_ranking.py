"""Which part is named: planted damage in simulated spins, near and full collisions, invariances, openness."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from planted import levels_with, spectra_of, strikes
from scipy import signal

from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.dsp.orders import ranking, unexplained
from acoustic.dsp.orders.evidence import Ranking
from acoustic.dsp.orders.healthy import healthy_db
from acoustic.dsp.orders.hypotheses import PARTS
from acoustic.dsp.orders.ranking import rank_parts
from acoustic.dsp.orders.tracking import BINS_A_TURN, AngleLevels
from acoustic.simulator import Spin, SpinPlan

Simulated = Callable[[SpinPlan], Spin]
Rank = Callable[..., Any]
SLIP = 0.004
CERTAIN = 1e-6  # planted damage; healthy spins below stay above 1e-3

# By hand for 16 balls of 3.5 on 31 mm, cage 0.443548 lagging by 0.4 per cent: 0.441774.
# Outer 16 x 0.441774, inner 16 x (1 - 0.441774), ball 8.744240 x 0.996.
TRUE_ORDERS = {"outer_raceway": 7.06839, "inner_raceway": 8.93161, "ball": 8.70926}
# 8 balls of 10 on 50 mm: by hand inner and ball both strike 4.8 times a turn, outer 3.2.
COLLIDING = BearingGeometry(balls=8, ball_diameter_mm=10.0, pitch_diameter_mm=50.0)


def plan(geometry: BearingGeometry, *parts: tuple[str, float], **more: Any) -> SpinPlan:
    return SpinPlan(
        geometry=geometry, defects=parts, **{"duration_s": 11.0, "turns": 10.0, "waviness": 0.0} | more
    )


def ranked(levels: AngleLevels, geometry: BearingGeometry, *, speed_spread: float = 0.001) -> Ranking:
    """The ranking of levels written by hand."""
    return rank_parts(spectra_of(levels), levels, [geometry], speed_spread=speed_spread)


def test_the_numbers_that_verdicts_rest_on() -> None:
    assert ranking.PRIOR == {"outer_raceway": 0.4, "inner_raceway": 0.4, "ball": 0.075, "cage": 0.05}
    assert (ranking.OTHER_PRIOR, ranking.UNKNOWN_PRIOR, ranking.TEMPER) == (0.05, 0.01, 0.5)
    assert (ranking.LIKELY, unexplained.DOUBTFUL, ranking.STANDING_IN) == (0.01, 0.05, 0.5)
    assert (ranking.NULLS, ranking.NULL_GAP, ranking.PINNED_SPREAD) == (20, 0.02, 0.001)
    assert (unexplained.LOWEST_BASE, unexplained.HIGHEST_BASE, unexplained.UNEXPLAINED_CELL) == (2.2, 17.0, 0.01)


class TestPlanted:
    @pytest.mark.parametrize("seed", [0, 1, 2])
    @pytest.mark.parametrize("part", ["outer_raceway", "inner_raceway", "ball"])
    def test_named_right(self, part: str, seed: int, commonest: BearingGeometry, rank: Rank) -> None:
        """Strikes 4 dB below the room in its own band, inner and ball 1.8 per cent apart.

        The random walk of the intervals (0.5 per cent each, some 60 of them) and a line's width of
        1.2 over 8 turns and 5 harmonics place the order to 0.2 per cent.
        """
        found = rank(plan(commonest, (part, -4.0), seed=seed), commonest)
        first = found.parts[0]
        assert first.part == part
        assert first.chance < CERTAIN
        assert first.named and first.certain
        assert first.harmonics >= 8
        assert first.order == pytest.approx(TRUE_ORDERS[part], rel=0.002)
        assert sorted(p.part for p in found.parts) == sorted(PARTS)
        assert all(p.chance > 1e-3 and not p.certain for p in found.parts[1:])

    @pytest.mark.parametrize("seed", [0, 1])
    @pytest.mark.parametrize("part", ["inner_raceway", "ball"])
    def test_a_full_collision_is_never_named_wrong(self, part: str, seed: int, rank: Rank) -> None:
        """One order for both: the sidebands decide, or both are named as rivals."""
        found = rank(plan(COLLIDING, (part, 0.0), seed=seed), COLLIDING)
        first = found.parts[0]
        assert first.chance < CERTAIN
        assert first.part == part or (part in first.rivals and not first.named)
        assert found.part("outer_raceway").chance > 1e-3

    @pytest.mark.parametrize("seed", [0, 1])
    def test_a_full_collision_without_sidebands_stays_open(self, seed: int, rank: Rank) -> None:
        """Every angle loaded alike, so the inner ring's strikes carry no sideband to tell them by."""
        bare = plan(COLLIDING, ("inner_raceway", 0.0), seed=seed, load_zone=0.0, slip=0.0)
        first = rank(bare, COLLIDING).parts[0]
        assert first.chance < CERTAIN
        assert not first.named
        assert {first.part, *first.rivals} == {"inner_raceway", "ball"}

    def test_two_parts_at_once(self, commonest: BearingGeometry, rank: Rank) -> None:
        damage = (("outer_raceway", 0.0), ("inner_raceway", 0.0))
        found = rank(plan(commonest, *damage, seed=5), commonest)
        assert {p.part for p in found.parts[:2]} == {"outer_raceway", "inner_raceway"}
        assert found.part("cage").chance > 1e-3
        assert all(p.chance < CERTAIN for p in found.parts[:2])

    def test_the_louder_damage_has_the_greater_ratio(self, commonest: BearingGeometry, rank: Rank) -> None:
        """The same strikes (same seed) over the same noise, at four levels.

        More may count for less than it is where loud frames are capped and the band that is heard best
        changes, never for less than before: 18 dB more show as 12 at least.
        """
        found_db = [
            rank(plan(commonest, ("outer_raceway", level_db), seed=1), commonest).part("outer_raceway").impact_db
            for level_db in (-14.0, -8.0, -2.0, 4.0)
        ]
        assert found_db == sorted(found_db)
        assert found_db[3] - found_db[0] >= 12

    @pytest.mark.parametrize("seed", [0, 1, 2])
    def test_a_healthy_spin_names_nothing(self, seed: int, commonest: BearingGeometry, rank: Rank) -> None:
        """12 chances, all of them above 1e-3: that happens in 99 of 100 sets."""
        found = rank(plan(commonest, seed=seed), commonest)
        assert all(p.chance > 1e-3 for p in found.parts)
        assert not any(p.named or p.certain for p in found.parts)
        assert all(p.posterior < 0.5 for p in found.parts)
        assert found.ranking.unexplained.chance > 0.05

    def test_what_comes_once_a_turn_is_no_part(self, commonest: BearingGeometry, rank: Rank) -> None:
        """A card's ticks, 25 dB over the room, left in: whole-turn lines are set aside."""
        found = rank(plan(commonest, seed=1, ticks_db=25.0), commonest)
        assert all(p.chance > 1e-3 for p in found.parts)

    @pytest.mark.parametrize("seed", [2, 3])
    def test_ticks_that_keep_to_an_angle_are_no_part(
        self, seed: int, commonest: BearingGeometry, rank: Rank
    ) -> None:
        found = rank(plan(commonest, seed=seed, ticks_db=25.0), commonest)
        assert found.levels.fixed_angles == 1
        assert all(p.chance > 1e-3 for p in found.parts)

    def test_the_ball_count_is_inferred(self, commonest: BearingGeometry, rank: Rank) -> None:
        """15 balls simulated, 16 thought likelier: orders 6 per cent apart, so the lines decide."""
        fifteen = replace(commonest, balls=15)
        found = rank(plan(fifteen, ("outer_raceway", 0.0), seed=2), commonest, fifteen)
        assert (found.parts[0].part, found.parts[0].balls) == ("outer_raceway", 15)
        assert found.parts[0].chance < CERTAIN
        assert found.parts[0].rivals == ()
        assert found.ranking.counts[0].balls == 15
        assert found.ranking.counts[0].probability > 0.99
        assert all(part.balls == 15 for part in found.parts)

    def test_a_ring_is_named_whichever_count_it_has(self, commonest: BearingGeometry, rank: Rank) -> None:
        fifteen = replace(commonest, balls=15)
        assert rank(plan(fifteen, ("outer_raceway", 0.0), seed=2), commonest, fifteen).parts[0].named

    def test_true_orders_by_hand(self, commonest: BearingGeometry) -> None:
        """The slipping orders typed above follow from the rolling ones."""
        orders = defect_orders(commonest)
        lagging = orders.cage * (1 - SLIP)
        assert TRUE_ORDERS["outer_raceway"] == pytest.approx(16 * lagging, abs=1e-5)
        assert TRUE_ORDERS["inner_raceway"] == pytest.approx(16 * (1 - lagging), abs=1e-5)
        assert TRUE_ORDERS["ball"] == pytest.approx(orders.ball * (1 - SLIP), abs=1e-5)


class TestStrikesByHand:
    """Strikes laid into exponential noise, at the orders of the commonest bearing, with no simulator between."""

    @pytest.mark.parametrize("seed", [1, 2, 3])
    def test_a_ring_s_own_cage_modulation_is_neither_cage_nor_ball(
        self, seed: int, commonest: BearingGeometry
    ) -> None:
        """Sixteen balls of sixteen heights strike a standing ring: the pattern comes back with the cage."""
        at = strikes(defect_orders(commonest).outer_raceway)
        heights = np.random.default_rng(seed).lognormal(1.0, 0.6, size=16)
        first, *others = ranked(levels_with((at, heights[np.arange(at.size) % 16])), commonest).parts
        assert first.part == "outer_raceway"
        assert first.named
        assert first.chance < CERTAIN
        assert not any(part.certain or part.named for part in others)

    @pytest.mark.parametrize("seed", [1, 2, 3])
    @pytest.mark.parametrize(
        ("multiples", "part", "named"),
        [((1, 2, 3, 5, 6, 10, 11), "ball", True), (range(1, 9), "cage", True), ((1, 2, 3), "", False)],
        ids=["about its spin", "all the first ones", "few"],
    )
    def test_a_ball_in_the_cage_s_time_is_no_cage(
        self, multiples: tuple[int, ...], part: str, named: bool, seed: int
    ) -> None:
        """By hand: 8 balls of 6.746 on 28.499 mm have a cage's order of 0.381645 and spin 5.2 times a cage turn.

        Of its multiples the first ones with those about the spin are a ball's, all first eight a cage's; the
        first ones alone are of anything whose load comes round with the cage, and stay open.
        """
        geometry = BearingGeometry(balls=8, ball_diameter_mm=6.746, pitch_diameter_mm=28.499)
        turns = 60.0
        angle = np.arange(round(turns * BINS_A_TURN)) / BINS_A_TURN
        swell = 0.12 * sum(np.cos(2 * np.pi * 0.381645 * k * angle + k * k) for k in multiples)
        found = ranked(levels_with(swell=swell, turns=turns, seed=seed), geometry).parts
        first = found[0]
        assert first.chance < CERTAIN or not named
        assert first.with_cage or not named
        assert [one.part for one in found if one.named and one.certain] == ([part] if named else [])

    @pytest.mark.parametrize("seed", [1, 2, 3])
    def test_the_turning_ring_s_way_through_the_load_is_its_own(
        self, seed: int, commonest: BearingGeometry
    ) -> None:
        at = strikes(defect_orders(commonest).inner_raceway)
        heights = 4 * (1 + 0.9 * np.cos(2 * np.pi * at))
        first, *others = ranked(levels_with((at, heights), seed=seed), commonest).parts
        assert (first.part, first.named) == ("inner_raceway", True)
        assert first.chance < CERTAIN
        assert not any(part.certain or part.named for part in others)

    @pytest.mark.parametrize("paces", [(1,), (1, 2), (2, 3)])
    @pytest.mark.parametrize("part", ["outer_raceway", "inner_raceway", "ball"])
    def test_a_swell_at_two_harmonics_is_waviness(
        self, part: str, paces: tuple[int, ...], commonest: BearingGeometry
    ) -> None:
        """A tenth in amplitude, the k-th harmonic 1/k as deep: the deepest of the simulator's healthy bearings.

        Less those lines nothing is both sure and stronger than healthy bearings show.
        """
        angle = np.arange(12 * BINS_A_TURN) / BINS_A_TURN
        order = getattr(defect_orders(commonest), part)
        swell = sum(0.2 / pace * np.cos(2 * np.pi * order * pace * angle) for pace in paces)
        found = ranked(levels_with(swell=np.asarray(swell)), commonest)
        assert not any(one.named for one in found.parts)
        assert all(one.chance > 0.002 or one.impact_db < healthy_db(one.part) for one in found.parts)

    def test_whole_turn_lines_pin_a_speed_that_was_stated_wide(self, commonest: BearingGeometry) -> None:
        """A speed known to 5 per cent would reach strikes 3 per cent off; where whole orders stand it is right."""
        order = 1.03 * defect_orders(commonest).outer_raceway
        train = (strikes(order), 5.0)
        loose = ranked(levels_with(train), commonest, speed_spread=0.05)
        assert (loose.parts[0].part, loose.parts[0].order) == ("outer_raceway", pytest.approx(order, rel=1e-3))
        assert loose.parts[0].chance < CERTAIN
        pinned = ranked(levels_with(train, (strikes(1.0), 30.0)), commonest, speed_spread=0.05)
        assert not any(part.certain or part.named for part in pinned.parts)
        assert pinned.unexplained.order == pytest.approx(order, rel=1e-3)
        assert pinned.unexplained.chance < CERTAIN

    @pytest.mark.parametrize("seed", [1, 2])
    def test_groups_may_stand_in_any_order(self, seed: int, commonest: BearingGeometry) -> None:
        """The groups turned round: the same part, chance and posterior, but for single precision."""
        levels = levels_with((strikes(defect_orders(commonest).inner_raceway), 3.0), seed=seed)
        spectra = spectra_of(levels)
        turned = replace(spectra, power=spectra.power[::-1].copy(), groups=spectra.groups[::-1])
        plain, other = (
            rank_parts(one, levels, [commonest], speed_spread=0.001).parts for one in (spectra, turned)
        )
        assert plain[0].part == "inner_raceway"
        assert [part.part for part in plain] == [part.part for part in other]
        for one, two in zip(plain, other, strict=True):
            assert two.order == one.order
            assert math.log(two.chance) == pytest.approx(math.log(one.chance), rel=1e-4, abs=1e-4)
            assert two.posterior == pytest.approx(one.posterior, rel=1e-3, abs=1e-6)


class TestInvariance:
    @pytest.mark.parametrize("gain", [0.125, 40.0])
    def test_gain(self, gain: float, commonest: BearingGeometry, rank: Rank) -> None:
        """Levels are set against levels: rounding alone, which may move a bin by one place of the table."""
        spin = plan(commonest, ("inner_raceway", -4.0), seed=1)
        plain, other = rank(spin, commonest), rank(spin, commonest, gain=gain)
        for one, two in zip(plain.parts, other.parts, strict=True):
            assert two.part == one.part
            assert two.order == one.order
            assert math.log(two.chance) == pytest.approx(math.log(one.chance), rel=0.01, abs=0.01)
            assert two.impact_ratio == pytest.approx(one.impact_ratio, rel=1e-6, abs=1e-9)

    @pytest.mark.parametrize("late_s", [0.5, 2.0])
    def test_time(self, late_s: float, commonest: BearingGeometry, simulated: Simulated, rank: Rank) -> None:
        """Room noise before, marks as much later: times move, orders do not.

        Whole frames put before leave every frame of the turning part as it was, but for the length of
        the one transform and rounding of the marks.
        """
        what = plan(commonest, ("inner_raceway", -4.0), seed=1)
        spin = simulated(what)
        count = round(late_s * spin.sample_rate_hz)
        room = np.std(spin.samples[: spin.sample_rate_hz]) * np.random.default_rng(9).standard_normal(count)
        late = replace(spin, samples=np.concatenate([room, spin.samples]), marks_s=spin.marks_s + late_s)
        plain, other = rank(what, commonest), rank(what, commonest, spin=late)
        self.alike(plain, other, tolerance=0.2)
        assert other.levels.turns == pytest.approx(plain.levels.turns, abs=0.005)

    def test_sample_rate(self, commonest: BearingGeometry, simulated: Simulated, rank: Rank) -> None:
        """scipy.signal.resample_poly to 44.1 kHz: frames of 0.998 in place of 1 ms, nothing else.

        The logarithm of a chance is in units of how far luck spreads, read off 20 places: a fifth, and so is this.
        """
        what = plan(commonest, ("inner_raceway", -4.0), seed=1)
        spin = simulated(what)
        slower = replace(spin, samples=signal.resample_poly(spin.samples, 147, 160), sample_rate_hz=44100)
        plain, other = rank(what, commonest), rank(what, commonest, spin=slower)
        self.alike(plain, other, tolerance=0.2)
        ratio = other.parts[0].wide_ratio / plain.parts[0].wide_ratio
        assert abs(10 * math.log10(ratio)) < 1.0

    @pytest.mark.xfail(
        strict=True, reason="the group that scores highest changes, and with it the strength by 4 dB"
    )
    def test_sample_rate_keeps_the_strength(
        self, commonest: BearingGeometry, simulated: Simulated, rank: Rank
    ) -> None:
        what = plan(commonest, ("inner_raceway", -4.0), seed=1)
        spin = simulated(what)
        slower = replace(spin, samples=signal.resample_poly(spin.samples, 147, 160), sample_rate_hz=44100)
        plain, other = rank(what, commonest).parts[0], rank(what, commonest, spin=slower).parts[0]
        assert abs(other.impact_db - plain.impact_db) < 0.5
        assert other.named == plain.named

    @staticmethod
    def alike(plain: Any, other: Any, *, tolerance: float) -> None:
        assert other.parts[0].part == plain.parts[0].part
        assert other.parts[0].order == pytest.approx(plain.parts[0].order, rel=1e-3)
        assert math.log(other.parts[0].chance) == pytest.approx(math.log(plain.parts[0].chance), rel=tolerance)
