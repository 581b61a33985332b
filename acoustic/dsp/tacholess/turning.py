"""When the crank turns and how its running noise rises and falls, from levels alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from acoustic.dsp.arrays import Floats, deviation
from acoustic.dsp.levels.background import block_medians
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.tacholess.coast_down import DRAGS_PER_S, LATER_STOPS_S, PUSH_S, coast_speed
from acoustic.dsp.tacholess.impact_levels import ImpactLevels

# Judgement: below, hum and handling are loudest.
LOWEST_HZ = 400.0
# Grid: a push lasts four times as long.
BLOCK_S = 0.1
# Cost: of a long recording the blocks grow in place.
MOST_BLOCKS = 160
# Resolution of the beginning, and how far from the first guess it is looked for (judgement).
FINE_BLOCK_S, NEAR_START_S = 0.03, 0.8
# Grid: running noise over the background in equal steps, each about twice the one before.
GAINS = (0.3, 0.7, 1.5, 3.0, 7.0, 15.0, 40.0)
# Running noise grows with about the square of the speed; how much faster or slower is not known.
EXPONENTS = (1.5, 2.0, 2.6)
# No law of loudness holds to better than this share of the variance, and neighbouring blocks and bands change
# together. Set so that the true course is seldom more than four nats behind the best.
MISFIT, TOGETHER = 0.1, 20.0
# Judgement: three turns, spun fast.
SHORTEST_S = 2.0
BUSY_BLOCK_S, BUSY_EXPONENT = 0.2, 1.5  # impacts come as often as the speed, and grow louder with it


@dataclass(frozen=True, slots=True)
class Turning:
    """The part in which the level says that the crank turns.

    Attributes
    ----------
    start_s, stop_s : float
        Sharp to about a tenth of a second at the push, to a second or two at the end.
    course : {'coast', 'drive'}
        Whether the level dies away or stays up.
    nats : float
        By how much the levels are likelier than without any turning.
    """

    start_s: float
    stop_s: float
    course: Literal["coast", "drive"]
    nats: float


def block_levels(bank: BandBank, *, block_s: float = BLOCK_S) -> tuple[Floats, Floats]:
    """Log levels of blocks of time, with neither clicks nor the loudest talk in them.

    Parameters
    ----------
    bank : BandBank
    block_s : float
        Block length [s].

    Returns
    -------
    times_s : ndarray, shape (blocks,)
        Middles of the blocks.
    levels : ndarray, shape (bands, blocks)
        ln of the block's median power, kept within six robust standard deviations,
        less the mean; from 400 Hz up.
    """
    times_s, power = block_medians(bank, block_s=block_s, first_band=bank.first_band(LOWEST_HZ))
    level = np.log(power + 1e-20)
    level -= np.median(level, axis=1, keepdims=True)
    spread = deviation(level, axis=1)
    level = np.clip(level, -6 * spread, 6 * spread)
    return times_s, level - level.mean(axis=1, keepdims=True)


def nats_of(levels: Floats, power: Floats) -> Floats:
    """By how much levels are likelier if they follow the running noise of a turning crank than if nothing does.

    Parameters
    ----------
    levels : ndarray, shape (bands, blocks)
        As `block_levels` gives them.
    power : ndarray, shape (n, blocks)
        Running noise of n guesses, 0 to 1; what it is over the room is tried out.

    Returns
    -------
    ndarray, shape (n,)
        Each band's share of variance explained, r^2, is worth about -ln(1 - r^2) / 2 a block, tempered.
    """
    energy = np.maximum((levels**2).sum(axis=1), 1e-12)
    best = np.zeros((len(power), len(levels)))
    for gain in GAINS:
        guess = np.log1p(gain * power)
        guess -= guess.mean(axis=1, keepdims=True)
        likeness = guess @ levels.T
        size = np.maximum((guess**2).sum(axis=1, keepdims=True), 1e-12)
        explained = np.where(likeness > 0, likeness**2 / size / energy, 0.0).clip(0, 1)
        best = np.maximum(best, explained)  # each band has its own share of the room's noise
    nats: Floats = -0.5 * levels.shape[1] / TOGETHER * np.log((1 - best + MISFIT) / (1 + MISFIT)).sum(axis=1)
    return nats


def find_turning(bank: BandBank) -> Turning | None:
    """Find when the crank turns.

    Parameters
    ----------
    bank : BandBank

    Returns
    -------
    Turning or None
        None where the recording is shorter than two seconds.
    """
    duration_s = bank.duration_s
    if duration_s < SHORTEST_S:
        return None
    times_s, levels = block_levels(bank, block_s=max(BLOCK_S, duration_s / MOST_BLOCKS))
    step_s = max(BLOCK_S, duration_s / MOST_BLOCKS)
    starts_s, stops_s = np.meshgrid(
        np.arange(0.0, duration_s - SHORTEST_S + 1e-9, step_s),
        np.append(np.arange(SHORTEST_S, duration_s, 3 * step_s), duration_s),
        indexing="ij",
    )
    long = stops_s - starts_s >= SHORTEST_S - 1e-9
    start_s, stop_s = starts_s[long], stops_s[long]
    since = times_s - start_s[:, np.newaxis]
    up = np.clip(since / PUSH_S + 0.1, 0, 1) * (since > -step_s / 2)
    left = np.clip((stop_s[:, np.newaxis] - times_s) / (stop_s - start_s)[:, np.newaxis], 0, 1)
    coast = nats_of(levels, np.minimum(left, up) ** 2)
    drive = nats_of(levels, np.where(times_s < stop_s[:, np.newaxis], up, 0.0))
    course = coast if coast.max() >= drive.max() else drive
    best = int(course.argmax())
    return Turning(
        start_s=_sharper_start(bank, float(start_s[best])),
        stop_s=float(stop_s[best]),
        course="coast" if course is coast else "drive",
        nats=float(course[best]),
    )


def _sharper_start(bank: BandBank, start_s: float) -> float:
    """The push's beginning by finer blocks about it; unchanged where the recording begins with it."""
    if start_s < 2 * BLOCK_S:
        return start_s
    times_s, levels = block_levels(bank, block_s=FINE_BLOCK_S)
    about = np.abs(times_s - start_s - PUSH_S / 2) < NEAR_START_S
    near = levels[:, about] - levels[:, about].mean(axis=1, keepdims=True)
    tried_s = start_s + np.arange(-0.15, 0.15, 0.01)
    up = np.clip((times_s[about] - tried_s[:, np.newaxis]) / PUSH_S, 0, 1)
    return float(tried_s[int(nats_of(near, up**2).argmax())])


def find_busy_coast(levels: ImpactLevels) -> Turning | None:
    """Find the coast along which impacts of any rhythm come ever more seldom and more faintly, as grit makes them.

    Parameters
    ----------
    levels : ImpactLevels
        Of the whole recording; they do not change with the recorder's gain.

    Returns
    -------
    Turning or None
        None where the recording is shorter than two seconds. `nats` says by how much one group
        of bands is likelier than with impacts at any time, `lead` how much more than if they kept coming.
    """
    duration_s = levels.duration_s
    if duration_s < SHORTEST_S:
        return None
    step_s = max(BUSY_BLOCK_S, duration_s / MOST_BLOCKS)
    size = max(1, round(step_s / levels.frame_s))
    blocks = levels.frames // size
    activity = np.diff(levels.integral[:, : blocks * size + 1 : size].astype(np.float64), axis=1) / size
    activity -= np.median(activity, axis=1, keepdims=True)
    spread = deviation(activity, axis=1)
    activity = np.clip(activity, -6 * spread, 6 * spread)
    activity -= activity.mean(axis=1, keepdims=True)
    times_s = levels.start_s + (np.arange(blocks) + 0.5) * size * levels.frame_s
    starts_s, stops_s = np.meshgrid(
        np.arange(0.0, duration_s - SHORTEST_S + 1e-9, step_s),
        np.concatenate([np.arange(SHORTEST_S, duration_s, 2 * step_s), duration_s + np.array([0.0, 2.0, 5.0])]),
        indexing="ij",
    )
    long = stops_s - starts_s >= SHORTEST_S - 1e-9
    start_s, stop_s = starts_s[long][:, np.newaxis], stops_s[long][:, np.newaxis]
    up = np.clip((times_s - start_s) / PUSH_S + 0.1, 0, 1) * (times_s - start_s > -step_s / 2)
    left = np.clip((stop_s - times_s) / (stop_s - start_s), 0, 1)
    coast = _explained_nats(activity, np.minimum(left, up) ** BUSY_EXPONENT)
    best = int(coast.argmax())
    return Turning(
        start_s=float(start_s[best, 0]),
        stop_s=float(stop_s[best, 0]),
        course="coast",
        nats=float(coast[best]),
    )


def _explained_nats(rows: Floats, power: Floats) -> Floats:
    """By how much the best row is likelier if it follows each course, shape (n,)."""
    guess = power - power.mean(axis=1, keepdims=True)
    likeness = guess @ rows.T
    size = np.maximum((guess**2).sum(axis=1, keepdims=True), 1e-12) * np.maximum((rows**2).sum(axis=1), 1e-12)
    explained = np.where(likeness > 0, likeness**2 / size, 0.0).clip(0, 0.99)
    nats: Floats = (-0.5 * rows.shape[1] * np.log1p(-explained)).max(axis=1)
    return nats


def likely_coast(bank: BandBank, turning: Turning) -> tuple[float, float]:
    """The run-down whose running noise the levels of the whole recording follow best.

    Parameters
    ----------
    bank : BandBank
    turning : Turning
        Its start is taken for granted.

    Returns
    -------
    stop_s, drag_per_s : float
        As `coast_speed` takes them; how loudness goes with speed is tried out.
    """
    block_s = max(BLOCK_S, bank.duration_s / MOST_BLOCKS)
    times_s, levels = block_levels(bank, block_s=block_s)
    since_s = times_s - turning.start_s
    pushed = np.clip(since_s / PUSH_S, 0, 1)
    least_s = turning.start_s + PUSH_S + SHORTEST_S
    stops_s = np.concatenate(
        [np.arange(least_s, bank.duration_s, 3 * block_s), bank.duration_s + np.array(LATER_STOPS_S)]
    )
    stop_s, drag = (grid.reshape(-1, 1) for grid in np.meshgrid(stops_s, DRAGS_PER_S, indexing="ij"))
    speed = coast_speed(np.maximum(times_s, turning.start_s + PUSH_S), stop_s, drag) * pushed
    speed /= speed.max(axis=1, keepdims=True)
    nats = np.max([nats_of(levels, speed**exponent) for exponent in EXPONENTS], axis=0)
    best = int(nats.argmax())
    return float(stop_s[best, 0]), float(drag[best, 0])
