"""Whether a motion that was given is the one in the sound: by its impacts, and by its running noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.tacholess.alignment import ORDER_REACH, ORDER_STEP, ORDERS, SLOWEST_HZ, bends_along
from acoustic.dsp.tacholess.coast_down import PUSH_S
from acoustic.dsp.tacholess.impact_levels import ImpactLevels, impact_levels
from acoustic.dsp.tacholess.impact_likelihood import Course, impact_nats, impact_ranks
from acoustic.dsp.tacholess.level_alignment import align_levels
from acoustic.dsp.tacholess.periodicity import (
    LOWEST_HZ,
    RATE_STEP,
    SEGMENT_S,
    scores_along,
    segment_middles,
)
from acoustic.dsp.tacholess.train_search import FoundTrain, find_train

Verdict = Literal["confirmed", "open", "contradicted"]

FEWEST_SEGMENTS = 3  # two rates say nothing of a course
# Share of what the segments show at their own best orders that one order shows in all of them: right marks leave
# 0.70 and more, marks of another spin 0.75 and less nineteen times in twenty (171 pairs of both kinds).
FOLLOWS, STRAYS = 0.78, 0.66
PERIODIC = 4.2  # standard deviations a segment; where there are no impacts the best order shows 2 to 3.5
LEAST_COVERED = 0.6  # of the time over which a train is heard
# Share of the nats of its own course that the impacts of a train have along a motion. Of 58 damaged bearings of
# both generators right marks leave 0.69 and more, right gyros 0.96 and more; marks of another spin 0.66 and less,
# half of them under 0.15, but for one spin that is the same to a few per cent. Both limits are judgement.
EXPLAINS, FAILS = 0.75, 0.6
LEAST_NATS = 20.0  # fewer can be reached by a course that is sought through talk (judgement)
CLOCK_OFF_S = np.array([-0.05, -0.025, 0.0, 0.025, 0.05])  # a coder puts 20 ms in front, marks are off by as much
SURE_CHANCE = 1e-4  # of the train that speaks against a motion
# The level's fit must be of one place alone, and far from a room without a bearing.
LEAST_GAIN, MOST_ELSEWHERE, WIDEST_S = 40.0, 0.05, 0.15
NEAR_S, FAR_S = 0.12, 0.5  # beyond what is not known of the push before the first mark
SHAPE_UNLIKE = 0.05  # share of redrawn recordings; below it another run-down fits clearly better (judgement)
LEVEL_SLACK_S = 3.0  # how far off the curve is looked for (judgement)
LONGEST_END_S = 4.0  # of the last slow turn, which marks leave out (judgement)


@dataclass(frozen=True, slots=True)
class Agreement:
    """What the sound says to a motion.

    Attributes
    ----------
    verdict : {'confirmed', 'open', 'contradicted'}
    by : {'impacts', 'levels'}
        What was asked: the level where no impacts are heard.
    follows : float
        Share of the segments' periodicity that one order explains all along the motion, 0 to 1.
    periodicity : float
        What the segments show a segment, standard deviations.
    """

    verdict: Verdict
    by: Literal["impacts", "levels"]
    follows: float
    periodicity: float


def agreement(bank: BandBank, times_s: Floats, turns: Floats, *, coasting: bool) -> Agreement:
    """Set a motion against the sound's own evidence of it.

    Parameters
    ----------
    bank : BandBank
        Of the whole recording.
    times_s, turns : ndarray, shape (k,)
        Crank angle [turns] against time [s], both increasing.
    coasting : bool
        Let go, rather than driven.

    Returns
    -------
    Agreement
        'open' where neither impacts nor the running noise tell.
    """
    levels = impact_levels(bank)
    follows, periodicity = _followed(levels, times_s, turns)
    if periodicity >= PERIODIC and follows >= FOLLOWS:
        return Agreement("confirmed", "impacts", follows, periodicity)
    by_level: Verdict = "open" if periodicity >= PERIODIC else _by_level(bank, times_s, turns, coasting)
    if by_level == "confirmed":
        return Agreement("confirmed", "levels", follows, periodicity)
    # A clock in the room is periodic too; what speaks against a motion is another motion of a crank.
    train = find_train(levels, coasting=coasting)
    if train is None or train.chance > SURE_CHANCE or train.even:
        return Agreement(by_level, "levels", follows, periodicity)
    strays = periodicity >= PERIODIC and follows < STRAYS
    verdict = "contradicted" if strays else _by_train(levels, train, times_s, turns)
    return Agreement(verdict, "impacts", follows, periodicity)


def _by_train(levels: ImpactLevels, found: FoundTrain, times_s: Floats, turns: Floats) -> Verdict:
    """Whether the clearest train's impacts are nearly as likely along the motion as along a course of their own.

    A course that was found in the impacts fits them better than the true one, by a little.
    """
    heard = (found.times_s >= found.train.levels.start_s) & (found.times_s <= found.train.levels.stop_s)
    inside = heard & (found.times_s >= times_s[0]) & (found.times_s <= times_s[-1])
    if np.count_nonzero(inside) < max(2.0, LEAST_COVERED * np.count_nonzero(heard)):
        return "contradicted"
    ranks = impact_ranks(levels, found.train.group)

    def likely(at_s: Floats, angle: Floats, order: float) -> float:
        speed = np.gradient(angle, at_s)
        path = Course(at_s, angle - angle[0], np.clip(speed / speed.max(), 0, 1))
        step = ORDER_STEP / (float(path.turns[-1]) * order)
        orders = order * np.exp(np.arange(-ORDER_REACH, ORDER_REACH + step / 2, step))
        return float(impact_nats(levels, ranks, path, CLOCK_OFF_S, orders).max())

    made = np.interp(found.times_s[inside][[0, -1]], times_s, turns)
    order = float(np.ptp(found.impacts[inside]) / np.ptp(made))
    own = likely(found.times_s, found.impacts, 1.0)
    if own < LEAST_NATS:
        return "open"
    share = likely(times_s, turns, order) / own
    if share >= EXPLAINS:
        return "confirmed"
    return "contradicted" if share < FAILS else "open"


def _followed(levels: ImpactLevels, times_s: Floats, turns: Floats) -> tuple[float, float]:
    """Share of the segments' periodicity that one order explains, and that periodicity a segment."""
    if levels.duration_s < SEGMENT_S:
        return 0.0, 0.0
    middles_s = segment_middles(levels)
    speed_hz = np.gradient(turns, times_s)
    speed, bends, used = bends_along(middles_s, times_s, speed_hz)
    if used.size < FEWEST_SEGMENTS:
        return 0.0, 0.0
    every = np.zeros(middles_s.size)
    every[used] = bends
    score = scores_along(levels, every, used)
    lowest, count = round(np.log(ORDERS[0]) / RATE_STEP), round(np.log(ORDERS[1] / ORDERS[0]) / RATE_STEP)
    total = np.zeros((score.shape[1], count), dtype=np.float32)
    most = np.zeros(score.shape[1], dtype=np.float32)
    for row, hz in zip(score, speed[used], strict=True):
        first = lowest + round(np.log(hz / LOWEST_HZ) / RATE_STEP)
        low, high = max(first, 0), min(first + count, row.shape[1])
        if low < high:
            total[:, low - first : high - first] += row[:, low:high]
            most += row[:, low:high].max(axis=1)
    group = int(np.unravel_index(int(total.argmax()), total.shape)[0])
    return float(total.max() / max(float(most[group]), 1e-6)), float(most[group]) / used.size


def _by_level(bank: BandBank, times_s: Floats, turns: Floats, coasting: bool) -> Verdict:
    """What the rise and fall of the running noise says; it says nothing where the recorder's gain rides."""
    speed_hz = np.gradient(turns, times_s)
    last_s = min(LONGEST_END_S, 2 / max(float(speed_hz[-1]), SLOWEST_HZ)) if coasting else PUSH_S
    curve_s = np.concatenate([[times_s[0] - PUSH_S], times_s, [times_s[-1] + last_s]])
    curve_hz = np.concatenate([[0.0], speed_hz, [0.0]])
    try:
        fit = align_levels(
            bank, curve_s, curve_hz, [(float(curve_s[0]), float(curve_s[-1]))], slack_s=LEVEL_SLACK_S
        )
    except ValueError:
        return "open"
    if fit.riding_gain or fit.gain < LEAST_GAIN or fit.elsewhere > MOST_ELSEWHERE or fit.half_width_s > WIDEST_S:
        return "open"
    # The push may come up to a turn before the first mark, while the curve has it right before.
    early_s = -1 / max(float(speed_hz[0]), SLOWEST_HZ) - NEAR_S
    if not early_s - FAR_S < fit.offset_s < FAR_S:
        return "contradicted"
    return "confirmed" if early_s < fit.offset_s < NEAR_S and fit.own_shape > SHAPE_UNLIKE else "open"
