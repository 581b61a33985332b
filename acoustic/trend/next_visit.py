"""Which day the next visit would narrow the due range most, or settle whether there is a rise at all.

For every day tried, visits are drawn from the courses themselves; the courses are weighed again by each, and what
their due days then still differ by is averaged (the expected variance of the Bayesian design of experiments, for
example K. Chaloner and I. Verdinelli, Statistical Science 10 (1995) 273; from memory).
"""

from __future__ import annotations

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.trend.due import FARTHEST_DAYS, Due
from acoustic.trend.wear import SHOWN, Wear
from acoustic.trend.weighing import SEED

# Weeks from today that are tried: sooner nothing has changed, later a half year is the usual service; judgement.
WEEKS = (2, 3, 4, 6, 8, 10, 13, 17, 21, 26)
COURSES = 600  # weighed anew
TRIALS = 60  # visits drawn for each day
MORE_OFTEN_THAN_NOT = 0.5  # of the visits that a rising course may show
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
        No later than the range begins, or two weeks from today. Where it likely rises and is not yet sure, the
        first day on which a visit of a rising course shows it more often than not, or else does so most often.
        None where nothing is due.
    """
    if due.state == "likely rising":
        return _settled_on(wear, due.today)
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


def _settled_on(wear: Wear, today: float) -> float:
    """The day on which one visit more would show the rise, if there is one."""
    count = wear.draws.rising.size
    chosen = np.linspace(0, count - 1, min(COURSES, count)).astype(int)
    rising, scatter = wear.draws.rising[chosen], wear.draws.scatter[chosen]
    days = today + 7.0 * np.array(WEEKS)
    rng = np.random.default_rng(SEED)
    drawn = rng.choice(np.flatnonzero(rising), TRIALS)
    noise = scatter[drawn] * rng.standard_normal(TRIALS)
    values = wear.values_at(days)[:, chosen]
    shown = np.array(
        [np.mean(_weights(on_day, scatter, on_day[drawn] + noise) @ rising >= SHOWN) for on_day in values]
    )
    often = shown > MORE_OFTEN_THAN_NOT
    return float(days[np.argmax(often) if often.any() else np.argmax(shown)])


def _spread_left(on_day: Floats, scatter: Floats, seen: Floats, reached: Floats) -> float:
    """Standard deviation of the due days after a visit, averaged over what it may show."""
    weight = _weights(on_day, scatter, seen)
    mean = weight @ reached
    return float(np.mean(np.sqrt(np.maximum(weight @ reached**2 - mean**2, 0.0))))


def _weights(on_day: Floats, scatter: Floats, seen: Floats) -> Floats:
    """How likely each course is after a visit, a row for each value that it may show."""
    nats = -(((seen[:, np.newaxis] - on_day) / scatter) ** 2) / 2 - np.log(scatter)
    weight: Floats = np.exp(nats - nats.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    return weight
