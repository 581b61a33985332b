"""What healthy bearings show, and so what counts as more than they show.

A healthy bearing is not silent: its rings are wavy and its balls differ, so that its running noise is
modulated at the ball passes and lines are found with certainty in a clean recording. Damage is what is
both surer and stronger than that.

Each recording calibrates itself: how high a search scores by luck is read at orders of this very recording that
mean nothing, so that talk, codecs and automatic gain are counted in without a model of them. What healthy
bearings of two generators score beyond that turns it into a chance.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# What harmonics less the strongest two score at a part's orders, over the median at orders that mean nothing
# [nats]: one healthy recording in ten reaches `TENTH_NATS`, and one in e times fewer every `FALL_NATS` beyond.
# Printed by tests/calibration/order_lines.py from 130 healthy recordings of each of two generators: physical 1.02,
# 0.70, 0.47, 0.53; pieced 0.83, 0.55, 0.45, 0.45 (errors 0.04 to 0.11); falls of both 0.36, 0.47, 0.22, 0.33
# (errors 0.04 to 0.13). The ball's are of the better of its two ways. Stored near the generator that reaches
# farther, falls within an error of both.
TENTH_NATS = {"outer_raceway": 1.0, "inner_raceway": 0.7, "ball": 0.47, "cage": 0.5}
# As above.
FALL_NATS = {"outer_raceway": 0.36, "inner_raceway": 0.4, "ball": 0.25, "cage": 0.35}
# Of wheels, chains and unknown trains, as of the inner ring: no healthy one is wavy, but none was measured.
OTHER_TENTH_NATS, OTHER_FALL_NATS = 0.7, 0.4
# Orders that mean nothing spread so far in a healthy recording [nats]; where they spread farther, so does luck.
USUAL_SPREAD = 0.3
STANDARD_SPREAD = 1.976  # of a Gumbel law, between its quantiles 0.2 and 0.8

# Strikes that lie this far under the bearing's own running noise are what healthy bearings show. Of six real ones
# (phone at 7 cm from a motor, an open data set) four stayed below, the inner ring of two reached -15 and -13 dB,
# with a motor's inverter sounding too; the cage of one with minor damage reached -13 dB. Of 14 healthy spins by
# another generator none showed any. A ball that keeps the cage's pace is held to the cage's limit: one of minor
# damage reached -15 dB so. Judgement on those recordings, printed by tests/calibration/order_lines.py.
HEALTHY_DB = {"cage": -8.0}
OTHER_HEALTHY_DB = -17.5  # of the rings and a ball's strikes, and of what no part explains: as said above


# A finding counts as detected at this chance or below. Some ten conditions are judged on
# their own, so that a healthy bearing is called damaged about once in a hundred times at most.
DETECTION_CHANCE = 0.002


def healthy_db(part: str) -> float:
    """Strength up to which healthy bearings show a part's strikes [dB over their running noise]."""
    return HEALTHY_DB.get(part, OTHER_HEALTHY_DB)


def chance_of_lines(part: str, nats: float, nulls: Floats) -> float:
    """Chance that a healthy bearing's harmonics score as high.

    Parameters
    ----------
    part : str
        'outer_raceway', 'inner_raceway', 'ball', 'cage', or another source of strikes.
    nats : float
        Log Bayes factor of the harmonics less the strongest two.
    nulls : ndarray, shape (k,)
        The same at orders that mean nothing, in the same recording.

    Returns
    -------
    float
        0 to 1.
    """
    low, middle, high = np.quantile(nulls, [0.2, 0.5, 0.8])
    widened = max(1.0, float(high - low) / STANDARD_SPREAD / USUAL_SPREAD)
    beyond = (nats - float(middle)) / widened - TENTH_NATS.get(part, OTHER_TENTH_NATS)
    # A tenth lies beyond; Gumbel's law has the exponential tail of the best of many.
    fall = FALL_NATS.get(part, OTHER_FALL_NATS)
    mean = -math.log1p(-0.1) * math.exp(min(700.0, -beyond / fall))
    return -math.expm1(-mean)
