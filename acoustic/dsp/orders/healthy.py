"""What healthy bearings show, and so what counts as more than they show.

A healthy bearing is not silent: its rings are wavy and its balls differ, so that its running noise is
modulated at the ball passes and lines are found with certainty in a clean recording. Damage is what is
both surer and stronger than that.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# What harmonics less the strongest two score at a part's orders, over the median at orders that mean nothing
# [nats]: one healthy recording in ten reaches `TENTH_NATS`, and one in e times fewer every `FALL_NATS` beyond.
# Printed by tests/calibration/order_lines.py from healthy recordings of two generators.
TENTH_NATS = {"outer_raceway": 0.93, "inner_raceway": 0.67, "ball": 0.25, "cage": 0.5}
OTHER_TENTH_NATS = 0.67  # of wheels, chains and unknown trains: no healthy one is wavy, but none was measured
FALL_NATS = 0.35
# Orders that mean nothing spread so far in a healthy recording [nats]; where they spread farther, so does luck.
USUAL_SPREAD = 0.3
STANDARD_SPREAD = 1.976  # of a Gumbel law, between its quantiles 0.2 and 0.8

# Strikes that lie this far under the bearing's own running noise are what healthy bearings show: of six real ones
# (phone at 7 cm, an open data set) five stayed below and one reached -13 dB, and a worn cage or ball that differs
# rattles once a cage turn at up to -10 dB in bearings with minor damage. Judgement on those recordings.
HEALTHY_DB = {"cage": -8.0}
OTHER_HEALTHY_DB = -17.5


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
    mean = -math.log1p(-0.1) * math.exp(min(700.0, -beyond / FALL_NATS))
    return -math.expm1(-mean)
