"""What sound bearings show, and so what counts as more than they show.

The one place for these numbers. A sound bearing is not silent: waviness of its
rings and unequal balls modulate its hiss at the ball passes, so that lines are
found with certainty in a clean recording. Damage is what is stronger than that.

`FLICKER_LAW` holds mean and spread of the natural log of
`acoustic.core.roughness.flicker`, averaged over the roughest three neighbouring
bands, less what the still parts show: simulated sound bearings, and bearings with
a single deep pit or with grit, stayed below 0.21, and below 0.34 after AAC at 64 or
Opus at 32 kbit/s with talk.

`COAST_LAW` and `CADENCE_LAW` are Gumbel laws, location and scale, of the surprise that
the sharpest beat reaches by luck in a search over all courses of the speed: simulated
bearings without any line, with talk and knocks, half of them with automatic gain.
"""

from __future__ import annotations

import math

FLICKER_LAW = (0.05, 0.14)
COAST_LAW = (12.2, 1.5)
CADENCE_LAW = (7.0, 2.2)

# A finding counts as detected at this chance or below. Six conditions are judged on
# their own, so that a sound bearing is called damaged about once in a hundred times at most.
DETECTION_CHANCE = 0.002


def chance_of_flicker(ratio: float) -> float:
    """Chance that a smooth bearing's hiss flickers as much.

    Parameters
    ----------
    ratio : float
        Variance of level over that of Gaussian noise, geometric mean of the
        roughest three neighbouring bands, > 0.

    Returns
    -------
    float
    """
    return _upper_tail(math.log(max(ratio, 1e-6)), *FLICKER_LAW)


def chance_of_coast(surprise: float) -> float:
    """Chance that the sharpest beat over all run-downs surprises as much where there is none.

    Parameters
    ----------
    surprise : float
        As `acoustic.core.coast.find_coast` reaches it [nats].

    Returns
    -------
    float
    """
    return _gumbel_tail(surprise, *COAST_LAW)


def chance_of_cadence(surprise: float) -> float:
    """The same for `acoustic.core.cadence.find_cadence`."""
    return _gumbel_tail(surprise, *CADENCE_LAW)


def _gumbel_tail(value: float, location: float, scale: float) -> float:
    return -math.expm1(-math.exp(min(700.0, -(value - location) / scale)))


def _upper_tail(value: float, mean: float, spread: float) -> float:
    return 0.5 * math.erfc((value - mean) / (spread * math.sqrt(2)))
