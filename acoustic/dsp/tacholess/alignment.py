"""Where a speed curve with a clock of its own lies in a recording: by impacts and running noise together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import NINE_IN_TEN, Floats
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.tacholess.impact_levels import ImpactLevels, impact_levels
from acoustic.dsp.tacholess.impact_likelihood import Course, course, impact_nats, impact_ranks
from acoustic.dsp.tacholess.impact_train import ImpactTrain, struck_score
from acoustic.dsp.tacholess.level_alignment import LevelAlignment, align_levels
from acoustic.dsp.tacholess.null import COAST, train_chance
from acoustic.dsp.tacholess.periodicity import LOWEST_HZ, RATE_STEP, SEGMENT_S, SegmentScores, segment_scores

Stretches = Sequence[tuple[float, float]]

SCAN_STEP_S, SLACK_S = 0.1, 2.0  # a tenth of a segment's hop or less; clocks are set to within seconds
SLOWEST_HZ = 0.25  # turns/s at a segment's middle; slower, the impacts are hardly heard
# As few as tell a run-down from luck (judgement; what luck reaches is in `null`).
FEWEST_SEGMENTS = 4
FEWEST_IMPACTS = 24  # about three turns
ORDERS = (3.5, 16.0)  # impacts a turn of any crank bearing
NEARLY = 0.6  # of the best score: what comes as near is a place worth a closer look (judgement)
PLACES, PLACES_APART_S = 2, 0.8  # of the scan's best, looked at closely
# About a place: how far is looked, and by which steps. A coast down slower and slower is much the same coast begun
# later, with more impacts a turn: both are moved until neither lies near an edge.
REACH_S, STEP_S = 0.6, 0.02
ORDER_REACH, ORDER_STEP = 0.03, 0.5  # of the order; of an impact over the whole stretch
# Six tenths of the reach: nearer to an edge the grid is moved, at most so often.
SETTLED_S, SETTLED_ORDER, MOST_MOVES = 0.35, 0.018, 8
LEAST_ERROR_S = 0.005  # two frames of the impact levels
SURE_CHANCE = 0.002  # as a detection's
# The level's say: running noise keeps to no law of the speed more closely than LEVEL_LAW_S, and in LEVEL_STRAYS of
# the recordings something else rises and falls (both judgement, so that it never outweighs impacts by 3 nats).
LEVEL_LAW_S, LEVEL_STRAYS = 0.05, 0.4
ELSEWHERE_S, MOST_ELSEWHERE = 0.5, 0.05  # from the mean; share of the posterior past which it is unsure
# Of the levels alone. Nats over a room without a bearing: by luck some 10 are reached, and some 100 where the gain
# is free.
LEAST_GAIN, LEAST_GAIN_RIDING = 40.0, 200.0
# Judgement: below the first another run-down fits clearly better; past the second the offset is not known.
LEAST_OWN_SHAPE, WIDEST_OFFSET_S = 0.05, 0.15
EDGE_S = 0.3  # nearer to an end of the recording, push or stop is not heard as one (judgement)
# Judgement: as a guess that is said to be one, less is asked.
LEAST_GAIN_GUESSED, MOST_ELSEWHERE_GUESSED = 30.0, 0.4
GUESSED_S, WIDEST_GUESSED_S = (
    0.5,
    0.6,
)  # told as no better than the first, never past the second (judgement)


@dataclass(frozen=True, slots=True)
class ClockAlignment:
    """Where a speed curve lies in a recording.

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


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """What the impacts say of the offsets about one of them.

    Attributes
    ----------
    offsets_s : ndarray, shape (n,)
        Evenly spaced [s].
    nats : ndarray, shape (n,)
        Log likelihood over that of no impacts, all orders counted in.
    order : float
        Impacts a turn at the best of them.
    chance : float
        Of impacts that follow the curve as closely where there are none.
    middle_s : float
        Of what was looked at.
    """

    offsets_s: Floats
    nats: Floats
    order: float
    chance: float
    middle_s: float


def align_clock(bank: BandBank, times_s: Floats, speed_hz: Floats, stretches: Stretches) -> ClockAlignment | None:
    """Set the clock of a speed curve by the impacts that follow it, and by the level's rise and fall.

    Parameters
    ----------
    bank : BandBank
        Of the whole recording, 0.8 s or more.
    times_s, speed_hz : ndarray, shape (n,)
        Speed, either way round [turns/s], against the curve's own clock [s], increasing.
    stretches : sequence of (float, float)
        Parts of the curve that turn [s]; any of them may be the one recorded.

    Returns
    -------
    ClockAlignment or None
        None where neither tells more than luck.

    Raises
    ------
    ValueError
        As `align_levels`.

    Notes
    -----
    The log likelihoods of both witnesses are summed over the offset, and the mean and
    spread of the posterior taken. The level's is the density of what recordings redrawn
    from this one say, and never certain.
    """
    fit = align_levels(bank, times_s, speed_hz, stretches)
    ends_s = np.array(stretches).ravel() + fit.offset_s
    # Between push and stop no second is so unlike the next that the level would tell them apart.
    seen = bool(np.any((ends_s > EDGE_S) & (ends_s < bank.duration_s - EDGE_S)))
    told = seen and fit.gain >= LEAST_GAIN_GUESSED and fit.own_shape >= LEAST_OWN_SHAPE
    places = impact_places(
        impact_levels(bank), times_s, speed_hz, stretches, beside_s=(fit.offset_s,) if told else ()
    )
    # All places together: a place that impacts speak for, but less than for another, is weighed by how much less.
    if not any(place.chance <= SURE_CHANCE for place in places):
        return _by_level(fit) if told else None
    offsets_s = np.concatenate([place.offsets_s for place in places])
    nats = np.concatenate([place.nats for place in places])
    if told:
        nats = nats + _level_nats(fit, offsets_s)
    weight = np.exp(nats - nats.max())
    weight /= weight.sum()
    near = np.abs(offsets_s - offsets_s[weight.argmax()]) <= ELSEWHERE_S
    share = float(weight[near].sum())
    mean_s = float(weight[near] @ offsets_s[near] / share)
    error_s = float(np.sqrt(weight[near] @ (offsets_s[near] - mean_s) ** 2 / share))
    half_s = NINE_IN_TEN * float(np.hypot(error_s, LEAST_ERROR_S))
    return ClockAlignment(mean_s, half_s, sure=share >= 1 - MOST_ELSEWHERE)


def _by_level(fit: LevelAlignment) -> ClockAlignment | None:
    """What the levels alone say."""
    least = LEAST_GAIN_RIDING if fit.riding_gain else LEAST_GAIN
    if fit.gain >= least and fit.elsewhere <= MOST_ELSEWHERE and fit.half_width_s <= WIDEST_OFFSET_S:
        return ClockAlignment(fit.offset_s, fit.half_width_s, sure=True)
    if fit.elsewhere > MOST_ELSEWHERE_GUESSED or fit.half_width_s > WIDEST_GUESSED_S:
        return None
    return ClockAlignment(fit.offset_s, max(fit.half_width_s, GUESSED_S), sure=False)


def _level_nats(fit: LevelAlignment, offsets_s: Floats) -> Floats:
    """Log density of the offsets that redrawn recordings give, blurred by what the law is off; 0 if it is even."""
    apart = (offsets_s[:, np.newaxis] - fit.drawn_s) / LEVEL_LAW_S
    density = np.exp(-0.5 * apart**2).mean(axis=1) / (LEVEL_LAW_S * np.sqrt(2 * np.pi))
    nats: Floats = np.log(LEVEL_STRAYS + (1 - LEVEL_STRAYS) * density)
    return nats


def impact_places(
    levels: ImpactLevels,
    times_s: Floats,
    speed_hz: Floats,
    stretches: Stretches,
    *,
    beside_s: Sequence[float] = (),
) -> list[Place]:
    """Find the offsets at which impacts follow a curve of speed, and weigh them.

    Parameters
    ----------
    levels : ImpactLevels
        Of the whole recording.
    times_s, speed_hz, stretches
        As `align_clock` takes them.
    beside_s : sequence of float
        Offsets that are to be looked at besides [s].

    Returns
    -------
    list of Place
        The one that impacts speak for most first; none where too little of the curve turns, or the
        recording is too short.

    Notes
    -----
    At every offset the curve says how the rate of impacts changes from segment to
    segment, but for the number of impacts a turn, which is tried out. About the best
    offsets the whole train is weighed.
    """
    if levels.duration_s < SEGMENT_S or not stretches:
        return []
    speed_hz = np.abs(speed_hz)
    scores = segment_scores(levels)
    ends = [end for start_s, stop_s in stretches for end in (-start_s, levels.stop_s - stop_s)]
    offsets = np.arange(min(ends) - SLACK_S, max(ends) + SLACK_S + SCAN_STEP_S, SCAN_STEP_S)
    scanned = np.array([_along(scores, times_s, speed_hz, float(offset_s))[0] for offset_s in offsets])
    begun: list[float] = []
    for at in np.argsort(-scanned):
        if len(begun) < PLACES and all(abs(offsets[at] - other) >= PLACES_APART_S for other in begun):
            begun.append(float(offsets[at]))
    found: list[Place] = []
    for offset_s in (*begun, *beside_s):
        score, order, group = _along(scores, times_s, speed_hz, offset_s)
        path = _path(levels, times_s, speed_hz, stretches, offset_s)
        if score > 0 and path is not None:
            place = _weighed(levels, path, group, offset_s, order, score)
            new = np.ones(place.offsets_s.size, dtype=bool)
            for other in found:
                new &= np.abs(place.offsets_s - other.middle_s) > REACH_S
            if np.any(new):
                found.append(replace(place, offsets_s=place.offsets_s[new], nats=place.nats[new]))
    return sorted(found, key=lambda place: -float(place.nats.max()))


def _path(
    levels: ImpactLevels, times_s: Floats, speed_hz: Floats, stretches: Stretches, offset_s: float
) -> Course | None:
    """The stretch that makes most turns within the recording."""
    paths = [course(times_s, speed_hz, start_s, stop_s) for start_s, stop_s in stretches]

    def inside(path: Course) -> float:
        ends_s = np.array([levels.start_s, levels.stop_s]) - offset_s
        return float(np.diff(np.interp(ends_s, path.times_s, path.turns))[0])

    path = max(paths, key=inside)
    return path if inside(path) * ORDERS[1] >= FEWEST_IMPACTS else None


def _weighed(levels: ImpactLevels, path: Course, group: int, offset_s: float, order: float, score: float) -> Place:
    """Weigh the whole train about a place, moved to where it is best."""
    ranks, whole = impact_ranks(levels, group), float(path.turns[-1])
    for _ in range(MOST_MOVES):
        middle_s, middle = offset_s, order
        grid_s = middle_s + np.arange(-REACH_S, REACH_S + STEP_S / 2, STEP_S)
        step = ORDER_STEP / (whole * middle)
        orders = middle * np.exp(np.arange(-ORDER_REACH, ORDER_REACH + step / 2, step))
        nats = impact_nats(levels, ranks, path, grid_s, orders)
        line, place = np.unravel_index(int(nats.argmax()), nats.shape)
        offset_s, order = float(grid_s[place]), float(orders[line])
        if abs(offset_s - middle_s) <= SETTLED_S and abs(np.log(order / middle)) <= SETTLED_ORDER:
            break
    train = _train(levels, path, offset_s, order, group)
    struck = 0.0 if train is None else struck_score(train)
    chance = train_chance(COAST, score=score, struck=struck, length_s=levels.duration_s)
    # An order is as likely before as any other that is as many times larger.
    nats = np.logaddexp.reduce(nats, axis=0) + np.log(step)
    return Place(grid_s, nats, order, chance, middle_s)


def _train(levels: ImpactLevels, path: Course, offset_s: float, order: float, group: int) -> ImpactTrain | None:
    """Impacts along a course, over what of it lies in the recording; None where that is too little."""
    part = levels.part(float(path.times_s[0]) + offset_s, float(path.times_s[-1]) + offset_s)
    steps_s = np.linspace(part.start_s, part.stop_s, max(8, part.frames)) - offset_s
    turns = np.interp(steps_s, path.times_s, path.turns)
    if part.frames < 2 or (turns[-1] - turns[0]) * order < FEWEST_IMPACTS:
        return None
    angle = (turns - turns[0]) * order + 1e-6 * np.arange(turns.size)
    return ImpactTrain(part, angle, group, order * float(np.gradient(turns, steps_s).max()))


def bends_along(at_s: Floats, times_s: Floats, speed_hz: Floats) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Mean speed over the inner halves of segments, and how it changes there.

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

    Notes
    -----
    Legs hasten and slow the crank twice a turn, so that the speed at one moment is not
    that of the segment: half a second before and after it are averaged.
    """
    side_s = SEGMENT_S / 4
    steps_s = np.concatenate([[times_s[0] - 1e-6], times_s, [times_s[-1] + 1e-6]])
    speeds = np.concatenate([[0.0], speed_hz, [0.0]])
    turns = np.concatenate([[0.0], np.cumsum((speeds[1:] + speeds[:-1]) / 2 * np.diff(steps_s))])
    edges = np.stack([np.interp(at_s + side, steps_s, turns) for side in side_s * np.array([-2, -1, 0, 1, 2])])
    before, speed, after = (edges[[2, 3, 4]] - edges[[0, 1, 2]]) / (2 * side_s)
    least = np.min([np.interp(at_s + side, steps_s, speeds) for side in (-side_s, 0.0, side_s)], axis=0)
    used = np.flatnonzero((speed > SLOWEST_HZ) & (least > SLOWEST_HZ / 2))
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
