"""Which day the next visit would narrow the due range most.

For every day tried, visits are drawn from the courses themselves; the courses are weighed again by each, and what
their due days then still differ by is averaged (the expected variance of the Bayesian design of experiments, for
example K. Chaloner and I. Verdinelli, Statistical Science 10 (1995) 273; from memory).
"""

from __future__ import annotations

import numpy as np

from acoustic.trend.courses import Floats
from acoustic.trend.due import FARTHEST_DAYS, Due
from acoustic.trend.wear import Wear
from acoustic.trend.weighing import SEED

# Weeks from today that are tried: sooner nothing has changed, later a half year is the usual service; judgement.
WEEKS = (2, 3, 4, 6, 8, 10, 13, 17, 21, 26)
COURSES = 600  # weighed anew
TRIALS = 60  # visits drawn for each day
ALMOST = 0.9  # of the best day's gain is enough to come sooner; judgement


def next_visit(wear: Wear, due: Due, *, limit: float) -> float | None:
    """Choose the day of the next visit.

    Parameters
    ----------
    wear : Wear
        Over days.
    due : Due
    limit : float

    Returns
    -------
    float or None
        No later than the range begins, or two weeks from today. None where nothing is due.
    """
    if due.earliest is None:
        return None
    rising = np.flatnonzero(wear.draws.rising)
    chosen = rising[np.linspace(0, rising.size - 1, min(COURSES, rising.size)).astype(int)]
    days = due.today + 7.0 * np.array(WEEKS)
    days = days[(days <= due.earliest) | (np.arange(days.size) == 0)]
    reached = np.clip(wear.reached_at(limit)[chosen], due.today, due.today + FARTHEST_DAYS)
    values, scatter = wear.values_at(days)[:, chosen], wear.draws.scatter[chosen]
    rng = np.random.default_rng(SEED)
    drawn = rng.integers(0, chosen.size, TRIALS)
    noise = scatter[drawn] * rng.standard_normal(TRIALS)
    left = np.array([_spread_left(on_day, scatter, on_day[drawn] + noise, reached) for on_day in values])
    gain = float(np.std(reached)) - left
    return float(days[np.argmax(gain >= ALMOST * gain.max())])


def _spread_left(on_day: Floats, scatter: Floats, seen: Floats, reached: Floats) -> float:
    """Standard deviation of the due days after a visit, averaged over what it may show."""
    nats = -(((seen[:, np.newaxis] - on_day) / scatter) ** 2) / 2 - np.log(scatter)
    weight = np.exp(nats - nats.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    mean = weight @ reached
    return float(np.mean(np.sqrt(np.maximum(weight @ reached**2 - mean**2, 0.0))))
