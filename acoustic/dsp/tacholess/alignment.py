"""Where a speed curve with a clock of its own lies in a recording: by the impacts that follow it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.tacholess.cycle_average import stretch_delays
from acoustic.dsp.tacholess.impact_levels import ImpactLevels, impact_levels
from acoustic.dsp.tacholess.impact_train import ImpactTrain, folded, struck_score
from acoustic.dsp.tacholess.level_alignment import clock_offset
from acoustic.dsp.tacholess.null import COAST, train_chance
from acoustic.dsp.tacholess.periodicity import LOWEST_HZ, RATE_STEP, SEGMENT_S, SegmentScores, segment_scores

Floats = NDArray[np.float64]

OFFSET_STEP_S = 0.1
STEP_S = 0.005
SLOWEST_HZ = 0.25  # turns/s at a segment's middle; slower, the impacts are hardly heard
FEWEST_SEGMENTS = 4
FEWEST_IMPACTS = 24
ORDERS = (3.5, 16.0)  # impacts a turn of any crank bearing
NEARLY = 0.6
MOST_ROUNDS = 6
SETTLED_S = 0.001
SLIP_DRIFT = 0.012  # share by which impacts a turn change from the start to the end: slip goes with speed and load
SLIP_AN_IMPACT = 0.007  # in impacts: balls shift in their pockets
LARGEST_MOVE_S = 0.3
PUSH_GRID_S = np.arange(-0.35, 0.3501, 0.005)
PUSH_FROM, PUSH_BEFORE_S, PUSH_AFTER_S = 0.03, 1.5, 1.2  # of the highest speed; before and after its time
LOUDEST, LEAST_NOISE = 2.0, 0.3  # of the usual impact; variance of its likeness
FEWEST_AFTER = 6  # impacts
NINE_IN_TEN = 1.645
SURE_CHANCE = 0.002
# Nats over a room without a bearing: by luck some 10 are reached, and some 100 where the gain is free.
LEAST_GAIN, LEAST_GAIN_RIDING = 40.0, 200.0
MOST_ELSEWHERE, LEAST_OWN_SHAPE, WIDEST_OFFSET_S = 0.05, 0.05, 0.15
LEVEL_LAW_S = 0.03  # running noise keeps to no law of the speed, which its own error does not know
EDGE_S = 0.3
APART = 1.5  # half widths of both together
LEAST_GAIN_GUESSED, MOST_ELSEWHERE_GUESSED = 30.0, 0.4
GUESSED_S, WIDEST_GUESSED_S = 0.5, 0.6
LEAST_ERROR_S = 0.005


@dataclass(frozen=True, slots=True)
class Alignment:
    """How the clock of a speed curve is set against a recording's.

    Attributes
    ----------
    offset_s : float
        Add it to the curve's times to get the recording's [s].
    half_width_s : float
        Half width of the range that holds the true offset nine times in ten [s].
    chance : float
        Of impacts that follow the curve as closely where there are none, all offsets and orders counted in.
    order : float
        Impacts a turn.
    """

    offset_s: float
    half_width_s: float
    chance: float
    order: float


def align(
    levels: ImpactLevels,
    times_s: Floats,
    speed_hz: Floats,
    stretches: Sequence[tuple[float, float]],
    *,
    slack_s: float = 2.0,
) -> Alignment | None:
    """Set a curve of speed against a recording by the train of impacts that follows it.

    Parameters
    ----------
    levels : ImpactLevels
        Of the whole recording.
    times_s, speed_hz : ndarray, shape (n,)
        Speed, either way round [turns/s], against the curve's own clock [s], increasing.
    stretches : sequence of (float, float)
        Parts of the curve that turn [s]; any of them may be the one recorded.
    slack_s : float
        How much farther than needed for a stretch to fit into the recording is searched [s].

    Returns
    -------
    Alignment or None
        Whatever fits best; None where too little of the curve turns, or the recording is too short.

    Notes
    -----
    At every offset the curve says how the rate of impacts changes from segment to
    segment, but for the number of impacts a turn, which is tried out. The best place
    is then sharpened by the times at which stretches of the train come.
    """
    if levels.duration_s < SEGMENT_S or not stretches:
        return None
    scores = segment_scores(levels)
    ends = [end for start_s, stop_s in stretches for end in (-start_s, levels.stop_s - stop_s)]
    offsets = np.arange(min(ends) - slack_s, max(ends) + slack_s + OFFSET_STEP_S, OFFSET_STEP_S)
    found = [_along(scores, times_s, np.abs(speed_hz), float(offset_s)) for offset_s in offsets]
    best = int(np.argmax([score for score, _, _ in found]))
    score, order, group = found[best]
    if score <= 0:
        return None
    return _sharpened(levels, times_s, np.abs(speed_hz), float(offsets[best]), order, group, score)


def bends_along(at_s: Floats, times_s: Floats, speed_hz: Floats) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Speed at the middles of segments, and how it changes there.

    Parameters
    ----------
    at_s : ndarray, shape (segments,)
        Middles of the segments by the curve's clock [s].
    times_s, speed_hz : ndarray, shape (n,)
        The curve; outside of it the crank stands.

    Returns
    -------
    speed_hz : ndarray, shape (segments,)
    bends : ndarray, shape (k,)
        Relative change of speed a second in the segments used.
    used : ndarray, shape (k,)
        Segments in which the crank turns throughout their inner half.
    """
    side_s = SEGMENT_S / 4
    before, speed, after = (
        np.interp(at_s + side, times_s, speed_hz, left=0.0, right=0.0) for side in (-side_s, 0.0, side_s)
    )
    used = np.flatnonzero((speed > SLOWEST_HZ) & (np.minimum(before, after) > SLOWEST_HZ / 2))
    return speed, (after - before)[used] / (2 * side_s * speed[used]), used


def _along(scores: SegmentScores, times_s: Floats, speed_hz: Floats, offset_s: float) -> tuple[float, float, int]:
    """Score of the best order at one offset, that order, and its group of bands."""
    speed, bends, used = bends_along(scores.middles_s - offset_s, times_s, speed_hz)
    if used.size < FEWEST_SEGMENTS:
        return 0.0, 0.0, 0
    rows = np.rint((bends - scores.bends[0]) / (scores.bends[1] - scores.bends[0])).astype(np.intp)
    lowest, count = round(np.log(ORDERS[0]) / RATE_STEP), round(np.log(ORDERS[1] / ORDERS[0]) / RATE_STEP)
    total = np.zeros((scores.score.shape[2], count), dtype=np.float32)
    for segment, row in zip(used, rows, strict=True):
        if not 0 <= row < scores.bends.size:
            continue  # the push, or an end within the segment
        first = lowest + round(np.log(speed[segment] / LOWEST_HZ) / RATE_STEP)
        low, high = max(first, 0), min(first + count, scores.rates_hz.size)
        if low < high:
            total[:, low - first : high - first] += scores.score[segment, row, :, low:high]
    group, place = np.unravel_index(int(total.argmax()), total.shape)
    # Every second impact is as periodic as all of them, if less sharp.
    twice = int(place) + round(np.log(2.0) / RATE_STEP)
    if twice + 1 < count and (near := total[group, twice - 1 : twice + 2]).max() > NEARLY * total[group, place]:
        place = twice - 1 + int(near.argmax())
    return float(total[group, place]), float(ORDERS[0] * np.exp(RATE_STEP * place)), int(group)


def _sharpened(
    levels: ImpactLevels,
    times_s: Floats,
    speed_hz: Floats,
    offset_s: float,
    order: float,
    group: int,
    score: float,
) -> Alignment | None:
    """Move offset and order until no stretch of the train comes late."""
    error_s, tied = LARGEST_MOVE_S, 0.0
    for _ in range(MOST_ROUNDS):
        train, _, speed = _train(levels, times_s, speed_hz, offset_s, order, group)
        if train is None:
            return None
        delays = stretch_delays(folded(train.levels, train.angle, float(train.angle[-1]), group))
        if delays is None:
            break
        rate_hz = order * np.interp(delays.impacts, train.angle, speed)
        # A later curve makes every impact later: by the time it moved, times the rate there.
        share = delays.impacts / train.angle[-1]
        columns = np.column_stack([np.ones(rate_hz.size), delays.impacts, share * (1 - share), rate_hz])
        slip = SLIP_AN_IMPACT**2 * np.minimum.outer(delays.impacts, delays.impacts)
        root = np.linalg.cholesky(slip + np.diag(delays.error**2))
        white, aim = np.linalg.solve(root, columns), np.linalg.solve(root, delays.late)
        known = [1e-9, 1e-9, (4 / (SLIP_DRIFT * train.angle[-1])) ** 2, 1 / LARGEST_MOVE_S**2]
        inverse = np.linalg.inv(white.T @ white + np.diag(known))
        found = inverse @ (white.T @ aim)
        error_s = float(np.sqrt(inverse[3, 3]))
        tied = -float(inverse[1, 3] / inverse[3, 3])
        move_s = float(np.clip(found[3], -LARGEST_MOVE_S, LARGEST_MOVE_S))
        offset_s, order = offset_s + move_s, order * (1 - float(found[1]))
        if abs(move_s) < SETTLED_S:
            break
    moves_s = PUSH_GRID_S
    nats = -0.5 * (moves_s / error_s) ** 2
    nats = nats + _push_nats(levels, times_s, speed_hz, offset_s + moves_s, order * (1 + tied * moves_s), group)
    weight = np.exp(nats - nats.max())
    weight /= weight.sum()
    move_s = float(weight @ moves_s)
    error_s = float(np.sqrt(weight @ (moves_s - move_s) ** 2))
    offset_s, order = offset_s + move_s, order * (1 + tied * move_s)
    train, _, _ = _train(levels, times_s, speed_hz, offset_s, order, group)
    if train is None:
        return None
    chance = train_chance(COAST, score=score, struck=struck_score(train), length_s=levels.duration_s)
    return Alignment(offset_s, NINE_IN_TEN * float(np.hypot(error_s, LEAST_ERROR_S)), chance, order)


def _train(
    levels: ImpactLevels, times_s: Floats, speed_hz: Floats, offset_s: float, order: float, group: int
) -> tuple[ImpactTrain | None, Floats, Floats]:
    """Impacts along the curve at one offset, over the longest part that turns; its times and speeds."""
    steps_s = np.arange(levels.start_s, levels.stop_s, STEP_S)
    speed = np.interp(steps_s - offset_s, times_s, speed_hz, left=0.0, right=0.0)
    turning = np.flatnonzero(speed > SLOWEST_HZ)
    if turning.size < 2:
        return None, steps_s, speed
    pieces = np.split(turning, np.flatnonzero(np.diff(turning) > 1) + 1)
    piece = max(pieces, key=lambda one: float(speed[one].sum()))
    part = levels.part(float(steps_s[piece[0]]), float(steps_s[piece[-1]]))
    inside_s = np.linspace(part.start_s, part.stop_s, max(8, round(part.duration_s / STEP_S)) + 1)
    speed = np.maximum(np.interp(inside_s, steps_s, speed), SLOWEST_HZ / 10)
    angle = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(inside_s))]) * order
    if angle[-1] < FEWEST_IMPACTS:
        return None, inside_s, speed
    return ImpactTrain(part, angle, group, order * float(speed.max())), inside_s, speed


def _push_nats(
    levels: ImpactLevels, times_s: Floats, speed_hz: Floats, offsets_s: Floats, orders: Floats, group: int
) -> Floats:
    """By how much likelier the impacts of the push are at each offset, if they go on as those after it do.

    While the crank gathers speed within half a second no slip can pass for another offset.
    """
    peak_s = float(times_s[speed_hz.argmax()])
    curve_s = np.arange(peak_s - PUSH_BEFORE_S, peak_s + PUSH_AFTER_S, STEP_S)
    speed = np.interp(curve_s, times_s, speed_hz, left=0.0, right=0.0)
    slow = np.flatnonzero((speed < PUSH_FROM * speed.max()) & (curve_s < peak_s))
    first = int(slow[-1]) if slow.size else 0
    curve_s, speed = curve_s[first:], speed[first:]
    turns = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2)]) * STEP_S
    at_peak = float(np.interp(peak_s, curve_s, turns))
    nats = np.zeros(offsets_s.size)
    for place, (offset_s, order) in enumerate(zip(offsets_s, orders, strict=True)):
        pushed, made = int(at_peak * order), float(turns[-1] * order)
        start_s, stop_s = float(curve_s[0] + offset_s), float(curve_s[-1] + offset_s)
        if pushed < 1 or made - pushed < FEWEST_AFTER or start_s < levels.start_s or stop_s > levels.stop_s:
            continue
        profiles = folded(levels.part(start_s, stop_s), turns * order, made, group)
        centred = profiles - profiles.mean(axis=1, keepdims=True)
        pattern = centred[pushed:].mean(axis=0)
        like = centred @ pattern / max(float(pattern @ pattern), 1e-9)
        noise = max(float(like[pushed:].var()), LEAST_NOISE)
        pace = np.interp((np.arange(pushed) + 0.5) / order, turns, speed) / speed.max()
        nats[place] = float((np.clip(like[:pushed], -LOUDEST, LOUDEST) * pace - pace**2 / 2).sum()) / noise
    return nats


@dataclass(frozen=True, slots=True)
class ClockSetting:
    """Where a speed curve lies in a recording, by impacts and levels together.

    Attributes
    ----------
    offset_s : float
        Add it to the curve's times to get the recording's [s].
    half_width_s : float
        Half width of the range that holds the true offset nine times in ten [s].
    sure : bool
        False where it is the best guess only, and the offset may be quite another.
    """

    offset_s: float
    half_width_s: float
    sure: bool


def set_clock(
    bank: BandBank, times_s: Floats, speed_hz: Floats, stretches: Sequence[tuple[float, float]]
) -> ClockSetting | None:
    """Set the clock of a speed curve by the impacts that follow it, and by the level's rise and fall.

    Parameters
    ----------
    bank : BandBank
        Of the whole recording, 0.8 s or more.
    times_s, speed_hz, stretches
        As `align` takes them.

    Returns
    -------
    ClockSetting or None
        None where neither tells more than luck.

    Raises
    ------
    ValueError
        As `clock_offset`.
    """
    aligned = align(impact_levels(bank), times_s, speed_hz, stretches)
    fit = clock_offset(bank, times_s, speed_hz, stretches)
    least = LEAST_GAIN_RIDING if fit.riding_gain else LEAST_GAIN
    ends_s = np.array(stretches).ravel() + fit.offset_s
    # Between push and stop no second is so unlike the next that the level would tell them apart.
    seen = bool(np.any((ends_s > EDGE_S) & (ends_s < bank.duration_s - EDGE_S)))
    clear = seen and fit.gain >= least and fit.elsewhere <= MOST_ELSEWHERE and fit.own_shape >= LEAST_OWN_SHAPE
    clear = clear and fit.half_width_s <= WIDEST_OFFSET_S
    level_s = float(np.hypot(fit.half_width_s, NINE_IN_TEN * LEVEL_LAW_S))
    if aligned is None or aligned.chance > SURE_CHANCE:
        if clear:
            return ClockSetting(fit.offset_s, fit.half_width_s, sure=True)
        likely = seen and fit.gain >= LEAST_GAIN_GUESSED and fit.elsewhere <= MOST_ELSEWHERE_GUESSED
        if not likely or fit.own_shape < LEAST_OWN_SHAPE or fit.half_width_s > WIDEST_GUESSED_S:
            return None
        return ClockSetting(fit.offset_s, max(fit.half_width_s, GUESSED_S), sure=False)
    apart_s = float(np.hypot(level_s, aligned.half_width_s))
    if not clear or abs(fit.offset_s - aligned.offset_s) > APART * apart_s:
        return ClockSetting(aligned.offset_s, aligned.half_width_s, sure=True)
    weights = np.array([aligned.half_width_s**-2, level_s**-2])
    mean_s = float(weights @ [aligned.offset_s, fit.offset_s] / weights.sum())
    return ClockSetting(mean_s, float(weights.sum() ** -0.5), sure=True)
