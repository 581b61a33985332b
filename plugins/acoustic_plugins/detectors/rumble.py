"""Rumble: the running noise is made of dense small impacts, as on rough or rusty rings."""

from __future__ import annotations

import math
from collections.abc import Sequence

from acoustic.api import (
    DETECTION_CHANCE,
    Evidence,
    Finding,
    Hearing,
    chance_of_flicker,
    defect_orders,
    flicker,
    hookimpl,
    near_clicks,
)

ACOUSTIC_API = (1, 0)

NEIGHBOURS = 3  # bands averaged
LOWEST_HZ = 200.0
FAINTEST_DB = -20.0
FASTEST_STRIKES_HZ = 45.0  # faster, regular strikes alone make the level flicker from one 8 ms block to the next


class Rumble:
    """Compares the flicker of the running noise with that of smooth hiss."""

    name = "rumble"
    summary = "rough running noise, made of many small impacts"
    conditions = ("rumble",)

    def detect(self, hearing: Hearing) -> Sequence[Finding]:
        """Judge the roughest run of three bands."""
        import numpy as np

        motion, bank = hearing.motion, hearing.bank
        if hearing.drivetrain.covers_noise:
            return [_not_judged("a running chain sounds rough by itself; take it off")]
        strikes_hz = float(motion.speed_hz.max()) * defect_orders(hearing.bearing.geometry).inner_raceway
        if strikes_hz > FASTEST_STRIKES_HZ:
            return [_not_judged("it turns too fast to part roughness from regular strikes")]
        clicks = near_clicks(bank)
        turning = flicker(bank, motion.start_s, motion.stop_s, leave_out=clicks)
        if not np.isfinite(turning).any():
            return [_not_judged("too little is left between the clicks to judge the running noise")]
        # Talk and machines flicker too; what the still parts show is not the bearing's.
        still = [flicker(bank, a, b, leave_out=clicks) for a, b in motion.still]
        if hearing.room is not None:
            room_s = hearing.room.duration_s
            still.append(flicker(hearing.room, 0.0, room_s, leave_out=near_clicks(hearing.room)))
        room = np.fmax.reduce([np.ones(turning.size), *still])
        log_ratio = np.log(np.maximum(turning, 1e-6) / room)
        lowest = bank.first_band(LOWEST_HZ)
        runs = [
            (float(np.mean(log_ratio[first : first + NEIGHBOURS])), first)
            for first in range(
                min(lowest, max(0, turning.size - NEIGHBOURS)), max(1, turning.size - NEIGHBOURS + 1)
            )
        ]
        best, first = max(runs)
        ratio = math.exp(best)
        chance = chance_of_flicker(ratio)
        severity_db = max(FAINTEST_DB, 10 * math.log10(max(ratio - 1, 1e-3)))
        detail = "the running noise is rough" if chance <= DETECTION_CHANCE else "the running noise is smooth"
        last = min(first + NEIGHBOURS, turning.size) - 1
        return [_finding(chance, severity_db, detail, bank.edges_hz(first, last))]


def _not_judged(why: str) -> Finding:
    return Finding.unjudged("rumble", f"rumble could not be judged: {why}")


def _finding(
    chance: float, severity_db: float | None, detail: str, band_hz: tuple[float, float] | None = None
) -> Finding:
    return Finding(
        condition="rumble",
        detected=chance <= DETECTION_CHANCE,
        false_alarm_probability=chance,
        severity_db=severity_db,
        detail=detail,
        evidence=Evidence(band_hz=band_hz),
    )


@hookimpl
def acoustic_detectors() -> Sequence[Rumble]:
    """Offer the judge of rumble."""
    return [Rumble()]
