"""Which part of the bearing, or of the drivetrain, carries the lines: the combs weighed against each other."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.core.angle import AngleLevels
from acoustic.core.geometry import BearingGeometry, defect_orders
from acoustic.core.ground import Ground
from acoustic.core.lines import (
    SLIP_SPREAD,
    SMEAR,
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
from acoustic.core.severity import NOTHING, faint_power, plain_power, strike_power, wide_run
from acoustic.core.spectra import OrderSpectra, tempered

Floats = NDArray[np.float64]

PARTS = ("outer_raceway", "inner_raceway", "ball", "cage")
DECIDED = 4.6  # nats between two parts that share their lines: odds of 100 to 1
STANDS = 4.0  # power over the floor of a line that is there; noise shows it once in 55
MOST_TIMES = 4  # a ball pass may lie on this harmonic of the drivetrain's strikes, or a lower one
SIGNIFICANT = 0.01
FAINT = 0.01  # -20 dB: weaker lines are a sound bearing's, or the skirts of some other beat
STANDING_IN = 0.5  # of the runs that tell of a part
ECHO_TOLERANCE = 0.004
ECHO_MARGIN = 8.0  # nats


@dataclass(frozen=True, slots=True, kw_only=True)
class PartEvidence:
    """How strongly one part's lines stand in the recording.

    Attributes
    ----------
    part : str
        One of `PARTS`, or 'chain', 'jockey' or 'hub'.
    chance : float
        Chance of lines as surprising under none, all searching counted in.
    event_ratio : float
        Mean power of the events over the level beneath, in the run they stand highest in
        of those that speak for them.
    match : Match
    loudest_run : (int, int)
        First and last band of the run that the ratio was measured in.
    wide_ratio : float
        The same power over all bands that strikes ring, so that a narrow resonance alone is not severe.
    wide_run : (int, int)
        First and last of those bands.
    rivals : tuple of str
        Parts that explain the same lines as well.
    """

    part: str
    chance: float
    event_ratio: float
    match: Match
    loudest_run: tuple[int, int]
    wide_ratio: float
    wide_run: tuple[int, int]
    rivals: tuple[str, ...] = ()

    @property
    def event_db(self) -> float:
        """The events' power over the level beneath [dB]."""
        return 10 * math.log10(max(self.event_ratio, 1e-9))

    @property
    def certain(self) -> bool:
        """Whether its lines are there beyond doubt, and more than the skirts of others."""
        return self.chance < SIGNIFICANT and self.event_ratio > FAINT


def part_combs(geometry: BearingGeometry, *, speed_spread: float) -> tuple[Comb, ...]:
    """List the combs of every part of a bearing.

    Parameters
    ----------
    geometry : BearingGeometry
    speed_spread : float
        Relative uncertainty of the speed, one standard deviation.

    Returns
    -------
    tuple of Comb
        One a part. Sidebands: a turn for what passes the load once a turn,
        a cage turn for what the cage carries through it.
    """
    orders = defect_orders(geometry)
    spread = math.hypot(SLIP_SPREAD, speed_spread)
    # The ring that turns carries its spot through the load once a turn.
    sides = {f"{geometry.turning}_raceway": (1.0,), "ball": (orders.cage,)}
    return tuple(
        Comb(
            name=part,
            order=getattr(orders, part),
            sidebands=sides.get(part, ()),
            tolerance=min(0.035, 0.006 + 2 * spread),
            balls=geometry.balls,
            spread=spread,
        )
        for part in PARTS
    )


@dataclass(frozen=True, slots=True)
class BallCount:
    """How likely a count of balls is, by the clearest part's lines, among all counts tried."""

    balls: int
    probability: float


@dataclass(frozen=True, slots=True, eq=False)
class Weighing:
    """The parts of a bearing and of the drivetrain, weighed.

    Attributes
    ----------
    parts : tuple of PartEvidence
        One for each of `PARTS`, in the order they were settled.
    drive : tuple of PartEvidence
        One for each comb of the drivetrain.
    left : OrderSpectra
        What is left when the parts found are taken out.
    counts : tuple of BallCount
        The counts tried, likeliest first.
    """

    parts: tuple[PartEvidence, ...]
    drive: tuple[PartEvidence, ...]
    left: OrderSpectra
    counts: tuple[BallCount, ...]


def weigh_parts(
    spectra: OrderSpectra,
    levels: AngleLevels,
    geometries: Sequence[BearingGeometry],
    *,
    speed_spread: float,
    count_nats: Sequence[float] = (),
    drive: Sequence[Comb] = (),
) -> Weighing:
    """Weigh every part of a bearing: the clearest first, each next on what it leaves.

    Parameters
    ----------
    spectra : OrderSpectra
    levels : AngleLevels
    geometries : sequence of BearingGeometry
        Candidates, likeliest first; they differ in their balls.
    speed_spread : float
        Relative uncertainty of the speed, one standard deviation.
    count_nats : sequence of float
        What speaks for each geometry before anything is heard [nats]; where empty, the
        first is 2 ahead of the others.
    drive : sequence of Comb
        Of the drivetrain's parts, which compete for the same lines.

    Returns
    -------
    Weighing
    """
    before = count_nats or [-2.0 * (k > 0) for k in range(len(geometries))]
    nats = {geometry.balls: value for geometry, value in zip(geometries, before, strict=True)} | {0: 0.0}
    combs = [comb for geometry in geometries for comb in part_combs(geometry, speed_spread=speed_spread)]
    combs = [replace(comb, tried=len(geometries)) for comb in combs]
    cage = defect_orders(geometries[0]).cage
    avoid = [comb.order for comb in (*combs, *drive)] + [1 - cage, 1.0]
    ground = Ground.of(spectra, (*combs, *drive))
    combs += drive
    settled: list[PartEvidence] = []
    counts: tuple[BallCount, ...] = ()
    while combs:
        matches = [match_comb(ground.under(comb), comb) for comb in combs]
        best = max(matches, key=lambda match: _worth(match) + nats[match.comb.balls])
        best, rivals = _told_apart(ground, best, matches, nats)
        seen, rest = ground.under(best.comb), ground.without(best, cage=cage)
        if best.comb.balls:
            counts = counts or _counts(matches, best, nats)
        law = backdrop(rest.under(best.comb), best.comb, avoid=avoid)
        evidence = _evidence(best, rivals, law, levels, seen, settled)
        if any(_shadows(part, best, seen) for part in settled) or _is_echo(seen, best):
            evidence = replace(evidence, chance=1.0)
        settled.append(evidence)
        combs = [comb for comb in combs if comb.name != evidence.part]
        if evidence.certain:
            ground = rest
            combs = [comb for comb in combs if comb.balls in (evidence.match.comb.balls or comb.balls, 0)]
    names = {comb.name for comb in drive}
    parts = tuple(part for part in settled if part.part not in names)
    return Weighing(parts, tuple(part for part in settled if part.part in names), ground.slipping, counts)


def _counts(matches: Sequence[Match], chosen: Match, nats: Mapping[int, float]) -> tuple[BallCount, ...]:
    """Weigh the ball counts by the best that each makes of the clearest lines."""
    best = {chosen.comb.balls: _worth(chosen) + nats[chosen.comb.balls]}
    for match in matches:
        if match.comb.balls not in (chosen.comb.balls, 0) and match.comb.name != "cage":
            value = _worth(match) + nats[match.comb.balls]
            best[match.comb.balls] = max(best.get(match.comb.balls, -math.inf), value)
    top = max(best.values())
    odds = {balls: math.exp(value - top) for balls, value in best.items()}
    whole = sum(odds.values())
    ranked = sorted(odds, key=lambda balls: (balls != chosen.comb.balls, -odds[balls]))
    return tuple(BallCount(balls, odds[balls] / whole) for balls in ranked)


def _is_echo(spectra: OrderSpectra, match: Match) -> bool:
    """Whether the lines are every second, third or fourth harmonic of another, clearer beat.

    Strikes 6 times a turn raise lines at 24 and 48 too, and so fit a part that
    strikes 8 times a turn in every third of its harmonics.
    """
    own = match_comb(spectra, replace(match.comb, order=match.order, sidebands=(), tolerance=ECHO_TOLERANCE))
    others = [
        match_comb(spectra, Comb(name="echo", order=match.order * share, tolerance=ECHO_TOLERANCE)).surprise
        for share in (1 / 2, 2 / 3, 3 / 4, 4 / 3, 3 / 2, 2)
    ]
    return max(others) > 1.4 * own.surprise + ECHO_MARGIN


def _shadows(part: PartEvidence, match: Match, spectra: OrderSpectra) -> bool:
    """Whether a settled part's lines lie where this one's would, so that what is left of them says nothing."""
    # Teeth do not slip: farther off, the higher harmonics lie clear of theirs.
    share = 0.5 if part.match.comb.locked else 1.0
    return part.certain and _apart(part.match, match) < share * _reach(spectra, match)


def _apart(other: Match, match: Match) -> float:
    """How far a match lies from another, or from a harmonic of a drivetrain's strikes [orders]."""
    times = max(1, round(match.order / other.order)) if other.comb.locked else 1
    return abs(times * other.order - match.order) if times <= MOST_TIMES else math.inf


def _reach(spectra: OrderSpectra, match: Match) -> float:
    """Half width of a line at the match's order [orders]: resolution, and what slip smears."""
    return 1.6 / spectra.turns + SMEAR * match.order


def _worth(match: Match) -> float:
    """Surprise, less what the shift from the computed order costs."""
    return match.surprise - 0.5 * ((match.order / match.comb.order - 1) / match.comb.spread) ** 2


def _evidence(
    match: Match,
    rivals: tuple[str, ...],
    law: Backdrop,
    levels: AngleLevels,
    spectra: OrderSpectra,
    settled: Sequence[PartEvidence],
) -> PartEvidence:
    leave_out = _lines_of_others(settled, spectra) if not match.comb.locked else NOTHING
    # The run that surprises most is seldom the one in which the events stand highest.
    runs = [spectra.runs[row] for row in telling_runs(spectra, match)]
    powers = [faint_power(levels, run, match.order, leave_out=leave_out) for run in runs]
    # Grit leaves lines by luck in the plain levels of some run; real strikes stand in the compressed ones of most.
    if np.mean(np.array(powers) > 0) > STANDING_IN:
        plain = (plain_power(levels, run, match.order, leave_out=leave_out) for run in runs)
        powers = [max(pair) for pair in zip(powers, plain, strict=True)]
    power, run = max(zip(powers, runs, strict=True))
    wide = wide_run(levels)
    in_run = (run[1] - run[0] + 1) / (wide[1] - wide[0] + 1)
    return PartEvidence(
        part=match.comb.name,
        chance=min(1.0, match.comb.tried * law.chance(match.surprise)),
        event_ratio=power,
        match=match,
        loudest_run=run,
        # Faint events drown in the wide bands, but what stands in the run is there.
        wide_ratio=max(strike_power(levels, wide, match.order, leave_out=leave_out), power * min(1.0, in_run)),
        wide_run=wide,
        rivals=rivals,
    )


def _lines_of_others(settled: Sequence[PartEvidence], spectra: OrderSpectra) -> Floats:
    """Lines of what was found before, which lift no other part of the bearing.

    But for the chain the harmonics alone: with all their sidebands little would be left to measure.
    """
    highest, lines = float(spectra.orders[-1]), NOTHING
    for match in (part.match for part in settled if part.certain):
        base = match.order / 2 if match.comb.name == "ball" else match.order
        harmonics = base * np.arange(1, int(highest / base) + 1)
        lines = np.append(lines, lines_of(match, highest=highest) if match.comb.whole else harmonics)
    return lines


def _told_apart(
    ground: Ground, best: Match, matches: Sequence[Match], nats: Mapping[int, float]
) -> tuple[Match, tuple[str, ...]]:
    """Choose between parts whose lines lie so near that slip may blur one into the other."""
    if best.comb.locked:
        return best, ()
    geared = [m for m in matches if m.comb.locked and _may_be(ground, m, best)]
    if geared:
        return max(geared, key=_worth), ()
    spectra, reach = ground.slipping, _reach(ground.slipping, best)
    slipping = [m for m in matches if m.comb.name != "cage" and not m.comb.locked]
    near = [m for m in slipping if abs(m.order - best.order) < reach]
    if len({m.comb.name for m in near}) < 2 or best not in near:
        return best, ()
    scores = [(_telling(spectra, m) + nats[m.comb.balls], m) for m in near]
    scores.sort(key=lambda pair: -pair[0])
    highest, chosen = scores[0]
    rivals = {m.comb.name for score, m in scores if highest - score < DECIDED}
    return chosen, tuple(sorted(rivals - {chosen.comb.name}))


def _may_be(ground: Ground, geared: Match, match: Match) -> bool:
    """Whether the drivetrain may make the lines that fit a part of the bearing.

    A chain's few, broad lines may, where the part has little else to show. Of a wheel at
    the part's own order the shift decides, since teeth do not slip. Where the part strikes
    a whole number of times as often, a wheel raises lines between the part's own.
    """
    spectra = ground.slipping
    if geared.comb.whole:
        lines = lines_of(geared, highest=float(spectra.orders[-1]))
        left = without_lines(spectra, lines, smear=SMEAR)
        return geared.surprise > DECIDED and match_comb(left, match.comb).surprise < match.surprise / 2
    if _apart(geared, match) > _reach(spectra, match):
        return False
    times = max(1, round(match.order / geared.order))
    if times == 1:
        return _worth(geared) + DECIDED > _worth(match)
    between = geared.order * np.array([k for k in range(1, 2 * times + 2) if k % times])
    index = np.rint(between / spectra.orders[1]).astype(np.intp)
    # One line alone may be another's: most of them must stand.
    weight = np.minimum(spectra.weight[geared.run, index], STANDS)
    return float(erlang_surprise(index.size, weight.sum())) > DECIDED


def _telling(spectra: OrderSpectra, match: Match) -> float:
    """Worth of a part's main lines, and of those only it would raise: sidebands, and a ball's half orders.

    The latter are set against the floor about their own harmonic, since slip
    spreads strong lines into skirts that would pass for sidebands.
    """
    main = match_comb(spectra, replace(match.comb, sidebands=()))
    power, step = spectra.power[main.run], spectra.orders[1]
    sides = [side * sign for side in match.comb.sidebands for sign in (1, -1)]
    groups: list[list[float]] = [[], []]
    for harmonic in range(1, main.harmonics + 1):
        centre = harmonic * main.order
        around = power[max(1, round((centre - 1.6) / step)) : round((centre + 1.6) / step)]
        floor = max(1.0, float(np.median(around)) / math.log(2)) if around.size else 1.0
        places = [(0, centre + side) for side in sides]
        if match.comb.name == "ball":
            places.append((1, centre - main.order / 2))
        for number, place in places:
            index = min(round(place / step), power.size - 1)
            groups[number].append(float(power[index]) / floor)
    score = _worth(main)
    for group in groups:
        if group:
            score += float(erlang_surprise(len(group), tempered(np.array(group)).sum())) - 1.0
    return score
