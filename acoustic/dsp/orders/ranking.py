"""Which part of the bearing, or of the drivetrain, carries the lines: hypotheses weighed against each other.

Parts compete, since inner ring and ball of a 6805 differ by 1.8 %: judged alone, each claims the other's lines.
Whole-turn lines are set aside first, because what turns with the crank is no ball pass. A wheel is denied only
the lines that a part is sure to raise. A cage that does not show eight low harmonics is left open between cage
and ball.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.dsp.orders.evidence import NAMED, BallCount, PartEvidence, Ranking
from acoustic.dsp.orders.harmonics import (
    BaseScores,
    HarmonicSet,
    LineEvidence,
    bases_about,
    log_prior,
    log_sum,
    null_centres,
)
from acoustic.dsp.orders.healthy import chance_of_lines
from acoustic.dsp.orders.hypotheses import CAGE_HARMONICS, cage_seen, part_sets, tied
from acoustic.dsp.orders.impact_level import (
    NOTHING,
    StrikeSpectra,
    faint_powers,
    plain_powers,
    strike_powers,
    wide_group,
)
from acoustic.dsp.orders.residual import (
    SMEAR,
    harmonics_of,
    lines_of,
    sure_lines,
    without_lines,
    without_turn_lines,
)
from acoustic.dsp.orders.spectrum import OrderSpectra
from acoustic.dsp.orders.tracking import AngleLevels
from acoustic.dsp.orders.unexplained import any_order, clearest_unexplained, elsewhere, wide_groups

PINNED_SPREAD = 0.001  # of a speed on whose whole orders lines stand
# Rings fail far more often than balls, and cages least (common practice).
PRIOR = {"outer_raceway": 0.4, "inner_raceway": 0.4, "ball": 0.075, "cage": 0.05}  # either way of the ball
OTHER_PRIOR = 0.05  # of a wheel or a chain, where one is looked for
UNKNOWN_PRIOR = 0.01  # of a train at an order that nothing here explains
# Lines of one train in overlapping bands are no independent news: log odds are shrunk by this before being told.
TEMPER = 0.5
LIKELY = 0.01  # of the posterior: what is less likely is no rival worth naming (judgement)
WORTH_A_LOOK = 0.0  # nats of a hypothesis, its prior counted in
NULLS = 20  # orders that mean nothing: enough for a middle and a width (judgement)
NULL_GAP = 0.02  # of the order: farther from a part than slip carries it
STANDING_IN = 0.5  # of the groups that tell of a part


@dataclass(frozen=True, slots=True, eq=False)
class _Hypothesis:
    """A set of harmonics as it fits the spectra: log Bayes factor with its prior, and the best place.

    What waviness may have raised, the strongest two, is told apart from what is beyond it.
    """

    harmonic_set: HarmonicSet
    nats: float
    beyond_waviness: float
    waviness: float
    order: float
    group: int
    harmonics: int


def rank_parts(
    spectra: OrderSpectra,
    levels: AngleLevels,
    geometries: Sequence[BearingGeometry],
    *,
    speed_spread: float,
    count_nats: Sequence[float] = (),
    drive: Sequence[HarmonicSet] = (),
    rows: int = 1,
) -> Ranking:
    """Rank every part of a bearing: the likeliest first, each next on what it leaves unexplained.

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
    drive : sequence of HarmonicSet
        Of the drivetrain's parts, which compete for the same lines.
    rows : {1, 2}
        Rows of balls; the lines of two lie at nearly the same orders.

    Returns
    -------
    Ranking
    """
    orders = [order for g in geometries for order in _ball_orders(g)]
    slipping, pinned = without_turn_lines(spectra, np.array(orders))
    speed_spread = min(speed_spread, PINNED_SPREAD) if pinned else speed_spread
    left = _Left(slipping, spectra)
    cage, count_prior = defect_orders(geometries[0]).cage, _count_prior(geometries, count_nats)
    open_sets = [*_sets_of(geometries, speed_spread, rows), *drive]
    strikes = StrikeSpectra(levels, row_spread=open_sets[0].row_spread)
    search = _Search.of(left, open_sets)
    unknown = any_order(search.slipping)
    selected: list[PartEvidence] = []
    counts: tuple[BallCount, ...] = ()
    while open_sets:
        fits = [_fit(search.under(one), one, count_prior[one.balls]) for one in open_sets]
        best = max(fits, key=lambda fit: fit.nats)
        shares = _posterior(fits, elsewhere(unknown, open_sets))
        counts = counts or _counts(fits, best)
        rest = _explained(left, best, cage, open_sets) if best.nats > WORTH_A_LOOK else left
        rest_search = _Search.of(rest, open_sets) if rest is not left else search
        first = None
        if (
            rest is not left
        ):  # its own lines lift what is found by luck elsewhere, so luck is read off what it leaves.
            chance = _chance(best, rest_search, orders)
            first = _evidence(best, chance, shares, strikes, spectra, selected)
        if first is None or not first.certain:
            # Nothing more stands out: what is left is taken as it is.
            for fit in _best_of_each(fits):
                chance = _chance(fit, search, orders)
                selected.append(_evidence(fit, chance, shares, strikes, spectra, selected))
            break
        selected.append(first)
        left, search = rest, rest_search
        unknown = any_order(search.slipping)
        open_sets = _still_open(open_sets, best, speed_spread)
    names = {one.name for one in drive}
    return Ranking(
        parts=tuple(part for part in selected if part.part not in names),
        drive=tuple(part for part in selected if part.part in names),
        counts=counts,
        unexplained=clearest_unexplained(unknown, spectra, strikes),
    )


def _best_of_each(fits: Sequence[_Hypothesis]) -> list[_Hypothesis]:
    """Of each part the likeliest hypothesis."""
    names = dict.fromkeys(fit.harmonic_set.name for fit in fits)
    return [max((f for f in fits if f.harmonic_set.name == name), key=lambda fit: fit.nats) for name in names]


def _still_open(sets: Sequence[HarmonicSet], best: _Hypothesis, speed_spread: float) -> list[HarmonicSet]:
    """The other parts of the bearing whose count of balls was found, where they are to be expected now."""
    found = best.harmonic_set
    rest = [one for one in sets if one.name != found.name and one.balls in (found.balls or one.balls, 0)]
    return [tied(one, found, best.order, speed_spread=speed_spread) for one in rest]


def _count_prior(geometries: Sequence[BearingGeometry], count_nats: Sequence[float]) -> dict[int, float]:
    """What speaks for each count of balls before anything is heard [nats]; wheels have no balls."""
    before = count_nats or [-2.0 * (k > 0) for k in range(len(geometries))]
    return {g.balls: value for g, value in zip(geometries, before, strict=True)} | {0: 0.0}


def _sets_of(geometries: Sequence[BearingGeometry], speed_spread: float, rows: int) -> list[HarmonicSet]:
    """Harmonics of every part of every candidate."""
    sets = [s for geometry in geometries for s in part_sets(geometry, speed_spread=speed_spread, rows=rows)]
    return [replace(s, tried=len(geometries)) for s in sets]


def part_chance(
    spectra: OrderSpectra, geometry: BearingGeometry, part: str, *, speed_spread: float, rows: int = 1
) -> float:
    """Chance that a healthy bearing's lines would stand as clear as those of one part, asked for alone.

    Parameters
    ----------
    spectra : OrderSpectra
    geometry : BearingGeometry
    part : str
        One of `PARTS`.
    speed_spread, rows
        As of `rank_parts`.

    Returns
    -------
    float
    """
    wanted = next(one for one in part_sets(geometry, speed_spread=speed_spread, rows=rows) if one.name == part)
    slipping, _ = without_turn_lines(spectra, np.array(_ball_orders(geometry)))
    search = _Search.of(_Left(slipping, spectra), ())
    return _chance(_fit(search.under(wanted), wanted, 0.0), search, _ball_orders(geometry))


@dataclass(frozen=True, slots=True)
class _Left:
    """What is left to explain: of what slips, without any line that may be explained, and of what is locked.

    Teeth do not slip, so a wheel is denied only the lines that a part is sure to raise, and none
    that keep the crank's own time.
    """

    slipping: OrderSpectra
    locked: OrderSpectra


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """What is left, made ready to be searched."""

    slipping: LineEvidence
    locked: LineEvidence

    @classmethod
    def of(cls, left: _Left, sets: Sequence[HarmonicSet]) -> _Search:
        slipping = LineEvidence(left.slipping)
        return cls(slipping, LineEvidence(left.locked) if any(one.locked for one in sets) else slipping)

    def under(self, harmonic_set: HarmonicSet) -> LineEvidence:
        """The bins in which a set is looked for."""
        return self.locked if harmonic_set.locked else self.slipping

    def nats(self, harmonic_set: HarmonicSet, orders: Floats) -> tuple[Floats, Floats]:
        """Log Bayes factors of a set about each of several orders, over its prior: beyond waviness, and all."""
        evidence = self.under(harmonic_set)
        one, highest = harmonic_set, max(harmonic_set.multiples)
        rows = [bases_about(float(order), one.spread, evidence.turns, highest=highest) for order in orders]
        scores = evidence.scores(np.concatenate(rows), one.offsets, multiples=one.multiples)
        priors = [log_prior(float(order), one.spread, row) for order, row in zip(orders, rows, strict=True)]
        ends = np.cumsum([row.size for row in rows])[:-1]
        beyond, whole = (
            np.array([log_sum(part + at) for part, at in zip(np.split(every, ends), priors, strict=True)])
            for every in (_beyond_waviness(scores, one), scores.whole)
        )
        return beyond, whole


def _beyond_waviness(scores: BaseScores, harmonic_set: HarmonicSet) -> Floats:
    """What is left of scores when what healthy waviness may raise is taken off.

    A ring's waviness raises a line or two: without the strongest two nothing is left of it. Teeth are not wavy.
    """
    return scores.whole if harmonic_set.locked else scores.trimmed


def _chance(fit: _Hypothesis, luck: _Search, orders: Sequence[float]) -> float:
    """Chance that a set scores as high where nothing is meant, of as many as it was chosen from.

    Its own lines lift what is found by luck elsewhere, so luck is read off what it leaves.
    """
    one = fit.harmonic_set
    if one.whole:
        centres = np.arange(round(0.6 * one.order), round(1.6 * one.order) + 1, dtype=float)
        centres = centres[np.abs(centres - one.order) > 2.5]
    else:
        avoid = [one.order] if one.with_cage else orders
        centres = null_centres(avoid, low=0.78 * one.order, high=1.28 * one.order, count=NULLS, gap=NULL_GAP)
    # Lines past the highest order are not known, here nor there: where the own lines end, so do theirs.
    beyond, whole = luck.nats(one, centres)
    lines = fit.waviness - float(np.median(whole - beyond))
    return min(1.0, one.tried * chance_of_lines(one.name, fit.beyond_waviness, beyond, lines_nats=lines))


def _explained(left: _Left, fit: _Hypothesis, cage: float, sets: Sequence[HarmonicSet]) -> _Left:
    """What is left when a hypothesis is taken for true."""
    one = fit.harmonic_set
    seen_cage = cage if one.locked else cage_seen(one, fit.order, cage)
    highest = float(left.slipping.orders[-1])
    may = lines_of(one, fit.order, seen_cage, highest=highest)
    smear = SMEAR + 2 * one.row_spread  # the other row's lines are no other part's
    slipping = without_lines(left.slipping, may, smear=smear)
    if not any(each.locked for each in sets):
        return _Left(slipping, left.locked)
    sure = may if one.locked else sure_lines(one, fit.order, highest=highest)
    return _Left(slipping, without_lines(left.locked, sure, smear=smear))


def _ball_orders(geometry: BearingGeometry) -> tuple[float, float, float]:
    orders = defect_orders(geometry)
    return orders.outer_raceway, orders.inner_raceway, orders.ball


def _fit(evidence: LineEvidence, harmonic_set: HarmonicSet, prior: float) -> _Hypothesis:
    """How well a set fits within the range of its order."""
    one = harmonic_set
    bases = bases_about(one.order, one.spread, evidence.turns, highest=max(one.multiples))
    scores = evidence.scores(bases, one.offsets, multiples=one.multiples)
    at = log_prior(one.order, one.spread, bases)
    weighed = scores.whole + at
    place = int(weighed.argmax())
    whole, beyond = log_sum(weighed), log_sum(_beyond_waviness(scores, one) + at)
    return _Hypothesis(
        one,
        whole + prior + math.log(PRIOR.get(one.name, OTHER_PRIOR)),
        beyond,
        whole - beyond,
        float(bases[place]),
        *scores.clearest(place),
    )


def _posterior(fits: Sequence[_Hypothesis], unexplained: float) -> dict[str, float]:
    """Probability of every part among all that may make the lines, over its ball counts and ways the best.

    A cage that strikes shows all its first multiples: one that does not is none where a ball explains them better.
    """
    nats: dict[str, float] = {}
    best = max(fits, key=lambda fit: fit.nats)
    for fit in fits:
        name = fit.harmonic_set.name
        if name == "cage" and fit.harmonics < CAGE_HARMONICS and best.harmonic_set.name == "ball":
            continue
        nats[name] = max(nats.get(name, -math.inf), fit.nats)
    values = np.array([*nats.values(), unexplained + math.log(UNKNOWN_PRIOR)])
    weight = np.exp(TEMPER * (values - values.max()))
    return dict(zip(nats, (float(w) for w in weight / weight.sum()), strict=False))


def _counts(fits: Sequence[_Hypothesis], best: _Hypothesis) -> tuple[BallCount, ...]:
    """Weigh the ball counts by the best that each makes of the clearest lines."""
    nats: dict[int, float] = {}
    for fit in fits:
        balls = fit.harmonic_set.balls
        if balls and not fit.harmonic_set.with_cage:
            nats[balls] = max(nats.get(balls, -math.inf), fit.nats)
    top = max(nats.values())
    odds = {balls: math.exp(value - top) for balls, value in nats.items()}
    ranked = sorted(odds, key=lambda balls: (balls != best.harmonic_set.balls, -odds[balls]))
    return tuple(BallCount(balls, odds[balls] / sum(odds.values())) for balls in ranked)


def _evidence(
    fit: _Hypothesis,
    chance: float,
    shares: dict[str, float],
    strikes: StrikeSpectra,
    spectra: OrderSpectra,
    settled: Sequence[PartEvidence],
) -> PartEvidence:
    """The chance and the strength of a part's lines."""
    one = fit.harmonic_set
    leave_out = NOTHING if one.locked else _lines_of_others(settled, spectra)
    groups = [spectra.groups[fit.group], *wide_groups(spectra)]
    powers = faint_powers(strikes, groups, fit.order, leave_out=leave_out)
    # Grit leaves lines by luck in the plain levels of some group; strikes stand in the compressed ones of most.
    if np.mean(powers > 0) > STANDING_IN:
        powers = np.maximum(powers, plain_powers(strikes, groups, fit.order, leave_out=leave_out))
    power, loudest = max(zip(powers.tolist(), groups, strict=True))
    wide = wide_group(strikes.levels)
    in_all = float(strike_powers(strikes, [wide], fit.order, leave_out=leave_out)[0])
    in_group = (loudest[1] - loudest[0] + 1) / (wide[1] - wide[0] + 1)
    own = shares.get(one.name, 0.0)
    rivals = {name for name, share in shares.items() if name != one.name and share > LIKELY and own < NAMED}
    if one.name == "cage" and fit.harmonics < CAGE_HARMONICS:
        rivals.add("ball")
    return PartEvidence(
        part=one.name,
        chance=chance,
        posterior=own,
        rivals=tuple(sorted(rivals)),
        order=fit.order,
        expected_order=one.order,
        harmonics=fit.harmonics,
        balls=one.balls,
        with_cage=one.with_cage,
        group=fit.group,
        impact_ratio=power,
        loudest_group=loudest,
        # Faint events drown in the wide bands, but what stands in the group is there.
        wide_ratio=max(in_all, power * min(1.0, in_group)),
        wide_group=wide,
    )


def _lines_of_others(settled: Sequence[PartEvidence], spectra: OrderSpectra) -> Floats:
    """Harmonics of what was found before, which lift no other part of the bearing."""
    highest = float(spectra.orders[-1])
    found = [harmonics_of(part.paced_by, part.order, highest=highest) for part in settled if part.certain]
    return np.concatenate([NOTHING, *found])
