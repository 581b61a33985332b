"""Tight: the running noise swells twice a turn or twice a cage turn, as in a seat that is oval or out of line.

How steeply a crank runs down is not judged here: without its inertia no drag is known. A baseline of the same
bearing tells.
"""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.api import DETECTION_CHANCE, Evidence, Features, Finding, defect_orders, hookimpl
from acoustic_plugins.detectors.modulation import Modulation, low_order_modulation
from acoustic_plugins.detectors.null_distribution import HealthyScores

ACOUSTIC_API = (1, 0)

MOST_OFF_TURNS = 0.75  # by the end; more, and nothing stays at one angle or order
HEALTHY = HealthyScores(median=-0.03, tenth=0.92, fall=1.47)  # tests/calibration/event_nulls.py


class Tight:
    """Asks whether a freely coasting crank runs notchy.

    An oval bore loads every ball twice a cage turn; an oval spindle, or rings that are not in
    line, twice a crank turn (derived from the geometry of the rings). A pedalled crank's noise
    swells twice a turn with the rider's own legs, so that only a free one is judged.
    """

    name = "tight"
    summary = "running noise that swells twice a turn, or twice a cage turn, of a free crank"
    conditions = ("tight",)

    def detect(self, features: Features) -> Sequence[Finding]:
        """Judge both orders together."""
        motion = features.motion
        if motion.spin == "pedal":
            return [_not_judged("a pedalled crank's noise swells twice a turn anyway")]
        if not motion.scale_known or motion.relative_uncertainty * motion.total_turns > MOST_OFF_TURNS:
            return [_not_judged("the crank's angle is not known")]
        cage = defect_orders(features.bearing.geometry).cage
        found = low_order_modulation(features.bank, motion.times_s, motion.turns, cage)
        if found is None:
            return [_not_judged("six turns or more are needed")]
        return [_finding(found)]


def _finding(swell: Modulation) -> Finding:
    chance = HEALTHY.chance(swell.score)
    detected = chance <= DETECTION_CHANCE
    what = "turn of the crank" if swell.expected_order == 2.0 else "turn of the cage"
    return Finding(
        condition="tight",
        detected=detected,
        false_alarm_probability=chance,
        severity_db=swell.depth_db,
        detail=f"the running noise swells by {swell.depth_db:.1f} dB twice a {what}"
        if detected
        else "no swell twice a turn of crank or cage",
        evidence=Evidence(order=swell.order, expected_order=swell.expected_order),
    )


def _not_judged(why: str) -> Finding:
    return Finding.unjudged("tight", f"tightness could not be judged: {why}")


@hookimpl
def acoustic_detectors() -> Sequence[Tight]:
    """Offer the judge of tightness."""
    return [Tight()]
