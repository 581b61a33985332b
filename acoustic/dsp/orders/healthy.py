"""What healthy bearings show, and so what counts as more than they show.

A healthy bearing is not silent: its rings are wavy and its balls differ, so that its running noise is
modulated at the ball passes and lines are found with certainty in a clean recording. Damage is what is
both surer and stronger than that.

Each recording calibrates itself: how high a search scores by luck is read at orders of this very recording that
mean nothing, so that talk, codecs and automatic gain are counted in without a model of them. What healthy
bearings of two generators score beyond that turns it into a chance.

Waviness is allowed two lines, the strongest do not count. Luck looks different beside such lines: where there are
none, leaving out the strongest two takes luck's own best away; where waviness stands, luck keeps them. How far the
strongest two stand out tells which it is, in between as well. Left out of account, wavy rings of healthy bearings
show a chance of a tenth twice as often as they should, after whatever phone.
"""

from __future__ import annotations

import math

import numpy as np

from acoustic.dsp.arrays import Floats

# What harmonics less the strongest two score at a part's orders, over the median at orders that mean nothing and,
# of a ring, over what its waviness lifts them by [nats]: one healthy recording in ten reaches `TENTH_NATS`, one in
# e times fewer every `FALL_NATS` beyond. Printed by tests/calibration/order_lines.py from 130 healthy recordings
# of each of two generators, in the order below: physical 0.51, 0.45, 0.56, 0.56; pieced 0.34, 0.34, 0.56, 0.57
# (errors 0.03 to 0.11); falls 0.32, 0.23, 0.28, 0.35; 0.29, 0.26, 0.07, 0.32 (errors 0.02 to 0.09). The ball's are
# of the better of its two ways. Stored near the generator that reaches farther.
TENTH_NATS = {"outer_raceway": 0.51, "inner_raceway": 0.45, "ball": 0.57, "cage": 0.57}
# As above.
FALL_NATS = {"outer_raceway": 0.33, "inner_raceway": 0.25, "ball": 0.27, "cage": 0.35}
# Two harmonics do not count, the strongest. Where nothing is meant these are the two that luck raised most; where
# a ring's waviness raised two, luck's best are left in. The rest then scores so much more by luck alone [nats]: of
# both generators 2.33, printed by the same script.
LUCK_LEFT_NATS = 2.3
# How soon: the strongest two stand so far over the strongest two by luck for 1 - 1/e of it [nats]. Printed:
# physical 6.7, pieced 7.0 (errors 0.5).
WAVINESS_NATS = 6.8
WAVY = ("outer_raceway", "inner_raceway")  # balls and cages of both generators show no sign of it
# Of wheels, chains and unknown trains, of which no healthy ones were measured: judgement, past that of any part.
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


def chance_of_lines(part: str, nats: float, nulls: Floats, *, lines_nats: float = 0.0) -> float:
    """Chance that a healthy bearing's harmonics score as high.

    Parameters
    ----------
    part : str
        'outer_raceway', 'inner_raceway', 'ball', 'cage', or another source of strikes.
    nats : float
        Log Bayes factor of the harmonics less the strongest two.
    nulls : ndarray, shape (k,)
        The same at orders that mean nothing, in the same recording.
    lines_nats : float
        What the strongest two score by themselves, less the median of that at orders that mean nothing.

    Returns
    -------
    float
        0 to 1.
    """
    low, middle, high = np.quantile(nulls, [0.2, 0.5, 0.8])
    widened = max(1.0, float(high - low) / STANDARD_SPREAD / USUAL_SPREAD)
    usual = float(middle) + (lift_of_waviness(lines_nats) if part in WAVY else 0.0)
    beyond = (nats - usual) / widened - TENTH_NATS.get(part, OTHER_TENTH_NATS)
    # A tenth lies beyond; Gumbel's law has the exponential tail of the best of many.
    fall = FALL_NATS.get(part, OTHER_FALL_NATS)
    mean = -math.log1p(-0.1) * math.exp(min(700.0, -beyond / fall))
    return -math.expm1(-mean)


def lift_of_waviness(lines_nats: float) -> float:
    """How much more harmonics less the strongest two score by luck where waviness raised those two.

    Parameters
    ----------
    lines_nats : float
        As of `chance_of_lines`; below 0 nothing is lifted.

    Returns
    -------
    float
        [nats], 0 to `LUCK_LEFT_NATS`.
    """
    return -LUCK_LEFT_NATS * math.expm1(-max(0.0, lines_nats) / WAVINESS_NATS)
