"""Contamination: irregular clicks while the crank turns, as grit makes."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from acoustic.api import (
    DETECTION_CHANCE,
    Evidence,
    Finding,
    Hearing,
    both_chances,
    crank_chance,
    find_clicks,
    follows_crank,
    hookimpl,
    more_than_expected,
    off_beat,
    regularity,
    rhythm,
)

ACOUSTIC_API = (1, 0)

IN_STEP = 0.15  # clicks nearer to a beat than this share of the interval belong to the beat
STEADY = 0.001  # chance below which clicks keep a rhythm
LEAST_A_TURN = 0.5
AGAINST_CRANK = -2.0  # log odds of about 1 to 7 that the clicks come in time, not in angle
MOST_BEATS = 3
FAINTEST_DB = -40.0


class Contamination:
    """Counts short clicks that keep no rhythm and come with the crank's turning."""

    name = "contamination"
    summary = "irregular clicks that come only while the crank turns"
    conditions = ("contamination",)

    def detect(self, hearing: Hearing) -> Sequence[Finding]:
        """Judge the clicks that keep no rhythm against those of the still parts."""
        if hearing.drivetrain.covers_noise:
            return [_not_judged("a running chain crackles by itself; take it off")]
        motion, clicks = hearing.motion, hearing.clicks
        turning = (clicks.times_s >= motion.start_s) & (clicks.times_s < motion.stop_s)
        quiet_count, quiet_s = _quiet(hearing, clicks.times_s.tolist())
        times_s, power = clicks.times_s[turning], clicks.power[turning]
        even = regularity(times_s) < STEADY
        strikes = [part.order for part in hearing.parts if part.certain]
        kept, beats = _irregular(np.interp(times_s, motion.times_s, motion.turns), strikes)
        times_s, power, share_left = times_s[kept], power[kept], (1 - 2 * IN_STEP) ** beats
        turning_s = motion.stop_s - motion.start_s
        a_turn = times_s.size / share_left / motion.total_turns
        odds = follows_crank(times_s, motion.times_s, motion.turns)
        more = more_than_expected(times_s.size, turning_s * share_left, quiet_count, quiet_s)
        chance = both_chances(more, crank_chance(odds))
        # An even train that fits no steady order is a beat at a wrongly known speed, not dirt.
        if a_turn < LEAST_A_TURN or odds < AGAINST_CRANK or (even and not beats):
            chance = 1.0
        energy = float(power.sum()) / turning_s
        return [
            Finding(
                condition="contamination",
                detected=chance <= DETECTION_CHANCE,
                false_alarm_probability=chance,
                severity_db=max(FAINTEST_DB, 10 * math.log10(max(energy, 1e-9))),
                detail=_detail(chance, a_turn, beats),
                evidence=Evidence(),
            )
        ]


def _irregular(turns: NDArray[np.float64], strikes: Sequence[float]) -> tuple[NDArray[np.bool_], int]:
    """Which clicks keep neither the pace of strikes that were found nor any other; how many beats are left out."""
    kept, beats = np.ones(turns.size, dtype=bool), 0
    for order in strikes:
        kept[kept] = off_beat(turns[kept], order) > IN_STEP
        beats += 1
    while beats < len(strikes) + MOST_BEATS:
        _, chance, offset = rhythm(turns[kept])
        if chance >= STEADY:
            break
        kept[kept] = offset > IN_STEP
        beats += 1
    return kept, beats


def _not_judged(why: str) -> Finding:
    return Finding.unjudged("contamination", f"dirt could not be judged: {why}")


def _quiet(hearing: Hearing, times_s: Sequence[float]) -> tuple[int, float]:
    still = hearing.motion.still
    count = sum(1 for t in times_s if any(a <= t < b for a, b in still))
    quiet_s = sum(b - a for a, b in still)
    if hearing.room is None:
        return count, quiet_s
    return count + find_clicks(hearing.room).times_s.size, quiet_s + hearing.room.duration_s


def _detail(chance: float, a_turn: float, beats: int) -> str:
    beside = ", beside steady strikes" if beats else ""
    if chance <= DETECTION_CHANCE:
        return f"{a_turn:.1f} irregular clicks a turn{beside}, as dirt in the bearing makes"
    return "no irregular clicks of the turning crank"


@hookimpl
def acoustic_detectors() -> Sequence[Contamination]:
    """Offer the judge of contamination."""
    return [Contamination()]
