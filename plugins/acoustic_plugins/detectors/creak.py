"""Creak: bursts of noise at one angle of a crank that carries load.

Only load makes creaks, so a coasting crank is not asked.
"""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.api import DETECTION_CHANCE, Evidence, Features, Finding, hookimpl
from acoustic_plugins.detectors.angle_locked import Locked, locked_bursts
from acoustic_plugins.detectors.null_distribution import HealthyScores

ACOUSTIC_API = (1, 0)

MOST_OFF_TURNS = 0.75  # by the end; more, and nothing stays at one angle or order
# tests/calibration/event_nulls.py. By hand: four harmonics that point one way by luck alone fall off by 1/4. Few
# come once a turn, so that twice that is stored.
ONCE = HealthyScores(median=0.73, tenth=1.2, fall=0.5)
# As above: legs push twice a turn, and gates open with them, so that these fall off more slowly than by 1/2.
TWICE = HealthyScores(median=1.1, tenth=2.2, fall=1.2)


class Creak:
    """Asks whether bursts come at one angle, once or twice a turn, while the crank is pedalled."""

    name = "creak"
    summary = "bursts of noise at one angle of the pedalled crank"
    conditions = ("creak",)

    def detect(self, features: Features) -> Sequence[Finding]:
        """Judge the clearest bursts; a crank that coasts carries no load and is not judged."""
        motion = features.motion
        if motion.spin == "hand":
            return [_not_judged("a crank spun by hand carries no load")]
        if not motion.scale_known or motion.relative_uncertainty * motion.total_turns > MOST_OFF_TURNS:
            return [_not_judged("the crank's angle is not known")]
        found = locked_bursts(features.bank, motion.times_s, motion.turns)
        if found is None:
            return [_not_judged("five turns or more are needed")]
        return [_finding(features, found)]


def _finding(features: Features, found: Locked) -> Finding:
    chance = (ONCE if found.times_a_turn == 1 else TWICE).chance(found.score)
    detected = chance <= DETECTION_CHANCE
    often = "once" if found.times_a_turn == 1 else "twice"
    return Finding(
        condition="creak",
        detected=detected,
        false_alarm_probability=chance,
        severity_db=found.excess_db,
        detail=f"a burst {often} a turn at one angle of the crank, in {found.share:.0%} of the turns"
        if detected
        else "no bursts at one angle of the crank",
        evidence=Evidence(
            order=float(found.times_a_turn),
            expected_order=float(found.times_a_turn),
            band_hz=features.bank.edges_hz(found.first_band, found.last_band),
        ),
    )


def _not_judged(why: str) -> Finding:
    return Finding.unjudged("creak", f"creaking could not be judged: {why}")


@hookimpl
def acoustic_detectors() -> Sequence[Creak]:
    """Offer the judge of creaks."""
    return [Creak()]
