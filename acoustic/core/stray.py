"""A strong, steady beat that no part of the assumed bearing makes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from acoustic.core.angle import AngleLevels
from acoustic.core.lines import Comb, event_power, gumbel_law, match_combs, telling_runs
from acoustic.core.spectra import OrderSpectra

LOWEST_ORDER, HIGHEST_ORDER = 2.2, 16.0
TOLERANCE = 0.018


@dataclass(frozen=True, slots=True)
class StrayBeat:
    """The clearest beat among the orders that are left when all known parts are taken out.

    Attributes
    ----------
    order : float
        Strikes a turn.
    chance : float
        Chance of a beat as clear under none, all orders searched counted in.
    event_ratio : float
        Mean power of the strikes over the level beneath.
    """

    order: float
    chance: float
    event_ratio: float


def stray_beat(spectra: OrderSpectra, levels: AngleLevels) -> StrayBeat:
    """Search every order from 2.2 to 16 for a comb of lines.

    Parameters
    ----------
    spectra : OrderSpectra
        With the lines of the parts that were found taken out.
    levels : AngleLevels

    Returns
    -------
    StrayBeat

    Notes
    -----
    A wrong designation, a ball too many or a wrong speed moves every line of a
    damaged bearing off its computed place; silence there is then no health.
    """
    count = math.ceil(math.log(HIGHEST_ORDER / LOWEST_ORDER) / (2 * TOLERANCE))
    centres = np.geomspace(LOWEST_ORDER * (1 + TOLERANCE), HIGHEST_ORDER, count)
    matches = match_combs(spectra, Comb(name="stray", order=1.0, tolerance=TOLERANCE), centres)
    best = max(matches, key=lambda match: match.surprise)
    law = gumbel_law(np.array([match.surprise for match in matches]))
    powers = [
        event_power(levels.plain[first : last + 1].mean(axis=0), best.order, turns=levels.turns)
        for first, last in (spectra.runs[row] for row in telling_runs(spectra, best))
    ]
    return StrayBeat(best.order, min(1.0, count * law.chance(best.surprise)), max(powers))
