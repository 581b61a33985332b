"""Order tracking: from frames of time to bins of crank angle.

Levels are limited as ln(1 + power over the background level): linear for faint impacts, logarithmic for bangs.
A squared envelope is dominated by one dropped tool; a plain logarithm wastes faint impacts on noise below the
floor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats, deviation, lock_fields
from acoustic.dsp.levels.filterbank import BandBank, background_level

BINS_A_TURN = 256  # twice the highest order and some, a power of two for the transform
STANDS_OUT = 5.0  # robust standard deviations of a cell's loudness
ANGLE_REACH = 4  # cells, 6 degrees: how well marks fix the angle
WIDEST_SECTOR = 24  # cells, 34 degrees
MOST_TURNS_SHARE = 0.7  # of the turns: what sounds at one angle in as many is blanked there (judgement)
# How long a click at a fixed angle rings is read in such steps (judgement).
RING_STEP_S, LONGEST_RING_S, RING_BANDS = 0.01, 0.16, 4
FEWEST_RINGING = 4  # clicks to average over
STILL_RINGING = 5.0  # standard errors, in the loudest group of bands
LOUDEST = 200.0  # a dropped tool counts no more than a very strong event


@dataclass(frozen=True, slots=True, eq=False)
class AngleLevels:
    """Levels of every band over the running level beneath, in equal cells of crank angle.

    Attributes
    ----------
    compressed : ndarray, shape (bands, cells)
        Mean of ln(1 + power / running level): nearly linear for faint events,
        logarithmic for bangs.
    plain : ndarray, shape (bands, cells)
        Mean of power over running level, capped at 200.
    turns : float
        Turns that the cells cover.
    mid_hz : ndarray, shape (bands,)
        Middles of the bands [Hz].
    fixed_angles : int
        At how many angles of the crank something sounded in every turn and was blanked.
    """

    compressed: Floats
    plain: Floats
    turns: float
    mid_hz: Floats
    fixed_angles: int = 0

    def __post_init__(self) -> None:
        lock_fields(self, "compressed", "plain")


def angle_levels(
    bank: BandBank, times_s: Floats, turns: Floats, *, blank_s: Floats, blank_half_s: float = 0.03
) -> AngleLevels:
    """Equalise a bank of bands over its running level and read it in crank angle.

    Parameters
    ----------
    bank : BandBank
    times_s, turns : ndarray, shape (k,)
        Crank angle [turns] against time [s], both strictly increasing, k >= 2.
    blank_s : ndarray, shape (j,)
        Times of the speed marker's own clicks [s]; around each, the level
        is replaced by its mean elsewhere.
    blank_half_s : float
        Reach of the blanking either side [s]; after the clicks it goes on for as long
        as they still ring on the whole, a sixth of a second at most.

    Returns
    -------
    AngleLevels

    Raises
    ------
    ValueError
        Times or turns do not increase, or cover less than a tenth of a second.

    Notes
    -----
    The bands are filtered in time, where resonances hold still, and read in
    angle, where the rings' rhythm does.

    References
    ----------
    D. Abboud et al., Mechanical Systems and Signal Processing 75 (2016)
    280-300 (from memory): angle-time cyclostationarity.
    """
    if times_s.shape != turns.shape or times_s.size < 2:
        raise ValueError(f"times and turns must be equal in length, two or more: {times_s.shape=} {turns.shape=}")
    if not (np.all(np.diff(times_s) > 0) and np.all(np.diff(turns) > 0)):
        raise ValueError("times and turns must both increase strictly; cut out where the crank stands")
    inside = np.flatnonzero(bank.frames_between(float(times_s[0]), float(times_s[-1])))
    if inside.size * bank.frame_s < 0.1:
        raise ValueError(f"the turning part must last 0.1 s or more, got {inside.size * bank.frame_s:.3f} s")
    turning = replace(bank, power=bank.power[:, inside[0] : inside[-1] + 1].copy())
    ratio = turning.power / background_level(turning)
    centres_s = bank.times_s[inside]
    compressed = np.log1p(ratio)
    after_s = _ringing_s(compressed, centres_s, blank_s, least_s=blank_half_s)
    blank = np.zeros(centres_s.size, dtype=bool)
    for click_s in blank_s:
        blank |= (centres_s >= click_s - blank_half_s) & (centres_s <= click_s + after_s)
    edges_s = centres_s[0] + bank.frame_s * (np.arange(inside.size + 1) - 0.5)
    angle = np.interp(edges_s, times_s, turns)
    covered = float(angle[-1] - angle[0])
    cells = max(1, int(covered * BINS_A_TURN))
    return AngleLevels(
        compressed=bin_means(_blanked(compressed, blank), angle, cells=cells),
        plain=bin_means(_blanked(np.minimum(ratio, LOUDEST), blank), angle, cells=cells),
        turns=covered,
        mid_hz=bank.mid_hz,
    )


def _ringing_s(compressed: Floats, centres_s: Floats, clicks_s: Floats, *, least_s: float) -> float:
    """How long after the clicks some bands are still louder than elsewhere, on the mean of all clicks."""
    step_s = float(centres_s[1] - centres_s[0])
    width = max(1, round(RING_STEP_S / step_s))
    at = np.round((clicks_s - centres_s[0]) / step_s).astype(np.intp)
    first, last = round(least_s / step_s), round(LONGEST_RING_S / step_s)
    at = at[(at >= 0) & (at + last + width < centres_s.size)]
    if at.size < FEWEST_RINGING:
        return least_s
    whole = np.pad(np.cumsum(compressed, axis=1), ((0, 0), (1, 0)))
    means = (whole[:, width:] - whole[:, :-width]) / width
    groups = min(RING_BANDS, len(means))
    means = np.stack([means[k : k + groups].mean(axis=0) for k in range(len(means) - groups + 1)])
    elsewhere = np.min(np.abs(np.arange(means.shape[1])[:, np.newaxis] - at - last // 2), axis=1) > last
    if np.count_nonzero(elsewhere) < width * FEWEST_RINGING:
        return least_s
    usual = means[:, elsewhere].mean(axis=1, keepdims=True)
    spread = means[:, elsewhere].std(axis=1, keepdims=True) / np.sqrt(at.size)
    lags = np.arange(first, last, width)
    after = np.stack([means[:, at + lag].mean(axis=1) for lag in lags], axis=1)
    ringing = ((after - usual) / np.maximum(spread, 1e-9)).max(axis=0) > STILL_RINGING
    count = lags.size if ringing.all() else int(ringing.argmin())
    return least_s + count * width * step_s


def without_fixed_angle(levels: AngleLevels) -> AngleLevels:
    """Blank what sounds at one or two fixed angles of the crank, turn after turn.

    Parameters
    ----------
    levels : AngleLevels

    Returns
    -------
    AngleLevels
        Unchanged where nothing is tied to the crank's angle, or fewer than four
        turns are known.

    Notes
    -----
    A creak, a loose arm or a card's tick comes back at the same angle; a
    bearing's strikes wander through all angles within a few turns, since no ball
    pass is a whole number. Left in, a loud one spills from the whole orders
    into the ball passes beside them.
    """
    whole = int(levels.turns)
    if whole < 4:
        return levels
    loudness = levels.compressed[:, : whole * BINS_A_TURN].mean(axis=0)
    middle = float(np.median(loudness))
    spread = float(deviation(loudness - middle))
    high = (loudness > middle + STANDS_OUT * spread).reshape(whole, BINS_A_TURN)
    near = np.any([np.roll(high, shift, axis=1) for shift in range(-ANGLE_REACH, ANGLE_REACH + 1)], axis=0)
    fixed = near.mean(axis=0) >= MOST_TURNS_SHARE
    sectors = int(np.count_nonzero(fixed & ~np.roll(fixed, 1)))
    if sectors not in (1, 2) or fixed.sum() > sectors * WIDEST_SECTOR:
        return levels
    reach = np.any([np.roll(fixed, shift) for shift in range(-ANGLE_REACH, ANGLE_REACH + 1)], axis=0)
    blank = reach[np.arange(levels.compressed.shape[1]) % BINS_A_TURN]
    return replace(
        levels,
        compressed=_blanked(levels.compressed.copy(), blank),
        plain=_blanked(levels.plain.copy(), blank),
        fixed_angles=sectors,
    )


def _blanked(values: Floats, blank: NDArray[np.bool_]) -> Floats:
    """Put each row's mean elsewhere in place of the blanked frames."""
    if blank.any() and not blank.all():
        values[:, blank] = values[:, ~blank].mean(axis=1, keepdims=True)
    return values


def bin_means(values: Floats, angle: Floats, *, cells: int) -> Floats:
    """Average time series over equal cells of crank angle.

    Parameters
    ----------
    values : ndarray, shape (rows, frames)
        Equally spaced in time.
    angle : ndarray, shape (frames + 1,)
        Crank angle [turns] at the frames' edges, not decreasing.
    cells : int
        Number of cells, >= 1.

    Returns
    -------
    ndarray, shape (rows, cells)

    Notes
    -----
    The running integral is interpolated at the cells' edges and differenced, so
    every frame counts once, in the cells it falls in: no aliasing at low speed.
    """
    frames = values.shape[1]
    edges = np.interp(np.linspace(angle[0], angle[-1], cells + 1), angle, np.arange(frames + 1, dtype=float))
    whole = np.concatenate([np.zeros((values.shape[0], 1)), np.cumsum(values, axis=1)], axis=1)
    below = np.minimum(edges.astype(np.intp), frames - 1)
    integral = whole[:, below] + values[:, below] * (edges - below)
    means: Floats = np.diff(integral, axis=1) / np.maximum(np.diff(edges), 1e-9)
    return means
