"""Whether the sound follows the crank: louder the faster it turns, and no noise that comes or goes at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.api import BandBank, block_levels_db

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

LOWEST_HZ = 250.0  # below, hum and handling are louder than any bearing
NEIGHBOURS = 5  # bands averaged: a bearing's running noise is wide
# The fewest that show a spread.
FEWEST_BLOCKS = 3
# Judgement: no recorder keeps its gain better, so that no difference is told more finely.
LEAST_ERROR_DB = 0.05

# Grid: a step of the noise takes one or two blocks, a push six.
STEP_BLOCK_S = 0.05
# As acoustic/check/features.py: below, rooms and hum are loudest.
STEP_HZ = 500.0
# Judgement: half a second of steady noise on either side; at the very beginning three blocks will do.
STEADY_BLOCKS, FEWEST_BEFORE = 10, 3
# Judgement: five times the scatter of steady blocks (STEADY_DB), and of single bands somewhat less.
LEAST_STEP_DB, LEAST_BAND_DB = 3.0, 2.0
# Judgement: as much over the steady blocks (STEADY_DB five times) is an event of its own.
BANG_DB = 3.0
LEAST_SHARE = 1 / 3  # of the bands: noise in place of a sound is quieter where the sound was loud
SUDDEN = 0.8  # of the whole change, within a tenth of a second: a push takes three times as long
STEADY_DB = 0.6  # Gaussian noise over a dozen bands scatters by 0.2 to 0.4 from block to block


@dataclass(frozen=True, slots=True, eq=False)
class Contrast:
    """How one part of a recording differs from another, in groups of five neighbouring bands.

    Attributes
    ----------
    level_db, level_certainty : ndarray, shape (groups,)
        Mean level over the other part's, and that over its standard error.
    shape_db, shape_certainty : ndarray, shape (groups,)
        The same of the bands over the mean of all bands, which a recorder's gain cannot change.
    """

    level_db: Floats
    level_certainty: Floats
    shape_db: Floats
    shape_certainty: Floats

    def __post_init__(self) -> None:
        for array in (self.level_db, self.level_certainty, self.shape_db, self.shape_certainty):
            array.flags.writeable = False

    def louder(self, *, least_db: float, certainty: float) -> bool:
        """Whether some group of bands is certainly louder."""
        return bool(np.any((self.level_db >= least_db) & (self.level_certainty >= certainty)))

    def reshaped(self, *, least_db: float, certainty: float) -> bool:
        """Whether some group of bands certainly stands differently among the others."""
        return bool(np.any((np.abs(self.shape_db) >= least_db) & (np.abs(self.shape_certainty) >= certainty)))


def fast_over_slow(bank: BandBank, times_s: Floats, speed_hz: Floats, *, least_ratio: float) -> Contrast | None:
    """Compare the fastest third of the turning part with the slowest, in time.

    Parameters
    ----------
    bank : BandBank
    times_s, speed_hz : ndarray, shape (k,)
        Speed of the crank [turns/s] against time [s], over the turning part.
    least_ratio : float
        Least ratio of the two thirds' mean speeds.

    Returns
    -------
    Contrast or None
        None where the speed changes too little, or there are too few blocks of 0.1 s.
    """
    middles_s, levels_db = block_levels_db(bank)
    turning = (middles_s >= times_s[0]) & (middles_s < times_s[-1])
    if np.count_nonzero(turning) < 3 * FEWEST_BLOCKS:
        return None
    speed = np.interp(middles_s, times_s, speed_hz)
    slow_hz, fast_hz = np.quantile(speed[turning], [1 / 3, 2 / 3])
    fast, slow = turning & (speed >= fast_hz), turning & (speed < slow_hz)
    if min(fast.sum(), slow.sum()) < FEWEST_BLOCKS or speed[fast].mean() < least_ratio * speed[slow].mean():
        return None
    return _contrast(bank, levels_db, fast, slow)


def turning_over_still(
    bank: BandBank, start_s: float, stop_s: float, still: Sequence[tuple[float, float]]
) -> tuple[Contrast, ...]:
    """Compare the turning part with each still part.

    Parameters
    ----------
    bank : BandBank
    start_s, stop_s : float
        The turning part [s].
    still : sequence of (float, float)
        Still parts [s].

    Returns
    -------
    tuple of Contrast
        One for each still part of 0.3 s or more.
    """
    middles_s, levels_db = block_levels_db(bank)
    turning = (middles_s >= start_s) & (middles_s < stop_s)
    parts = [(middles_s >= a) & (middles_s < b) for a, b in still]
    if turning.sum() < FEWEST_BLOCKS:
        return ()
    return tuple(_contrast(bank, levels_db, turning, part) for part in parts if part.sum() >= FEWEST_BLOCKS)


def _contrast(bank: BandBank, levels_db: Floats, one: Mask, other: Mask) -> Contrast:
    """The contrast of two sets of blocks."""
    shape_db = levels_db - levels_db[bank.first_band(LOWEST_HZ) :].mean(axis=0)
    width = min(NEIGHBOURS, len(levels_db))
    mean = np.full(width, 1 / width)
    rows = []
    for values in (levels_db, shape_db):
        here, there = values[:, one], values[:, other]
        difference = here.mean(axis=1) - there.mean(axis=1)
        error = np.sqrt(here.var(axis=1, ddof=1) / one.sum() + there.var(axis=1, ddof=1) / other.sum())
        rows += [difference, difference / np.maximum(error, LEAST_ERROR_DB)]
    return Contrast(*(np.convolve(row, mean, mode="valid") for row in rows))


@dataclass(frozen=True, slots=True)
class NoiseStep:
    """A steady noise that begins or ends at once.

    Attributes
    ----------
    at_s : float
    rise_db : float
        Mean over the bands that change so; below 0 where the noise ends.
    """

    at_s: float
    rise_db: float


def noise_steps(bank: BandBank) -> tuple[NoiseStep, ...]:
    """Find where a steady noise begins or ends within a tenth of a second, in a third of all bands or more.

    Parameters
    ----------
    bank : BandBank

    Returns
    -------
    tuple of NoiseStep
        In time; of neighbours within half a second the largest.

    Notes
    -----
    No crank begins or stops so: a push takes a third of a second, and what runs down dies away. Talk and
    dropped tools begin as suddenly, but are not steady for half a second. A machine that is switched on, a byte
    that a file has lost, and noise in place of the sound all are.
    """
    middles_s, levels_db = block_levels_db(bank, block_s=STEP_BLOCK_S)
    # Three blocks before a noise that begins early are enough.
    ahead = STEADY_BLOCKS - FEWEST_BEFORE
    levels_db = np.pad(levels_db[bank.first_band(STEP_HZ) :], ((0, 0), (ahead, 0)), mode="edge")
    edges = np.arange(STEADY_BLOCKS, levels_db.shape[1] - STEADY_BLOCKS)
    if not edges.size:
        return ()
    usual_db = np.median(np.lib.stride_tricks.sliding_window_view(levels_db, STEADY_BLOCKS, axis=1), axis=2)
    rises_db = usual_db[:, edges + 1] - usual_db[:, edges - STEADY_BLOCKS]
    found: list[NoiseStep] = []
    for sign in (1, -1):
        moved = sign * rises_db >= LEAST_BAND_DB
        for column in np.flatnonzero(moved.mean(axis=0) >= LEAST_SHARE):
            step = _step(levels_db[moved[:, column]], int(edges[column]), sign)
            if step:
                found.append(NoiseStep(float(middles_s[edges[column] - ahead]), step))
    return _largest(sorted(found, key=lambda one: one.at_s))


def _step(levels_db: Floats, k: int, sign: int) -> float:
    """Rise of a steady noise at a block [dB]; 0 where the change is too small, too slow, or of no steady noise."""
    mean_db = levels_db.mean(axis=0)
    before, after = mean_db[k - STEADY_BLOCKS : k], mean_db[k + 1 : k + 1 + STEADY_BLOCKS]
    rise_db = float(np.median(after) - np.median(before))
    steady = after if sign > 0 else before
    sudden = sign * (mean_db[k + 1] - mean_db[k - 1]) >= SUDDEN * abs(rise_db)
    # A recorder's gain drops as suddenly, but under a bang.
    bang = float(mean_db[k - 1 : k + 2].max()) > float(np.median(steady)) + BANG_DB
    found = abs(rise_db) >= LEAST_STEP_DB and sudden and not bang and steady.std() <= STEADY_DB
    return rise_db if found else 0.0


def _largest(steps: Sequence[NoiseStep]) -> tuple[NoiseStep, ...]:
    """Of steps within half a second of each other, the largest."""
    kept: list[NoiseStep] = []
    for step in steps:
        if kept and step.at_s - kept[-1].at_s < STEADY_BLOCKS * STEP_BLOCK_S:
            kept[-1] = max(kept[-1], step, key=lambda one: abs(one.rise_db))
        else:
            kept.append(step)
    return tuple(kept)
