"""Contamination: irregular clicks while the crank turns, as grit makes.

Two independent witnesses, since clicks that stop with the crank alone missed half of the spins with a second of
stillness. Nothing is judged beside a running chain, which clicks as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.api import DETECTION_CHANCE, Evidence, Features, Finding, find_clicks, hookimpl, regularity
from acoustic_plugins.detectors.click_statistics import (
    IN_STEP,
    follows_crank,
    keeps_pace,
    more_than_expected,
    off_rhythm,
    plain_clicks,
    rhythm,
)
from acoustic_plugins.detectors.null_distribution import HealthyScores

ACOUSTIC_API = (1, 0)

STEADY = 0.001  # chance below which clicks keep a rhythm
# Judgement: trains without a known order, a card, a shoe and a chain guard at most.
MOST_TRAINS = 3
# Floor of the scale only: a grade asks for tens of dB more (acoustic/conditions.toml).
FAINTEST_DB = -40.0
HEALTHY = HealthyScores(median=-0.39, tenth=0.50, fall=0.55)  # tests/calibration/event_nulls.py


class Contamination:
    """Counts short clicks that keep no rhythm and come with the crank's turning."""

    name = "contamination"
    summary = "irregular clicks that come only while the crank turns"
    conditions = ("contamination",)

    def detect(self, features: Features) -> Sequence[Finding]:
        """Judge the clicks that keep no rhythm: more than in the still parts, and faster as the crank is."""
        if features.drivetrain.covers_noise:
            return [_not_judged("a running chain crackles by itself; take it off")]
        motion, dirt = features.motion, irregular_clicks(features)
        # Most healthy recordings have no such clicks at all, or none that speak for the crank.
        chance = HEALTHY.chance(dirt.score) if dirt.score > 0 else 1.0
        made, unit = (
            (motion.total_turns, "turn") if motion.scale_known else (motion.stop_s - motion.start_s, "second")
        )
        clicks = f"{dirt.count / made:.1f} irregular clicks a {unit}"
        beside = ", beside steady strikes" if dirt.trains else ""
        return [
            Finding(
                condition="contamination",
                detected=chance <= DETECTION_CHANCE,
                false_alarm_probability=chance,
                severity_db=max(FAINTEST_DB, 10 * math.log10(max(dirt.energy, 1e-9))),
                detail=f"{clicks}{beside}, as dirt in the bearing makes"
                if chance <= DETECTION_CHANCE
                else "no irregular clicks of the turning crank",
                evidence=Evidence(),
            )
        ]


@dataclass(frozen=True, slots=True)
class IrregularClicks:
    """What keeps no rhythm while the crank turns.

    Attributes
    ----------
    score : float
        Evidence that the turning crank makes them [nats].
    count : float
        How many, those that steady trains hide counted in.
    trains : int
        Steady trains that were left out.
    energy : float
        Of the clicks over the running level, a second.
    """

    score: float
    count: float
    trains: int
    energy: float


def irregular_clicks(features: Features) -> IrregularClicks:
    """Weigh the clicks that keep no rhythm.

    Parameters
    ----------
    features : Features

    Returns
    -------
    IrregularClicks

    Notes
    -----
    Two independent witnesses, so that their evidence adds: more clicks than the still parts let expect,
    and a rate that follows the speed. Clicks that keep their pace as the crank slows speak against
    dirt as loudly as others speak for it; neither needs the speed's scale.
    """
    motion, clicks = features.motion, plain_clicks(features.clicks)
    turning = (clicks.times_s >= motion.start_s) & (clicks.times_s < motion.stop_s)
    times_s, power = clicks.times_s[turning], clicks.power[turning]
    even = regularity(times_s) < STEADY
    strikes = [part.order for part in features.parts if part.certain]
    kept, trains = _irregular(np.interp(times_s, motion.times_s, motion.turns), strikes)
    times_s, power, share_left = times_s[kept], power[kept], (1 - 2 * IN_STEP) ** trains
    turning_s = motion.stop_s - motion.start_s
    more = more_than_expected(times_s.size, turning_s * share_left, *_quiet(features, clicks.times_s.tolist()))
    score = -math.log(max(more, 1e-300)) + follows_crank(times_s, motion.times_s, motion.turns)
    if even and not trains:
        score = 0.0  # an even train that fits no steady order is a train at a wrongly known speed, not dirt
    return IrregularClicks(score, times_s.size / share_left, trains, float(power.sum()) / turning_s)


def _irregular(turns: NDArray[np.float64], strikes: Sequence[float]) -> tuple[NDArray[np.bool_], int]:
    """Which clicks keep neither the pace of strikes that were found nor any other; how many trains there are."""
    kept, trains = np.ones(turns.size, dtype=bool), 0
    for order in strikes:
        kept[kept] = off_rhythm(turns[kept], order) > IN_STEP
        trains += 1
        # A spall is struck where it begins and again where it ends: the same pace, elsewhere in the interval.
        if keeps_pace(turns[kept], order) < STEADY:
            kept[kept] = off_rhythm(turns[kept], order) > IN_STEP
            trains += 1
    while trains < len(strikes) + MOST_TRAINS:
        _, chance, offset = rhythm(turns[kept])
        if chance >= STEADY:
            break
        kept[kept] = offset > IN_STEP
        trains += 1
    return kept, trains


def _not_judged(why: str) -> Finding:
    return Finding.unjudged("contamination", f"dirt could not be judged: {why}")


def _quiet(features: Features, times_s: Sequence[float]) -> tuple[int, float]:
    still = features.motion.still
    count = sum(1 for t in times_s if any(a <= t < b for a, b in still))
    quiet_s = sum(b - a for a, b in still)
    if features.room is None:
        return count, quiet_s
    return count + plain_clicks(find_clicks(features.room)).times_s.size, quiet_s + features.room.duration_s


@hookimpl
def acoustic_detectors() -> Sequence[Contamination]:
    """Offer the judge of contamination."""
    return [Contamination()]
