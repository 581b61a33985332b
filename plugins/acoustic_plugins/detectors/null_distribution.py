"""How rarely a healthy bearing reaches a score: the fitted tail of its null distribution.

What has no order (creak, tight, contamination, rumble) has one score each; where several things must hold, that
of the weakest. No limit stands beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ExponentialTail:
    """Upper tail of the scores of healthy recordings.

    `tests/calibration/event_nulls.py` fits it to both generators; each detector keeps the heavier one.

    Attributes
    ----------
    location : float
        Score that the fitted tail, drawn down to it, gives to every recording.
    scale : float
        Rise of the score that makes it rarer by a factor e, > 0.
    """

    location: float
    scale: float

    def chance(self, score: float) -> float:
        """Chance that a healthy recording scores as high; 1 below the location.

        Parameters
        ----------
        score : float

        Returns
        -------
        float
        """
        return math.exp(min(0.0, -(score - self.location) / self.scale))
