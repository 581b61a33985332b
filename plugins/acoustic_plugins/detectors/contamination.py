"""Contamination: irregular clicks while the crank turns, as grit makes."""

from __future__ import annotations

import math
from collections.abc import Sequence

from acoustic.api import (
    DETECTION_CHANCE,
    Evidence,
    Finding,
    Hearing,
    find_clicks,
    follows_crank,
    hookimpl,
    more_than_expected,
    rhythm,
)

ACOUSTIC_API = (1, 0)

IN_STEP = 0.15  # clicks nearer to a beat than this share of the interval belong to the beat
STEADY = 0.001  # chance below which clicks keep a rhythm
LEAST_A_TURN = 0.5
AGAINST_CRANK = -2.0  # log odds of about 1 to 7 that the clicks come in time, not in angle
OWN_CLICK_S = 0.05
FAINTEST_DB = -40.0


class Contamination:
    """Counts short clicks that keep no rhythm and come with the crank's turning."""

    name = "contamination"
    summary = "irregular clicks that come only while the crank turns"
    conditions = ("contamination",)

    def detect(self, hearing: Hearing) -> Sequence[Finding]:
        """Judge the clicks that keep no rhythm against those of the still parts."""
        import numpy as np

        motion = hearing.motion
        clicks = find_clicks(hearing.bank)
        own = np.array(
            [np.min(np.abs(motion.own_clicks_s - t), initial=np.inf) <= OWN_CLICK_S for t in clicks.times_s]
        )
        turning = (clicks.times_s >= motion.start_s) & (clicks.times_s < motion.stop_s) & ~own.astype(bool)
        quiet_count, quiet_s = _quiet(hearing, clicks.times_s.tolist())
        angle = np.interp(clicks.times_s[turning], motion.times_s, motion.turns)
        order, chance_rhythm, offset = rhythm(angle)
        loose = np.ones(angle.size, dtype=bool)
        if chance_rhythm < STEADY:
            loose = offset > IN_STEP
        share_kept = 1.0 if chance_rhythm >= STEADY else 1 - 2 * IN_STEP
        count = loose.sum() / share_kept
        turning_s = motion.stop_s - motion.start_s
        odds = follows_crank(clicks.times_s[turning][loose], motion.times_s, motion.turns)
        chance = more_than_expected(count, turning_s, quiet_count, quiet_s)
        if count / motion.total_turns < LEAST_A_TURN or odds < AGAINST_CRANK:
            chance = 1.0
        energy = float(clicks.power[turning][loose].sum()) / turning_s
        return [
            Finding(
                condition="contamination",
                detected=chance <= DETECTION_CHANCE,
                false_alarm_probability=chance,
                severity_db=max(FAINTEST_DB, 10 * math.log10(max(energy, 1e-9))),
                detail=_detail(chance, count / motion.total_turns, order if chance_rhythm < STEADY else None),
                evidence=Evidence(),
            )
        ]


def _quiet(hearing: Hearing, times_s: Sequence[float]) -> tuple[int, float]:
    still = hearing.motion.still
    count = sum(1 for t in times_s if any(a <= t < b for a, b in still))
    return count, sum(b - a for a, b in still)


def _detail(chance: float, a_turn: float, order: float | None) -> str:
    beat = f", beside a steady beat of {order:.1f} a turn" if order is not None else ""
    if chance <= DETECTION_CHANCE:
        return f"{a_turn:.1f} irregular clicks a turn{beat}, as dirt in the bearing makes"
    return "no irregular clicks of the turning crank"


@hookimpl
def acoustic_detectors() -> Sequence[Contamination]:
    """Offer the judge of contamination."""
    return [Contamination()]
