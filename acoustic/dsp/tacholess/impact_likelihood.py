"""How likely the impacts heard are, if they follow a speed curve whose times and impacts a turn are guessed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from bottleneck import rankdata
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats, Singles
from acoustic.dsp.tacholess.impact_levels import ImpactLevels

# What both generators' spins show with the true curve (`tests/calibration/impact_likelihood.py`): the level of an
# impact is ln(1 + AUDIBLE s^3), s the speed over the highest, and an impact at full speed lies among its
# surroundings' levels as the highest of RANKED would.
AUDIBLE, RANKED = 50.0, 8.0
HEARD = 0.9  # share of impacts at full speed that talk or a missing load do not hide (judgement)
RINGS_S = 0.02  # an impact rings for some 10 ms, and a spall is left after it is met
SURROUNDINGS_S = 0.9  # holds several impacts of the slowest train, and no more than two words (judgement)
PHASES = 16  # of an impact interval: how finely early and late are told (judgement)
SLIP_AN_IMPACT = 0.02  # in impacts: balls shift in their pockets by 0.01 or so, and the cage's slip wanders
STEP_S = 0.002  # finer than a frame of the impact levels
SLOWEST_HZ = 0.02  # turns/s; slower, no time can be given to an angle


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The angle that a crank makes over one stretch of a speed curve.

    Attributes
    ----------
    times_s : ndarray, shape (n,)
        By the curve's own clock.
    turns : ndarray, shape (n,)
        From 0, strictly increasing.
    pace : ndarray, shape (n,)
        Speed over its highest, 0 to 1.
    """

    times_s: Floats
    turns: Floats
    pace: Floats


def course(times_s: Floats, speed_hz: Floats, start_s: float, stop_s: float) -> Course:
    """Integrate a speed curve over one stretch.

    Parameters
    ----------
    times_s, speed_hz : ndarray, shape (n,)
        Speed [turns/s] against the curve's own clock [s], increasing.
    start_s, stop_s : float
        The stretch [s].

    Returns
    -------
    Course

    Raises
    ------
    ValueError
        The crank stands throughout.
    """
    steps_s = np.arange(start_s, stop_s, STEP_S)
    speed = np.interp(steps_s, times_s, speed_hz)
    turning = speed > SLOWEST_HZ
    if np.count_nonzero(turning) < 2:
        raise ValueError(f"the crank stands from {start_s} to {stop_s} s")
    turns = np.cumsum(np.where(turning, speed, 0.0)) * STEP_S
    return Course(steps_s[turning], turns[turning] - turns[turning][0], speed[turning] / float(speed.max()))


def impact_ranks(levels: ImpactLevels, group: int) -> Singles:
    """Rank of what rings from each frame on among its surroundings.

    Parameters
    ----------
    levels : ImpactLevels
    group : int
        Of bands.

    Returns
    -------
    ndarray of float32, shape (frames,)
        Evenly spread from 0 to 1 in every stretch of about a second, however loud: a word or a bang
        cannot outweigh the impacts beside it.
    """
    width = max(1, round(RINGS_S / levels.frame_s))
    whole = np.pad(levels.integral[group].astype(np.float64), (0, width), mode="edge")
    rings = (whole[width:] - whole[:-width])[: levels.frames]
    size = min(levels.frames, round(SURROUNDINGS_S / levels.frame_s))
    ranks = np.empty(levels.frames, dtype=np.float32)
    starts = [*range(0, levels.frames - size, max(1, size // 2)), levels.frames - size]
    for start in starts:
        # Only the block's middle is taken, but for the ends of the recording.
        first = start if start == 0 else start + size // 4
        inside = rankdata(rings[start : start + size]) - 0.5
        ranks[first : start + size] = inside[first - start :] / size
    return ranks


def audible(pace: Floats) -> Floats:
    """Share of its level at full speed that an impact has at a pace of 0 to 1."""
    share: Floats = np.log1p(AUDIBLE * pace**3) / np.log1p(AUDIBLE)
    return share


def impact_nats(
    levels: ImpactLevels, ranks: Singles, path: Course, offsets_s: Floats, orders: Floats
) -> NDArray[np.float64]:
    """Log likelihood of impacts that follow a course, over that of none, at every offset and order.

    Parameters
    ----------
    levels : ImpactLevels
        Of the whole recording.
    ranks : ndarray of float32, shape (frames,)
        As `impact_ranks` gives them.
    path : Course
    offsets_s : ndarray, shape (n,)
        Added to the course's times they give the recording's [s].
    orders : ndarray, shape (m,)
        Impacts a turn.

    Returns
    -------
    ndarray, shape (m, n)
        In nats; what the course has outside of the recording counts for nothing.

    Notes
    -----
    Where an impact lies its rank u has the density B u^(B - 1) in place of 1, if
    it is heard. By how much impacts come early or late is a random walk on a ring of
    one impact, summed over all its ways by the forward recursion of a hidden Markov
    model (L. R. Rabiner, Proceedings of the IEEE 77 (1989) 257-286). A push or a
    stop counts because impacts are neither heard before nor after.
    """
    heard = int(path.turns[-1] * orders.max())
    turns = (np.arange(heard)[:, np.newaxis, np.newaxis] + np.arange(PHASES) / PHASES) / orders[:, np.newaxis]
    frame = (np.interp(turns, path.turns, path.times_s) - levels.start_s) / levels.frame_s + 1
    share = HEARD * audible(np.interp(turns, path.turns, path.pace)) * (turns <= path.turns[-1])
    weight = share.astype(np.float32)[:, :, np.newaxis]
    shift = (offsets_s / levels.frame_s)[:, np.newaxis]
    over = np.zeros(levels.frames + 2, dtype=np.float32)
    over[1:-1] = RANKED * ranks ** (RANKED - 1) - 1
    change = np.float32((SLIP_AN_IMPACT * PHASES) ** 2 / 2)
    late = np.full((orders.size, offsets_s.size, PHASES), 1 / PHASES, dtype=np.float32)
    nats = np.zeros((orders.size, offsets_s.size))
    for at, loud in zip(frame, weight, strict=True):
        place = np.clip(np.rint(at[:, np.newaxis] + shift), 0, levels.frames + 1).astype(np.int32)
        late *= 1 + loud * over[place]
        total = late.sum(axis=2)
        nats += np.log(total)
        late /= total[:, :, np.newaxis]
        late += change * (np.roll(late, 1, axis=2) + np.roll(late, -1, axis=2) - 2 * late)
    return nats
