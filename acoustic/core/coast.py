"""The course of a coasting crank's speed, found from its beat alone: its shape, not its scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from acoustic.core.beat import (
    COARSE_HARMONICS,
    FINE_HARMONICS,
    GUESS_POINTS,
    PADDING,
    Beat,
    BeatLevels,
    settled_beat,
    sharpest_beat,
    usual_floor,
)
from acoustic.core.fold import Delays, beat_delays

Floats = NDArray[np.float64]
Prior = Callable[[Floats, Floats], Floats]

PUSH_S = 0.4  # a firm push by hand
SLOWEST_HZ, FASTEST_HZ = 1.5, 20.0  # mean rate of ball passes: 0.2 to 2.5 turns a second of any crank bearing
GRID_STEP = 0.005  # of the angle: half a beat in a hundred
FLOOR_GUESSES = 12
UNLIKELY = 8.0  # nats behind the likeliest shape by the levels: not searched
TIME = np.linspace(0, 1, GUESS_POINTS)
MOST_ROUNDS = 16  # each stretch is timed against the others' mean, which a wrong course blurs: it is met by steps
SETTLED_BEATS = 0.03
FINE, FINE_SIDE = 17, 1.2  # guesses along each direction about the best, and how far they reach [beats]
LEVELS_SHARE = 0.3  # of the levels' say once the beat is heard: at full weight they shortened the last slow turns
SLIP_A_BEAT = 0.007  # balls shift in their pockets; the errors of the intervals add up
SHAPE_LOW, SHAPE_HIGH = np.array([0.02, 0.0]), np.array([1.2, 8.0])


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A course of the speed, and the beat it makes sharp.

    Attributes
    ----------
    angle : ndarray, shape (k,)
        Angle from 0 to 1 over the part searched, at equal steps of time.
    spread : ndarray, shape (k,)
        Its standard error.
    beat : Beat
        The sharpest beat; its surprise tells whether it is one.
    """

    angle: Floats
    spread: Floats
    beat: Beat

    def __post_init__(self) -> None:
        self.angle.flags.writeable = False
        self.spread.flags.writeable = False


def coast_speed(share: Floats, stop: Floats, drag: Floats) -> Floats:
    """Speed of a crank that coasts down under dry and viscous drag.

    Parameters
    ----------
    share : ndarray, shape (k,)
        Time from the start of a part over its length, >= 0.
    stop : ndarray, shape (n,)
        Length of the part over the time until the crank stands; past 1 it stands before the end.
    drag : ndarray, shape (n,)
        Viscous deceleration over speed, times the part's length, >= 0.

    Returns
    -------
    ndarray, shape (n, k)
        Over the speed at the start.

    Notes
    -----
    dw/dt = -c - b w with w = 0 at time T gives w proportional to exp(b (T - t)) - 1:
    textbook mechanics of a flywheel with Coulomb and viscous drag. T and b are the
    shape; the scale is the third number.
    """
    until = 1 / np.asarray(stop)[:, np.newaxis]
    rate = np.maximum(np.asarray(drag), 1e-4)[:, np.newaxis]
    # Over exp(rate until), so that a strong drag does not overflow.
    left = np.exp(-rate * np.minimum(share, until)) - np.exp(-rate * until)
    speed: Floats = left / -np.expm1(-rate * until)
    return speed


def coast_angle(share: Floats, stop: Floats, drag: Floats) -> Floats:
    """Angle of such a crank over the part: the integral of `coast_speed`, from 0 to 1 at the last share.

    Parameters
    ----------
    share, stop, drag : ndarray
        As `coast_speed` takes them.

    Returns
    -------
    ndarray, shape (n, k)
    """
    until = 1 / np.asarray(stop)[:, np.newaxis]
    rate = np.maximum(np.asarray(drag), 1e-4)[:, np.newaxis]
    time = np.minimum(share, until)
    angle = -np.expm1(-rate * time) / rate - time * np.exp(-rate * until)
    scaled: Floats = angle / angle[:, -1:]
    return scaled


@cache
def coast_shapes(step: float) -> tuple[Floats, Floats]:
    """List shapes of run-downs such that every other is within about a step of one.

    Parameters
    ----------
    step : float
        Largest difference of angle wanted between neighbours, of the whole angle.

    Returns
    -------
    stop, drag : ndarray, shape (n,)
        As `coast_speed` takes them.
    """
    stop, drag = np.meshgrid(1.15 - 1.12 * np.linspace(0, 1, 161) ** 1.5, np.linspace(0, 5, 51), indexing="ij")
    angle = coast_angle(np.linspace(0, 1, 33), stop.ravel(), drag.ravel())
    # Two coordinates carry nearly all of the difference between the shapes.
    centred = angle - angle.mean(axis=0)
    axes = np.linalg.svd(centred, full_matrices=False)[2][:2]
    place = np.round(centred @ axes.T * (1.6 / np.sqrt(33)) / step)
    chosen = np.unique(place, axis=0, return_index=True)[1]
    return stop.ravel()[chosen], drag.ravel()[chosen]


def find_coast(levels: BeatLevels, prior: Prior) -> Course:
    """Search the shapes of run-downs for the one that makes a beat sharpest.

    Parameters
    ----------
    levels : BeatLevels
        Of the coasting part.
    prior : callable
        Nats that speak for shapes (stop, drag) before any beat is heard.

    Returns
    -------
    Course
        Always the best there is.

    Notes
    -----
    A sharp beat alone does not fix the course: slip wanders, so the sharpest
    course follows the cage rather than the crank, and the last slow turns are
    hardly heard. The beat's stretches are therefore weighed with their errors and
    the slip between them, together with the levels, and the mean over all shapes
    that both allow is returned.
    """
    stop, drag = coast_shapes(GRID_STEP)
    likely = prior(stop, drag)
    stop, drag, likely = (a[likely > likely.max() - UNLIKELY] for a in (stop, drag, likely))
    angles = coast_angle(TIME, stop, drag)
    fewest, most = (max(8.0, rate_hz * levels.duration_s) for rate_hz in (SLOWEST_HZ, FASTEST_HZ))
    some = np.linspace(0, len(angles) - 1, FLOOR_GUESSES).astype(np.intp)
    floor = usual_floor(levels, list(angles[some]), most_beats=most * FINE_HARMONICS[-1])
    coarse = floor[:, : int(most * COARSE_HARMONICS[-1] * PADDING) + 1]
    beats = [sharpest_beat(levels, angle, coarse, fewest=fewest, most=most) for angle in angles]
    best = int(np.argmax([beat.surprise for beat in beats] + likely))
    shape, beat = np.array([stop[best], drag[best]]), settled_beat(levels, angles[best], floor, beats[best].beats)
    course = Course(angles[best], np.zeros(TIME.size), beat)
    for _ in range(MOST_ROUNDS):
        before = course
        delays = beat_delays(levels, course.angle, beats=course.beat.beats, group=beat.group)
        shape, course = _weighed(delays, shape, course.beat, prior)
        if np.abs(course.angle * course.beat.beats - before.angle * before.beat.beats).max() < SETTLED_BEATS:
            break
    return course


def usual_coast(prior: Prior, beat: Beat) -> Course:
    """The run-down that the levels speak for where no beat is heard.

    Parameters
    ----------
    prior : callable
        As `find_coast` takes it.
    beat : Beat
        The best there was, handed on.

    Returns
    -------
    Course
    """
    stop, drag = coast_shapes(GRID_STEP)
    nats = prior(stop, drag)
    return _mean_course(stop, drag, np.exp(nats - nats.max()), beat)


def _mean_course(stop: Floats, drag: Floats, weight: Floats, beat: Beat) -> Course:
    angles = coast_angle(TIME, stop, drag)
    share = weight / weight.sum()
    angle = share @ angles
    return Course(angle, np.sqrt(np.maximum(share @ (angles - angle) ** 2, 0.0)), beat)


def _weighed(delays: Delays, shape: Floats, beat: Beat, prior: Prior) -> tuple[Floats, Course]:
    """Weigh the shapes about one by delays and levels: their mean, and the mean of their courses."""
    side = np.linspace(-FINE_SIDE, FINE_SIDE, FINE)
    first, second = np.meshgrid(side, 2 * side, indexing="ij")
    steps = _shape_steps(shape, 1 / beat.beats)
    shapes = shape + np.stack([first.ravel(), second.ravel()], axis=1) @ steps
    shapes = shapes[np.all((shapes > SHAPE_LOW) & (shapes < SHAPE_HIGH), axis=1)]
    angles = coast_angle(np.append(delays.share, 1.0), shapes[:, 0], shapes[:, 1])[:, :-1]
    chi_square, scale = _misfit(delays, angles)
    nats = LEVELS_SHARE * prior(shapes[:, 0], shapes[:, 1]) - chi_square / 2
    weight = np.exp(nats - nats.max())
    kept = weight > 1e-4
    weight, shapes, scale = weight[kept] / weight[kept].sum(), shapes[kept], scale[kept]
    total = Beat(beat.surprise, float(weight @ scale), beat.harmonics, beat.group)
    return weight @ shapes, _mean_course(shapes[:, 0], shapes[:, 1], weight, total)


def _misfit(delays: Delays, angles: Floats) -> tuple[Floats, Floats]:
    """Chi-square of the delays against angles (n, k), with the best start and scale; and that scale."""
    slip = SLIP_A_BEAT**2 * np.minimum.outer(delays.beats, delays.beats).clip(0)
    root = np.linalg.cholesky(slip + np.diag(delays.error**2))
    white = np.linalg.solve(root, np.stack([np.ones(delays.beats.size), delays.beats, *angles], axis=1)).T
    ones, beats, rows = white[0] / np.linalg.norm(white[0]), white[1], white[2:]
    # What the unknown start takes up is taken out of both sides.
    beats = beats - ones * (beats @ ones)
    rows = rows - np.outer(rows @ ones, ones)
    scale = rows @ beats / np.maximum((rows**2).sum(axis=1), 1e-12)
    return ((beats - scale[:, np.newaxis] * rows) ** 2).sum(axis=1), scale


def _shape_steps(shape: Floats, size: float) -> Floats:
    """Two changes of (stop, drag) that bend the angle by `size`, in directions that do not mix; shape (2, 2)."""
    nudge = np.array([0.002, 0.02])
    away = shape + np.diag(nudge)
    moved = coast_angle(TIME[::32], away[:, 0], away[:, 1]) - coast_angle(TIME[::32], shape[:1], shape[1:])
    left, strength, _ = np.linalg.svd(moved / nudge[:, np.newaxis], full_matrices=False)
    reach = np.sqrt(TIME[::32].size) / 1.6  # from the root of a sum of squares to the largest value, about
    steps: Floats = left.T / np.maximum(strength, 1e-9)[:, np.newaxis] * size * reach
    # Where a change of shape hardly bends the angle, it is kept within what shapes there are.
    kept: Floats = steps / np.maximum(1.0, np.abs(steps / np.array([0.1, 0.8])).max(axis=1, keepdims=True))
    return kept
