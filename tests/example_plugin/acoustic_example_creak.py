"""Creak: clicks that come at the same place of the crank, turn after turn.

A joint that slips under load (pedal axle, chainring bolt, bearing seat) does so
where the load peaks, so its clicks keep the crank's angle. Each turn casts one
vote for the angle at which it clicked; votes that agree better than chance are a
creak. A turn whose clicks lie all round casts none, which leaves the strikes of
a damaged ring out. What this can't tell: a pit in the inner ring that strikes
only while it passes the loaded side clicks once a turn as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from acoustic.api import DETECTION_CHANCE, Evidence, Finding, Hearing, find_clicks, hookimpl

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

ACOUSTIC_API = (1, 0)

OWN_CLICK_S = 0.05  # clicks this near to one of the speed marker's are its own
AGREE = 0.7  # length of the mean of a turn's clicks on the unit circle: within about 50 degrees of each other
FEWEST_VOTES = 4
FAINTEST_DB = -40.0


class Creak:
    """Asks each turn of the crank at which angle it clicked."""

    name = "one-place"
    summary = "clicks at the same place of the crank, turn after turn"
    conditions = ("creak",)

    def detect(self, hearing: Hearing) -> Sequence[Finding]:
        """Judge how well the turns agree."""
        import numpy as np  # here, because listing the plugins must stay cheap

        motion = hearing.motion
        clicks = find_clicks(hearing.bank)
        to_marker_s = np.abs(np.subtract.outer(clicks.times_s, motion.own_clicks_s)).min(axis=1, initial=np.inf)
        turning = (clicks.times_s >= motion.start_s) & (clicks.times_s < motion.stop_s)
        used = turning & (to_marker_s > OWN_CLICK_S)
        angles = np.interp(clicks.times_s[used], motion.times_s, motion.turns)
        votes = votes_of(angles)
        chance = rayleigh_chance(votes)
        energy = float(clicks.power[used].sum()) / (motion.stop_s - motion.start_s)
        detected = chance <= DETECTION_CHANCE
        detail = (
            f"{votes.size} turns click at the same place of the crank" if detected else "no creak at one place"
        )
        return [
            Finding(
                condition="creak",
                detected=detected,
                false_alarm_probability=chance,
                severity_db=max(FAINTEST_DB, 10 * math.log10(max(energy, 1e-9))),
                detail=detail,
                evidence=Evidence(order=1.0, expected_order=1.0) if detected else Evidence(),
            )
        ]


def votes_of(angles: NDArray[np.float64]) -> NDArray[np.complex128]:
    """One point of the unit circle for each turn whose clicks agree, shape (turns that vote,)."""
    import numpy as np

    points = np.exp(2j * np.pi * angles)
    turns = np.floor(angles)
    means = np.array([points[turns == turn].mean() for turn in np.unique(turns)], dtype=complex)
    clear = means[np.abs(means) >= AGREE]
    return clear / np.abs(clear)


def rayleigh_chance(votes: NDArray[np.complex128]) -> float:
    """Chance that directions drawn at random agree as well: Rayleigh's test.

    References
    ----------
    J. H. Zar, Biostatistical Analysis, chapter on circular distributions, gives
    the approximation (from memory); drawn votes show a tenth too many at most.
    """
    n, length = votes.size, abs(votes.sum())
    if n < FEWEST_VOTES:
        return 1.0
    return min(1.0, math.exp(math.sqrt(1 + 4 * n + 4 * (n**2 - length**2)) - (1 + 2 * n)))


@hookimpl
def acoustic_detectors() -> Sequence[Creak]:
    """Offer the judge of creaks."""
    return [Creak()]
