"""A train of impacts at an order that no part of the bearing or the drivetrain has."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from acoustic.dsp.orders.evidence import Unexplained
from acoustic.dsp.orders.harmonics import (
    BASES_A_LINE,
    HARMONICS,
    REACH,
    BaseScores,
    HarmonicSet,
    LineEvidence,
    log_sum,
)
from acoustic.dsp.orders.healthy import chance_of_lines
from acoustic.dsp.orders.impact_level import StrikeSpectra, strike_powers
from acoustic.dsp.orders.spectrum import OrderSpectra

LOWEST_BASE, HIGHEST_BASE = 2.2, 17.0  # below, swells and whole turns; above, no crank bearing's ball pass
UNEXPLAINED_CELL = 0.01  # of the order, within which searches are one
DOUBTFUL = 0.05  # a chance above says nothing worth a measurement of its strength (judgement)


def any_order(evidence: LineEvidence) -> BaseScores:
    """Scores of a train of no known part, at every order."""
    count = math.ceil((HIGHEST_BASE - LOWEST_BASE) * BASES_A_LINE * HARMONICS * evidence.turns)
    return evidence.scores(np.linspace(LOWEST_BASE, HIGHEST_BASE, count))


def elsewhere(scores: BaseScores, sets: Sequence[HarmonicSet]) -> float:
    """Log Bayes factor of a train at any order but those of the parts, their halves and their doubles."""
    free = np.ones(scores.bases.size, dtype=bool)
    for one in sets:
        for order in (one.order / 2, one.order, 2 * one.order):
            free &= np.abs(scores.bases / order - 1) > REACH * one.spread
    return log_sum(scores.whole[free] - math.log(scores.bases.size)) if free.any() else -math.inf


def clearest_unexplained(scores: BaseScores, spectra: OrderSpectra, strikes: StrikeSpectra) -> Unexplained:
    """The clearest train in what is left."""
    edges = np.geomspace(
        LOWEST_BASE, HIGHEST_BASE, math.ceil(math.log(HIGHEST_BASE / LOWEST_BASE) / UNEXPLAINED_CELL)
    )
    starts = np.searchsorted(scores.bases, edges[:-1])
    nats = np.maximum.reduceat(scores.trimmed, starts)
    best = int(scores.trimmed.argmax())
    order = float(scores.bases[best])
    chance = min(1.0, nats.size * chance_of_lines("unexplained", float(scores.trimmed[best]), nats))
    if chance > DOUBTFUL:
        return Unexplained(order, chance, 0.0)
    groups = [spectra.groups[scores.clearest(best)[0]], *wide_groups(spectra)]
    return Unexplained(order, chance, float(strike_powers(strikes, groups, order).max()))


def wide_groups(spectra: OrderSpectra) -> list[tuple[int, int]]:
    """Groups of five bands or more: in which strikes stand highest is not known."""
    return [group for group in spectra.groups if 4 <= group[1] - group[0] <= 8]
