"""The cadence of a driven crank, found from the rhythm of its impacts alone: it wanders slowly.

A cadence obeys no law, so the best slow path through the segments' scores is taken, by dynamic programming.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.tacholess.cycle_average import stretch_delays
from acoustic.dsp.tacholess.impact_levels import ImpactLevels
from acoustic.dsp.tacholess.impact_train import folded
from acoustic.dsp.tacholess.periodicity import SEGMENT_S, SegmentScores

MOST_BEND = 0.085  # relative change of rate a second
FASTEST_STEPS = 6  # of the rate from one segment to the next: seven per cent a second
STEP_COST = 0.14  # standard deviations for one step, growing with its square
# Resolution, and the time over which legs keep a pace (judgement).
STEP_S, SMOOTHED_S = 0.01, 1.0
# Resolution: the course settles in two or three rounds.
ROUNDS = 3
COST = 1.7  # that a segment must show to be counted to the train: its best bend is taken


@dataclass(frozen=True, slots=True, eq=False)
class Cadence:
    """A path of rates through the segments.

    Attributes
    ----------
    times_s, rates_hz : ndarray, shape (k,)
        Middles of the segments that speak for it, and the rate of impacts there.
    group : int
        Group of bands it is clearest in.
    score : float
        Sum over the segments less what the changes cost, standard deviations.
    """

    times_s: Floats
    rates_hz: Floats
    group: int
    score: float


def find_cadence(scores: SegmentScores) -> Cadence:
    """Find the path of slowly changing rate that the segments speak for most.

    Parameters
    ----------
    scores : SegmentScores

    Returns
    -------
    Cadence
        By dynamic programming over the rates, in each group of bands for itself.
    """
    even = np.abs(scores.bends) <= MOST_BEND
    score = scores.score[:, even].max(axis=1) - COST
    changes = np.arange(-FASTEST_STEPS, FASTEST_STEPS + 1)
    costs = (STEP_COST * changes**2)[:, np.newaxis, np.newaxis].astype(np.float32)
    total = np.zeros_like(score)
    back = np.full(score.shape, FASTEST_STEPS + 1, dtype=np.int8)  # past the changes: the path begins here
    total[0] = score[0]
    for place in range(1, len(score)):
        padded = np.pad(total[place - 1], ((0, 0), (FASTEST_STEPS, FASTEST_STEPS)), constant_values=-np.inf)
        reach = np.lib.stride_tricks.sliding_window_view(padded, score.shape[2], axis=1).transpose(1, 0, 2) - costs
        best = reach.max(axis=0)
        goes_on = best > 0
        total[place] = score[place] + np.where(goes_on, best, 0)
        back[place] = np.where(goes_on, changes[reach.argmax(axis=0)], FASTEST_STEPS + 1)
    last, group, rate = (int(at) for at in np.unravel_index(int(total.argmax()), total.shape))
    path = [rate]
    first = last
    while first > 0 and back[first, group, path[-1]] <= FASTEST_STEPS:
        path.append(path[-1] + int(back[first, group, path[-1]]))
        first -= 1
    return Cadence(
        times_s=scores.middles_s[first : last + 1],
        rates_hz=scores.rates_hz[np.array(path[::-1])],
        group=group,
        score=float(total[last, group, rate]),
    )


def sharpened(levels: ImpactLevels, cadence: Cadence) -> Cadence:
    """Bend a cadence to the times at which stretches of its own train of impacts come.

    Parameters
    ----------
    levels : ImpactLevels
        Of the whole recording.
    cadence : Cadence
        As `find_cadence` gives it.

    Returns
    -------
    Cadence
        At finer steps of time; the twice-a-turn wobble of pedalling, which moves an impact by
        a few hundredths of its interval, is left alone.
    """
    part = levels.part(cadence.times_s[0] - SEGMENT_S / 2, cadence.times_s[-1] + SEGMENT_S / 2)
    times_s = np.linspace(part.start_s, part.stop_s, max(64, round(part.duration_s / STEP_S)) + 1)
    rates_hz = np.interp(times_s, cadence.times_s, cadence.rates_hz)
    angle = np.concatenate([[0.0], np.cumsum((rates_hz[1:] + rates_hz[:-1]) / 2)]) * (times_s[1] - times_s[0])
    for _ in range(ROUNDS):
        delays = stretch_delays(folded(part, angle, float(angle[-1]), cadence.group))
        if delays is None:
            break
        at_s = np.interp(delays.impacts, angle, times_s)
        weight = np.exp(-0.5 * ((times_s[:, np.newaxis] - at_s) / SMOOTHED_S) ** 2) / delays.error**2 + 1e-9
        bent = angle - (weight @ delays.late) / weight.sum(axis=1)
        if np.any(np.diff(bent) <= 0):
            break
        angle = bent - bent[0]
    return replace(cadence, times_s=times_s, rates_hz=np.gradient(angle, times_s))
