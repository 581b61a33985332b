"""The impact train in a recording, if there is one, and the crank's angle over time that follows from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.dsp.tacholess import cadence as driven
from acoustic.dsp.tacholess.coast_down import CoastDown, coast_speed, find_coast, sharpened
from acoustic.dsp.tacholess.cycle_average import stretch_delays
from acoustic.dsp.tacholess.impact_levels import ImpactLevels
from acoustic.dsp.tacholess.impact_train import ImpactTrain, folded, struck_from, struck_score
from acoustic.dsp.tacholess.null import CADENCE, COAST, train_chance
from acoustic.dsp.tacholess.periodicity import SEGMENT_S, segment_scores

# Resolution: the speed changes far more slowly.
STEP_S = 0.005
# Judgement: three turns of a bearing with the fewest passes a turn that are usual, eight.
FEWEST_IMPACTS = 24
SLOWEST_SHARE = 0.01  # of the first speed: there the crank all but stands
RISE_S = 0.32  # of a push by hand, until impacts come as in the run-down after it
EDGE_S = 0.15  # a train that begins within this of the recording's start began before it
# A clock, a fan or a motor strikes more evenly than legs turn a crank: lateness in seconds, and of the rate.
EVEN_S, EVEN_RATE = 0.005, 0.0035


@dataclass(frozen=True, slots=True, eq=False)
class FoundTrain:
    """The clearest train of impacts.

    Attributes
    ----------
    train : ImpactTrain
        The part that speaks for it.
    score : float
        What the segments along it show, standard deviations.
    struck : float
        Mean rank of its intervals over one half, in standard errors.
    chance : float
        Of one as clear where there is none, everything searched counted in.
    coasting : bool
        It slows as a crank does that was let go.
    even : bool
        It keeps its rate as a machine does.
    times_s : ndarray, shape (k,)
        From the push, or the start of the recording, until the crank all but stands.
    impacts : ndarray, shape (k,)
        Made until then, from 0, strictly increasing.
    """

    train: ImpactTrain
    score: float
    struck: float
    chance: float
    coasting: bool
    even: bool
    times_s: Floats
    impacts: Floats


def find_train(levels: ImpactLevels, *, coasting: bool | None) -> FoundTrain | None:
    """Find the clearest train of impacts that a crank may make.

    Parameters
    ----------
    levels : ImpactLevels
        Of the whole recording.
    coasting : bool or None
        Let go, or driven; both are tried if None.

    Returns
    -------
    FoundTrain or None
        Whatever is clearest; None where the recording is too short for any.
    """
    if levels.duration_s < SEGMENT_S:
        return None
    scores = segment_scores(levels)
    found: list[FoundTrain | None] = []
    if coasting is not False:
        coast = find_coast(scores, until_s=levels.stop_s)
        found.append(None if coast is None else _coasting(levels, coast))
    if coasting is not True:
        found.append(_driven(levels, driven.find_cadence(scores)))
    trains = sorted((train for train in found if train is not None), key=lambda train: -train.score)
    # A compressor or a clock may strike more clearly than the crank beside it.
    crank = [train for train in trains if not train.even and train.chance <= DETECTION_CHANCE]
    return next(iter(crank or trains), None)


def _coasting(levels: ImpactLevels, rough: CoastDown) -> FoundTrain | None:
    coast = sharpened(levels, rough)
    start_s = max(levels.start_s, coast.start_s - SEGMENT_S / 2)
    times_s = _steps(start_s, min(levels.stop_s, coast.stop_s))
    rates_hz = coast.rate_hz * coast_speed(times_s, coast.stop_s, coast.drag_per_s)
    rates_hz /= coast_speed(np.array([coast.start_s]), coast.stop_s, coast.drag_per_s)
    sure = (min(coast.start_s + SEGMENT_S / 2, coast.until_s - 0.5), coast.until_s)
    angle = _integral(times_s, rates_hz)
    train = _between(levels, times_s, angle, coast.start_s, coast.until_s, coast.group)
    if train is None:
        return None
    profiles = folded(levels.part(times_s[0], times_s[-1]), angle, float(angle[-1]), coast.group)
    first, _ = struck_from(profiles, *_intervals(sure, times_s, angle, len(profiles)))
    begin_s = float(np.interp(first, angle, times_s))
    kept = (times_s >= begin_s) & (rates_hz > SLOWEST_SHARE * np.interp(begin_s, times_s, rates_hz))
    times_s, rates_hz = times_s[kept], rates_hz[kept]
    if times_s[0] - levels.start_s > EDGE_S:
        # The push itself: the speed rises to that of the first interval that fits.
        before_s = np.arange(max(levels.start_s, times_s[0] - RISE_S), times_s[0] - STEP_S / 2, STEP_S)
        up = np.clip((before_s - times_s[0] + RISE_S) / RISE_S, 0.02, 1)
        times_s, rates_hz = np.concatenate([before_s, times_s]), np.concatenate([rates_hz[0] * up, rates_hz])
    score = struck_score(train)
    chance = train_chance(COAST, score=coast.score, struck=score, length_s=levels.duration_s)
    return FoundTrain(train, coast.score, score, chance, True, False, times_s, _integral(times_s, rates_hz))


def _driven(levels: ImpactLevels, rough: driven.Cadence) -> FoundTrain | None:
    if rough.times_s.size < 2:
        return None
    cadence = driven.sharpened(levels, rough)
    times_s = _steps(levels.start_s, levels.stop_s)
    angle = _integral(times_s, np.interp(times_s, cadence.times_s, cadence.rates_hz))
    sure = (float(rough.times_s[0]), float(rough.times_s[-1]))
    train = _between(levels, times_s, angle, *sure, cadence.group)
    if train is None:
        return None
    profiles = folded(levels, angle, float(angle[-1]), cadence.group)
    first, last = struck_from(profiles, *_intervals(sure, times_s, angle, len(profiles)))
    begin_s, end_s = np.interp([first, last + 1], angle, times_s)
    kept = (times_s >= (begin_s if begin_s > EDGE_S else 0.0)) & (times_s <= end_s)
    score = struck_score(train)
    chance = train_chance(CADENCE, score=cadence.score, struck=score, length_s=levels.duration_s)
    even = _even(train) or float(rough.rates_hz.std() / rough.rates_hz.mean()) < EVEN_RATE
    impacts = angle[kept] - angle[kept][0]
    return FoundTrain(train, cadence.score, score, chance, False, even, times_s[kept], impacts)


def _even(train: ImpactTrain) -> bool:
    """Whether the impacts come as evenly as a machine's, over all the stretches that can be timed."""
    impacts, angle = float(train.angle[-1]), np.array([0.0, 1.0])
    delays = stretch_delays(folded(train.levels, angle, impacts, train.group))
    if delays is None:
        return False
    line = np.polynomial.Polynomial.fit(delays.impacts, delays.late, 1, w=1 / delays.error)
    off = delays.late - line(delays.impacts)
    return float(np.sqrt(np.mean(off**2))) * train.levels.duration_s / impacts < EVEN_S


def _between(
    levels: ImpactLevels, times_s: Floats, angle: Floats, start_s: float, stop_s: float, group: int
) -> ImpactTrain | None:
    part = levels.part(start_s, stop_s)
    if part.frames < 2:
        return None
    steps_s = np.linspace(part.start_s, part.stop_s, round(part.duration_s / STEP_S) + 2)
    inside = np.interp(steps_s, times_s, angle)
    if inside[-1] - inside[0] < FEWEST_IMPACTS:
        return None
    fastest_hz = float(np.max(np.diff(inside)) / (steps_s[1] - steps_s[0]))
    return ImpactTrain(part, inside - inside[0], group, fastest_hz)


def _intervals(sure_s: tuple[float, float], times_s: Floats, angle: Floats, count: int) -> tuple[int, int]:
    """Whole intervals within a part."""
    first, last = (int(at) for at in np.interp(sure_s, times_s, angle))
    first = min(first, count - 1)
    return first, min(max(last, first + 1), count)


def _steps(start_s: float, stop_s: float) -> Floats:
    return np.linspace(start_s, stop_s, max(8, round((stop_s - start_s) / STEP_S)) + 1)


def _integral(times_s: Floats, rates_hz: Floats) -> Floats:
    whole = np.cumsum((rates_hz[1:] + rates_hz[:-1]) / 2 * np.diff(times_s))
    return np.concatenate([[0.0], whole])
