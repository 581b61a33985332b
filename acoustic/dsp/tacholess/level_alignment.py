"""Time alignment of a speed curve with a clock of its own to a recording: by the level of the running noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import NINE_IN_TEN, Floats
from acoustic.dsp.levels.background import block_levels_db
from acoustic.dsp.levels.filterbank import BandBank

ROUGH_BLOCK_S, FINE_BLOCK_S = 0.1, 0.04  # a push takes 0.3 s; shorter blocks hold too little for a median
FEWEST_BLOCKS = 8  # fewer tell no course
SLOWEST = 1e-4  # of the peak speed; below, the bearing makes no sound
# Spreads are of the natural logarithm of power; 0.1 is 0.4 dB, and running noise keeps to no law more closely.
MODEL_ERROR = 0.1
DEEPEST = 16.0  # nats of power, 70 dB: what a band may fall before it is as good as silent (judgement)
USUAL_GROWTH, GROWTH_SPREAD = 1.7, 1.0  # running noise grows with speed to about this power
SHARE_SPREAD = 2.5  # of the bearing's level at full speed, about the room's
# What does not follow the curve: talk, knocks and strikes lift the level often, hardly anything lowers it.
STRAY_SHARE, STRAY_LIFTS, STRAY_SCALE = 0.15, 0.9, 1.5
# How much the recorder's own gain may change from block to block: next to nothing, perhaps, freely.
FIXED_GAIN, SUSPECTED_GAIN, FREE_GAIN = 0.03, 0.2, 2.0
# How far levels are blurred, round by round: from coarse to fine, so that no near maximum catches the search.
BLURS = (1.0, 0.4, 0.16, 0.06, 0.02, 0.0, 0.0)
APART_S = 0.35  # about a push: places nearer than that are one
RUN_DOWNS = (1.0, 1 / 1.4, 1.4)  # the curve's own first
# As many as tell 1 in 20 from 1 in 10; redrawn in blocks, since levels a tenth of a second apart go together.
DRAWS, DRAW_SEED, DRAW_BLOCK_S = 200, 4, 0.1
LEAST_ERROR_S = 0.005  # an eighth of a fine block
FREE_GAIN_FACTOR = 2.0  # a gain that lags ties blocks together, which redrawing them singly does not see


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelAlignment:
    """How the clock of a speed curve is set against a recording's.

    Attributes
    ----------
    offset_s : float
        Add it to the curve's times to get the recording's [s].
    half_width_s : float
        Half width of the range that holds the true offset nine times in ten [s].
    gain : float
        How much better the curve explains the levels than a room without a bearing, in nats;
        without one some 10 are reached by luck.
    elsewhere : float
        Share of redrawn recordings in which the curve fits better at quite another place, 0 to 1.
    own_shape : float
        Share of redrawn recordings in which no faster or slower run-down fits better than the curve's own, 0 to 1.
    riding_gain : bool
        The recorder changed its gain, so that only the balance of the bands counted.
    drawn_s : ndarray, shape (draws,)
        Offsets that redrawn recordings give [s]: the spread of what this one's levels may be taken to say.
    """

    offset_s: float
    half_width_s: float
    gain: float
    elsewhere: float
    own_shape: float
    riding_gain: bool
    drawn_s: Floats = field(compare=False)


@dataclass(frozen=True, slots=True, eq=False)
class _Levels:
    """Log power of groups of bands in blocks, shape (groups, blocks), and its variance, shape (groups, 1)."""

    times_s: Floats
    log_power: Floats
    variance: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """Speed over its highest, 0 to 1, against the curve's own clock."""

    times_s: Floats
    pace: Floats

    def at(self, times_s: Floats) -> Floats:
        pace: Floats = np.interp(times_s, self.times_s, self.pace)
        return pace

    def run_down(self, slower: float) -> _Curve:
        """The same push, after which everything takes so many times as long."""
        peak_s = self.times_s[self.pace.argmax()]
        after_s = np.maximum(self.times_s - peak_s, 0)
        return _Curve(self.times_s + (slower - 1) * after_s, self.pace)


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """Of each group: ln of the room, ln of the bearing over it, its growth with speed. Of each block: the gain."""

    groups: Floats
    gain: Floats


def align_levels(
    bank: BandBank,
    times_s: Floats,
    speed_hz: Floats,
    stretches: Sequence[tuple[float, float]],
    *,
    slack_s: float = 2.0,
) -> LevelAlignment:
    """Set a curve of speed against a recording by the levels that its speed predicts.

    Parameters
    ----------
    bank : BandBank
        Of the recording.
    times_s, speed_hz : ndarray, shape (n,)
        Speed, either way round [turns/s], against the curve's own clock [s], increasing.
    stretches : sequence of (float, float)
        Parts of the curve that turn [s]; any of them may be the one recorded.
    slack_s : float
        How much farther than needed for a stretch to fit into the recording is searched [s].

    Returns
    -------
    LevelAlignment

    Raises
    ------
    ValueError
        No stretch, no speed, or less than 0.8 s of sound.

    Notes
    -----
    In each group of two third-octave bands the power of a block of time is
    r (1 + g s^q) G: the room's r, the bearing's share g at the highest speed, the
    speed s over the highest, the recorder's gain G, the same in all groups. Its
    log is normal about that, or stray. The offset is the one at which r, g, q and
    G explain most. A gain costs what its spread allows: where the recorder keeps
    it, the level itself tells, and where it does not, the bands' balance alone.
    How far the offset may be off is read off the recording itself, redrawn from
    its own tenths of a second.

    References
    ----------
    The fit is expectation and maximisation for a contaminated normal law, as in
    textbooks; the redrawing is B. Efron's bootstrap, Annals of Statistics 7
    (1979) 1-26 (from memory).
    """
    peak_hz = float(np.max(np.abs(speed_hz), initial=0.0))
    rough = _levels(bank, ROUGH_BLOCK_S)
    if not stretches or peak_hz <= 0 or rough.times_s.size < FEWEST_BLOCKS:
        raise ValueError(
            f"a stretch, a speed and 0.8 s are needed: {stretches}, {peak_hz}, {rough.times_s.size / 10}"
        )
    curve = _Curve(times_s, np.abs(speed_hz) / peak_hz)
    places = _likely_places(rough, curve, stretches, slack_s)
    place_s, places_s, riding = _best_place(rough, curve, places)
    spread = FREE_GAIN if riding else FIXED_GAIN
    offset_s, near_s = _sharpened(_levels(bank, FINE_BLOCK_S), curve, place_s, spread)
    error_s = float(np.hypot(np.sqrt(np.mean((near_s - offset_s) ** 2)), LEAST_ERROR_S))
    far = np.abs(places_s - place_s) > APART_S
    gain, own_shape = _against_others(rough, curve, offset_s, spread)
    return LevelAlignment(
        offset_s=offset_s,
        half_width_s=NINE_IN_TEN * error_s * (FREE_GAIN_FACTOR if riding else 1.0),
        gain=gain,
        elsewhere=float(np.mean(far)),
        own_shape=own_shape,
        riding_gain=riding,
        drawn_s=np.where(far, places_s, near_s),
    )


def _levels(bank: BandBank, block_s: float) -> _Levels:
    """Log power of neighbouring bands in twos, each weighted by how well it is known."""
    times_s, levels_db = block_levels_db(bank, block_s=block_s)
    shape = np.maximum(bank.width_hz * block_s, 0.5) + 0.5
    # Variance of the log of a gamma variate: its trigamma series. The median of frames spreads 1.6 times as much.
    variance = 1.6 * (1 / shape + 1 / (2 * shape**2) + 1 / (6 * shape**3))
    starts = np.unique([0, *range(shape.size % 2, shape.size, 2)])
    total = np.add.reduceat(1 / variance, starts)
    log_power = np.add.reduceat(levels_db / variance[:, np.newaxis], starts) / total[:, np.newaxis]
    log_power *= np.log(10) / 10
    # Digital silence lies without end below everything; a finite step can be weighed.
    log_power = np.maximum(log_power, log_power.max(axis=1, keepdims=True) - DEEPEST)
    return _Levels(times_s, log_power, (1 / total + MODEL_ERROR**2)[:, np.newaxis])


def _likely_places(
    levels: _Levels, curve: _Curve, stretches: Sequence[tuple[float, float]], slack_s: float
) -> Floats:
    """Offsets, to a block, at which the predicted level is most like the level, and like the bands' balance.

    Each of three templates against each group at all offsets at once, by the Fourier transform.
    """
    step, count = float(levels.times_s[1] - levels.times_s[0]), levels.times_s.size
    ends = [end for start_s, stop_s in stretches for end in (-start_s, count * step - stop_s)]
    offsets = step * np.arange(np.floor((min(ends) - slack_s) / step), np.ceil((max(ends) + slack_s) / step) + 1)
    begins = np.arange(offsets.size)[::-1]
    pace = curve.at(levels.times_s[0] - offsets[-1] + step * np.arange(count + offsets.size - 1))
    length = 1 << (pace.size + count).bit_length()
    rows = np.concatenate([levels.log_power, levels.log_power - np.median(levels.log_power, axis=0)])
    rows -= rows.mean(axis=1, keepdims=True)
    rows /= np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-12)
    lines = np.fft.rfft(rows, length).conj()
    best = np.zeros((2, offsets.size))
    for share in (1.0, 10.0, 100.0):
        template = np.log1p(share * pace**2)
        sums = np.pad(np.cumsum([template, template**2], axis=1), ((0, 0), (1, 0)))
        total, square = sums[:, begins + count] - sums[:, begins]
        size = np.sqrt(np.maximum(square - total**2 / count, 1e-6 * count))
        likeness = np.fft.irfft(lines * np.fft.rfft(template, length), length)[:, begins] / size
        level, balance = np.split(np.clip(likeness, -0.999, 0.999), 2)
        # Where it turns it is louder; the balance may shift either way.
        for row, found in enumerate((np.maximum(level, 0), balance)):
            best[row] = np.maximum(best[row], -0.5 * count * np.log1p(-(found**2)).sum(axis=0))
    places: Floats = offsets[np.unique([place for score in best for place in _peaks(score, offsets, most=3)])]
    return places


def _peaks(score: Floats, offsets: Floats, *, most: int) -> list[int]:
    """Places of the highest scores, each clear of the higher ones."""
    left, found = score.copy(), list[int]()
    while len(found) < most and np.any(np.isfinite(left)):
        found.append(int(left.argmax()))
        left[np.abs(offsets - offsets[found[-1]]) < APART_S] = -np.inf
    return found


def _best_place(levels: _Levels, curve: _Curve, places: Floats) -> tuple[float, Floats, bool]:
    """Choose the offset, to a block; what redrawn recordings would choose; whether the gain rides."""
    tried = [place + ROUGH_BLOCK_S * np.arange(-2, 3, dtype=np.float64) for place in places]

    def evidence_at(spread: float) -> Floats:
        return np.concatenate([_evidence(levels, curve, offsets, spread) for offsets in tried])

    offsets, evidence, suspected = np.concatenate(tried), evidence_at(FIXED_GAIN), evidence_at(SUSPECTED_GAIN)
    riding = bool(suspected.sum(axis=1).max() > evidence.sum(axis=1).max())
    if riding:
        # Nothing more is taken from the level then: under a half-free gain it would still pull.
        evidence = evidence_at(FREE_GAIN)
    chosen_s = float(offsets[evidence.sum(axis=1).argmax()])
    return chosen_s, offsets[_redrawn(evidence, ROUGH_BLOCK_S)], riding


def _sharpened(levels: _Levels, curve: _Curve, place_s: float, spread: float) -> tuple[float, Floats]:
    """Offset about a place, and those of redrawn recordings."""
    wide = place_s + 0.05 * np.arange(-8, 9, dtype=np.float64)
    evidence = _evidence(levels, curve, wide, spread)
    near = wide[evidence.sum(axis=1).argmax()] + 0.01 * np.arange(-6, 7)
    sharper = _evidence(levels, curve, near, spread)
    found_s = _top_of(near, sharper.sum(axis=1))
    return found_s, np.concatenate([near, wide])[_redrawn(np.concatenate([sharper, evidence]), FINE_BLOCK_S)]


def _against_others(levels: _Levels, curve: _Curve, offset_s: float, spread: float) -> tuple[float, float]:
    """Evidence over that of a room without a bearing, and the share of redrawn recordings true to the shape."""
    nothing = np.zeros(levels.times_s.size)
    _, room = _fitted(levels, nothing, _first_fit(levels, nothing, spread), spread, rounds=2)
    state = _first_fit(levels, curve.at(levels.times_s - offset_s), spread)
    shapes = [curve.run_down(slower).at(levels.times_s - offset_s) for slower in RUN_DOWNS]
    evidence = np.stack([_fitted(levels, pace, state, spread, rounds=4)[1] for pace in shapes])
    own_shape = float(np.mean(_redrawn(evidence, ROUGH_BLOCK_S) == 0))
    return float((evidence[0] - room).sum()), own_shape


def _evidence(levels: _Levels, curve: _Curve, offsets: Floats, spread: float) -> Floats:
    """Log of how well the curve explains each block at evenly stepped offsets, shape (offsets, blocks)."""
    middle = offsets.size // 2
    state = _first_fit(levels, curve.at(levels.times_s - offsets[middle]), spread)
    evidence = np.empty((offsets.size, levels.times_s.size))
    # From the middle out, each from its neighbour's fit: two rounds are enough then.
    for way in (range(middle, offsets.size), range(middle - 1, -1, -1)):
        now = state
        for k in way:
            now, evidence[k] = _fitted(levels, curve.at(levels.times_s - offsets[k]), now, spread, rounds=2)
    return evidence


def _first_fit(levels: _Levels, pace: Floats, spread: float) -> _State:
    """Fit from nothing: blurred at first, or what a bad start explains badly would all be taken for stray."""
    groups, blocks = levels.log_power.shape
    room, usual = np.quantile(levels.log_power, [0.1, 0.6], axis=1)
    loud = np.log(np.expm1(np.clip(usual - room, 0.05, 5)))
    state = _State(np.stack([room, loud, np.full(groups, USUAL_GROWTH)], axis=1), np.zeros(blocks))
    log_pace = np.log(np.maximum(pace, SLOWEST))
    for blur in BLURS:
        state = _improved(replace(levels, variance=levels.variance + blur), log_pace, state, spread)
    return state


# Weights of the fit: next to none on the level itself, the spreads above on the other two.
PRIOR = np.array([1e-3, SHARE_SPREAD**-2, GROWTH_SPREAD**-2])
USUAL = np.array([0.0, 0.0, USUAL_GROWTH])  # what the fit leans to


def _fitted(levels: _Levels, pace: Floats, state: _State, spread: float, *, rounds: int) -> tuple[_State, Floats]:
    """Improve a fit by rounds of reweighted least squares; its log evidence in each block, shape (blocks,)."""
    log_pace = np.log(np.maximum(pace, SLOWEST))
    for _ in range(rounds):
        state = _improved(levels, log_pace, state, spread)
    _, _, weight, density = _explained(levels, log_pace, state)
    evidence = np.log(density).sum(axis=0) - 0.5 * (state.gain / spread) ** 2
    # What the block's gain could have been, integrated over: the price of leaving it free.
    evidence -= 0.5 * np.log1p(spread**2 * weight.sum(axis=0))
    unusual = 0.5 * (PRIOR * (state.groups - USUAL) ** 2)[:, 1:].sum()
    return state, evidence - unusual / evidence.size


def _improved(levels: _Levels, log_pace: Floats, state: _State, spread: float) -> _State:
    """One round: each block's gain is solved for by hand and put into the equations of the groups."""
    error, share, weight, _ = _explained(levels, log_pace, state)
    groups = error.shape[0]
    slopes = np.stack([np.ones_like(share), share, share * log_pace], axis=1)
    weighted = weight[:, np.newaxis] * slopes
    stiff = weight.sum(axis=0) + spread**-2
    pull = (weight * error).sum(axis=0) - state.gain * spread**-2
    across = weighted.reshape(3 * groups, -1)
    matrix = -(across / stiff) @ across.T + np.diag(np.tile(PRIOR, groups))
    for k, within in enumerate(weighted @ slopes.transpose(0, 2, 1)):
        matrix[3 * k : 3 * k + 3, 3 * k : 3 * k + 3] += within
    right = (weighted @ error[:, :, np.newaxis])[:, :, 0]
    right[:, 1:] -= (PRIOR * (state.groups - USUAL))[:, 1:]
    step = np.linalg.solve(matrix, right.ravel() - across @ (pull / stiff))
    gain = state.gain + np.clip((pull - across.T @ step) / stiff, -1, 1)
    moved = state.groups + np.clip(step.reshape(groups, 3), -1, 1)
    return _State(np.clip(moved, [-99, -6, 0.3], [99, 8, 5]), gain)


def _explained(levels: _Levels, log_pace: Floats, state: _State) -> tuple[Floats, Floats, Floats, Floats]:
    """Error of the fit, the bearing's share of the power, the level's weight and its density, (groups, blocks)."""
    room, loud, growth = state.groups.T[:, :, np.newaxis]
    over = np.exp(loud + growth * log_pace)
    error = levels.log_power - room - np.log1p(over) - state.gain
    width = np.sqrt(2 * np.pi * levels.variance)
    straight = (1 - STRAY_SHARE) / width * np.exp(-0.5 * error**2 / levels.variance)
    side = np.where(error > 0, STRAY_LIFTS, 1 - STRAY_LIFTS)
    stray = STRAY_SHARE * side / STRAY_SCALE * np.exp(-np.abs(error) / STRAY_SCALE)
    density = straight + stray
    return error, over / (1 + over), straight / density / levels.variance, density


def _redrawn(evidence: Floats, block_s: float) -> NDArray[np.intp]:
    """Which row explains most in each of many recordings redrawn from this one's tenths of a second."""
    size = max(1, round(DRAW_BLOCK_S / block_s))
    pieces = max(1, evidence.shape[1] // size)
    sums = evidence[:, : pieces * size].reshape(evidence.shape[0], pieces, -1).sum(axis=2)
    times = np.random.default_rng(DRAW_SEED).multinomial(pieces, np.full(pieces, 1 / pieces), size=DRAWS)
    drawn: NDArray[np.intp] = (sums @ times.T).argmax(axis=0)
    return drawn


def _top_of(offsets: Floats, evidence: Floats) -> float:
    """Top of the parabola through the highest value and its neighbours."""
    k = int(np.clip(evidence.argmax(), 1, offsets.size - 2))
    left, middle, right = evidence[k - 1 : k + 2]
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(offsets[k] + np.clip(shift, -1, 1) * (offsets[1] - offsets[0]))
