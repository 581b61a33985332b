"""Rumble: the running noise is made of dense small impacts, as on rough or rusty rings."""

from __future__ import annotations

import math
from collections.abc import Sequence

from acoustic.api import DETECTION_CHANCE, Evidence, Features, Finding, defect_orders, hookimpl, near_clicks
from acoustic_plugins.detectors.level_fluctuation import Fluctuation, Listened, fluctuation
from acoustic_plugins.detectors.null_distribution import HealthyScores

ACOUSTIC_API = (1, 0)

# Floor of the scale only: a hundredth more flicker than hiss; a grade asks for more.
FAINTEST_DB = -20.0
FASTEST_STRIKES_HZ = 45.0  # faster, regular strikes alone make the level flicker from one 8 ms block to the next
HEALTHY = HealthyScores(median=0.33, tenth=1.13, fall=0.50)  # tests/calibration/event_nulls.py
# As above: without a still part nothing asks whether the crank makes the roughness, and rooms are often rough.
WITHOUT_STILLNESS = HealthyScores(median=0.78, tenth=2.1, fall=0.8)


class Rumble:
    """Compares the flicker of the running noise with that of healthy bearings."""

    name = "rumble"
    summary = "rough running noise, made of many small impacts"
    conditions = ("rumble",)

    def detect(self, features: Features) -> Sequence[Finding]:
        """Judge the roughest three neighbouring bands, if the crank makes them rough."""
        motion, bank = features.motion, features.bank
        if features.drivetrain.covers_noise:
            return [_not_judged("a running chain sounds rough by itself; take it off")]
        strikes_hz = float(motion.speed_hz.max()) * defect_orders(features.bearing.geometry).inner_raceway
        if strikes_hz > FASTEST_STRIKES_HZ:
            return [_not_judged("it turns too fast to part roughness from regular strikes")]
        found = roughest_bands(features)
        if found is None:
            return [_not_judged("too little is left between the clicks to judge the running noise")]
        chance = HEALTHY.chance(found.score)
        detected = chance <= DETECTION_CHANCE
        if found.of_crank is None:
            if detected:
                return [_not_judged("a rough noise is heard, and no still part tells it from the room's")]
            chance = WITHOUT_STILLNESS.chance(found.score)
        return [
            Finding(
                condition="rumble",
                detected=detected,
                false_alarm_probability=chance,
                severity_db=max(FAINTEST_DB, 10 * math.log10(max(found.ratio - 1, 1e-3))),
                detail="the running noise is rough" if detected else "the running noise is smooth",
                evidence=Evidence(band_hz=bank.edges_hz(found.first_band, found.last_band)),
            )
        ]


def roughest_bands(features: Features) -> Fluctuation | None:
    """Compare the turning part's flicker with the still parts' and the room's; None where too little is left."""
    motion, bank = features.motion, features.bank
    clicks = near_clicks(bank)
    still = [Listened(bank, start_s, stop_s, clicks) for start_s, stop_s in motion.still]
    if features.room is not None:
        still.append(Listened(features.room, 0.0, features.room.duration_s, near_clicks(features.room)))
    return fluctuation(Listened(bank, motion.start_s, motion.stop_s, clicks), still)


def _not_judged(why: str) -> Finding:
    return Finding.unjudged("rumble", f"rumble could not be judged: {why}")


@hookimpl
def acoustic_detectors() -> Sequence[Rumble]:
    """Offer the judge of rumble."""
    return [Rumble()]
