"""A strong, steady beat that no part of the assumed bearing makes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from acoustic.core.angle import AngleLevels
from acoustic.core.lines import SMEAR, Comb, gumbel_law, match_combs, telling_runs, without_lines
from acoustic.core.severity import strike_power
from acoustic.core.spectra import OrderSpectra

LOWEST_ORDER, HIGHEST_ORDER = 2.2, 16.0
TOLERANCE = 0.018
DOUBTFUL = 0.05


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
        Mean power of the strikes over the level beneath; 0 where the chance is above 0.05.
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
    comb = Comb(name="stray", order=1.0, tolerance=TOLERANCE)
    matches = match_combs(spectra, comb, centres)
    best = max(matches, key=lambda match: match.surprise)
    # A strong beat lifts every search that meets one of its lines: they are taken out before luck is measured.
    harmonics = best.order * np.arange(1, int(spectra.orders[-1] / best.order) + 1)
    lines = np.add.outer(harmonics, [0.0, 1.0, -1.0, 2.0, -2.0]).ravel()
    quiet = match_combs(without_lines(spectra, lines, smear=SMEAR), comb, centres[::2])
    law = gumbel_law(np.array([match.surprise for match in quiet]))
    chance = min(1.0, count * law.chance(best.surprise))
    if chance > DOUBTFUL:
        return StrayBeat(best.order, chance, 0.0)
    power = max(strike_power(levels, spectra.runs[row], best.order) for row in telling_runs(spectra, best))
    return StrayBeat(best.order, chance, power)
