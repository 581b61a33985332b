"""A step between two visits that nobody entered: a service, a new phone, or sudden damage.

Ranks of the clearest place are shuffled: twelve visits have seven places for a step. A normal law at each place
with Bonferroni's correction found a step of four times the scatter in 23 of 100 simulated trends, shuffles in
55. A step is told and not applied, since only the workshop knows what was done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from acoustic.text import one_in
from acoustic.trend.points import Point, visits
from acoustic.trend.slope import TooFew, theil_sen

Floats = NDArray[np.float64]

# Judgement: one bad visit among two would make a level of its own.
FEWEST_EACH_SIDE = 3
STEP_CHANCE = 0.05  # common practice; a step is only asked about, never applied
# Resolution: a chance of STEP_CHANCE is known to 0.002 (binomial), and 1 / 10 000 is the least.
SHUFFLES = 9999
SEED = 1968  # the same visits always give the same chance
RESIDUAL_DIGITS = 9  # of the values' range: what is finer is rounding and must not be ranked


@dataclass(frozen=True, slots=True)
class Step:
    """The most likely place of a step.

    Attributes
    ----------
    visits_before : int
        Visits before it.
    last_day_before, first_day_after : float
        The step lies between these.
    change : float
        Shift of the level, the slope taken out; below 0 it fell.
    chance : float
        Chance that visits along one line show as clear a step anywhere.
    """

    visits_before: int
    last_day_before: float
    first_day_after: float
    change: float
    chance: float

    @property
    def found(self) -> bool:
        """Whether it is clear enough to be asked about."""
        return self.chance <= STEP_CHANCE


def find_step(points: Sequence[Point]) -> Step | TooFew:
    """Search one segment for a step that no service or replacement explains.

    Parameters
    ----------
    points : sequence of Point
        Of one group, between two pieces of work, in any order.

    Returns
    -------
    Step or TooFew
        TooFew with fewer than six visits: three are needed on either side.

    Raises
    ------
    InputError
        Points of several groups.

    Notes
    -----
    A rank test. Residuals about the Theil-Sen line are ranked; at each place the
    ranks are summed with the weights of a step from which level and slope are
    projected out, so that a plain rise is no step. The clearest place counts, and
    its chance is the share of 9999 shuffles of the same ranks whose clearest place
    is as clear, which pays for all places searched. The line took two numbers from
    the residuals and shuffling gives back one, hence the factor
    sqrt((n - 2) / (n - 1)). On 4200 simulated straight trends of 6 to 24 visits a
    chance of 0.05 or less came up in 3 to 6 of 100. A step of four times the scatter
    was found in 19 to 26 of 100 with 6 to 8 visits, in 51 with 12, in 94 with 24: few
    visits hide a step.
    """
    each = visits(points)
    count = len(each)
    if count < 2 * FEWEST_EACH_SIDE:
        return TooFew(count, 2 * FEWEST_EACH_SIDE)
    days = np.array([visit.day for visit in each])
    values = np.array([visit.value for visit in each])
    ranks, steps = residual_ranks(days, values), step_directions(days)
    clearness = np.abs(steps @ ranks) * np.sqrt((count - 2) / (count - 1))
    best = int(np.argmax(clearness))
    shuffled = np.random.default_rng(SEED).permuted(np.tile(ranks, (SHUFFLES, 1)), axis=1)
    as_clear = np.abs(shuffled @ steps.T).max(axis=1) >= clearness[best] - 1e-9
    before = best + FEWEST_EACH_SIDE
    return Step(
        visits_before=before,
        last_day_before=each[before - 1].day,
        first_day_after=each[before].day,
        change=_level_shift(days, values, before),
        chance=float((1 + np.count_nonzero(as_clear)) / (1 + SHUFFLES)),
    )


def residual_ranks(days: Floats, values: Floats) -> Floats:
    """Ranks of the residuals about the Theil-Sen line, with mean 0; equal ones share theirs.

    Parameters
    ----------
    days, values : ndarray, shape (n,)
        n >= 4, days all different.

    Returns
    -------
    ndarray, shape (n,)
    """
    centred = days - days.mean()
    residuals = values - theil_sen(days, values).value * centred
    extent = float(np.ptp(values)) or 1.0
    ranks = stats.rankdata(np.round((residuals - np.median(residuals)) / extent, RESIDUAL_DIGITS))
    return np.asarray(ranks - ranks.mean(), dtype=np.float64)


def step_directions(days: Floats) -> Floats:
    """Unit vectors of a step at each place, at right angles to a level and to a slope.

    Parameters
    ----------
    days : ndarray, shape (n,)
        In order, all different, n >= 6.

    Returns
    -------
    ndarray, shape (n - 5, n)
        First the step after three visits.
    """
    count = days.size
    slope = days - days.mean()
    slope = slope / np.linalg.norm(slope)
    places = np.arange(FEWEST_EACH_SIDE, count - FEWEST_EACH_SIDE + 1)
    steps = (np.arange(count) >= places[:, np.newaxis]).astype(np.float64)
    steps -= steps.mean(axis=1, keepdims=True)
    steps -= np.outer(steps @ slope, slope)
    return np.asarray(steps / np.linalg.norm(steps, axis=1, keepdims=True), dtype=np.float64)


def _level_shift(days: Floats, values: Floats, before: int) -> float:
    """Difference of the medians after and before, less the slope of the pairs that no step parts."""
    first, second = np.triu_indices(days.size, 1)
    same_side = (first < before) == (second < before)
    first, second = first[same_side], second[same_side]
    slope = np.median((values[second] - values[first]) / (days[second] - days[first]))
    level = values - slope * (days - days.mean())
    return float(np.median(level[before:]) - np.median(level[:before]))


def step_sentence(step: Step | TooFew, *, unit: str) -> str:
    """Say in plain words whether there is a step to ask about.

    Parameters
    ----------
    step : Step or TooFew
    unit : str
        The value's, as 'dB'.

    Returns
    -------
    str
    """
    if isinstance(step, TooFew):
        return f"whether there is a step cannot be told: {step.sentence}"
    if not step.found:
        return "no step beside the trend stands out"
    went = "fell" if step.change < 0 else "rose"
    asked = "was it serviced then?" if step.change < 0 else "was something changed, or did it take a knock?"
    return (
        f"between visits {step.visits_before} and {step.visits_before + 1} it {went} at once by about "
        f"{abs(step.change):.2g} {unit}, and no work is entered there: {asked} "
        f"Luck alone does so {one_in(step.chance)}; the trend goes on through it until the work is entered"
    )
