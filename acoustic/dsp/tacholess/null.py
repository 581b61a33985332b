"""What impacts show where no train of them is: the null distributions of the searches.

Both laws come from healthy spins of two generators and from sounds without a crank in
them, as `tests/calibration/tacholess_null.py` prints them. A search over a longer
recording reaches more by luck, so that the Gumbel law's location grows with the
logarithm of the length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TrainNull:
    """Null distributions of a search for a train of impacts.

    Attributes
    ----------
    at_10_s, per_log_length : float
        Location of the score's Gumbel law in a recording of 10 s, and how much more in one e times longer.
    scale : float
        Of that law.
    struck_mean, struck_spread : float
        Normal law of the intervals' mean rank, in its own standard errors.
    """

    at_10_s: float
    per_log_length: float
    scale: float
    struck_mean: float
    struck_spread: float


# Derived by tests/calibration/tacholess_null.py, search for a coasting crank.
COAST = TrainNull(at_10_s=12.3, per_log_length=4.0, scale=1.6, struck_mean=2.1, struck_spread=1.5)
# Derived by tests/calibration/tacholess_null.py, search for a pedalled crank.
CADENCE = TrainNull(at_10_s=10.5, per_log_length=8.2, scale=4.1, struck_mean=2.5, struck_spread=1.6)


def train_chance(null: TrainNull, *, score: float, struck: float, length_s: float) -> float:
    """Chance of a train as clear where there is none, everything searched counted in.

    Parameters
    ----------
    null : TrainNull
    score : float
        Of the best course, standard deviations.
    struck : float
        Mean rank of its intervals over one half, in standard errors.
    length_s : float
        Of the recording.

    Returns
    -------
    float
        A train must be both sharp as a rhythm and confirmed by its intervals. Where there is
        none the two go by themselves (the calibration prints their correlation), so that both
        chances are at m or below in a share m squared of the recordings.
    """
    location = null.at_10_s + null.per_log_length * math.log(length_s / 10)
    by_score = -math.expm1(-math.exp(min(50.0, -(score - location) / null.scale)))
    by_struck = 0.5 * math.erfc((struck - null.struck_mean) / (null.struck_spread * math.sqrt(2)))
    return max(by_score, by_struck) ** 2
