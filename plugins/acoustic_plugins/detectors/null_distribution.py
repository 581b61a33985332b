"""How rarely a healthy bearing reaches a score: the fitted upper half of its null distribution.

What has no order (creak, tight, contamination, rumble) has one score each; where several things must hold, that
of the weakest. No limit stands beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

HALF, TENTH = 0.5, 0.1  # shares of healthy recordings between which the law is read off; common practice


@dataclass(frozen=True, slots=True)
class HealthyScores:
    """Upper half of the scores of healthy recordings.

    `tests/calibration/event_nulls.py` fits it to both generators; each detector keeps the heavier one.

    Attributes
    ----------
    median : float
        Score that one healthy recording in two reaches.
    tenth : float
        Score that one in ten reaches.
    fall : float
        Rise of the score beyond that which makes it rarer by a factor e, > 0.
    """

    median: float
    tenth: float
    fall: float

    def chance(self, score: float) -> float:
        """Chance that a healthy recording scores as high: exponential up to the tenth, and another one beyond.

        Parameters
        ----------
        score : float

        Returns
        -------
        float
            0 to 1; well below the median the law says nothing but 1.
        """
        body = (self.tenth - self.median) / math.log(HALF / TENTH)
        nats = (score - self.tenth) / (self.fall if score > self.tenth else body)
        return min(1.0, TENTH * math.exp(-max(nats, -10.0)))
