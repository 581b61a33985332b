"""The course of a pedalled crank's speed, found from its beat alone: a cadence that wanders slowly."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acoustic.core.beat import (
    FINE_HARMONICS,
    BeatLevels,
    settled_beat,
    usual_floor,
)
from acoustic.core.coast import FASTEST_HZ, SLOWEST_HZ, TIME, Course
from acoustic.core.fold import beat_delays
from acoustic.core.lines import erlang_surprise
from acoustic.core.spectra import tempered

Floats = NDArray[np.float64]

WINDOW_S, HOP_S = 2.0, 0.5
PADDED = 4
RATE_STEP = 0.01  # of the rate, from one guess to the next
FASTEST_CHANGE = 5  # steps from one window to the next: ten per cent a second
CHANGE_COST = 0.3  # nats for one step, growing with its square
HARMONICS = (2, 3, 5)
SMOOTHED_S = 1.0
ROUNDS = 3


def find_cadence(levels: BeatLevels) -> Course:
    """Follow the beat of a crank that is driven: by windows first, then by its own pattern.

    Parameters
    ----------
    levels : BeatLevels
        Of the driven part, four seconds or more.

    Returns
    -------
    Course
        Always the best there is; its beat's surprise tells whether it is one.

    Notes
    -----
    Within two seconds a cadence hardly changes. The best path through the windows'
    combs, by dynamic programming, pays for every change of rate. The twice-a-turn
    wobble of pedalling moves a ball pass by a few hundredths of its interval and
    is left alone.
    """
    count = math.ceil(math.log(FASTEST_HZ / SLOWEST_HZ) / math.log(1 + RATE_STEP))
    rates_hz = np.geomspace(SLOWEST_HZ, SLOWEST_HZ * (1 + RATE_STEP) ** (count - 1), count)
    middles_s, surprise = _window_surprises(levels, rates_hz)
    path_hz = rates_hz[_best_path(surprise)]
    angle = _angle_of(np.interp(TIME * levels.duration_s, middles_s, path_hz))
    beats = float(np.trapezoid(np.interp(TIME, middles_s / levels.duration_s, path_hz), TIME)) * levels.duration_s
    floor = usual_floor(levels, [TIME, TIME**1.1, TIME**0.9], most_beats=3.2 * beats * FINE_HARMONICS[-1])
    total = settled_beat(levels, angle, floor, beats)
    for _ in range(ROUNDS):
        delays = beat_delays(levels, angle, beats=total.beats, group=total.group)
        early = delays.beats - total.beats * np.interp(delays.share, TIME, angle)
        weight = np.exp(-0.5 * ((TIME[:, np.newaxis] - delays.share) * levels.duration_s / SMOOTHED_S) ** 2)
        weight = weight / delays.error**2 + 1e-12
        bent = angle + (weight @ early) / weight.sum(axis=1) / total.beats
        if np.any(np.diff(bent) <= 0):
            break
        size = float(bent[-1] - bent[0])
        angle = (bent - bent[0]) / size
        total = settled_beat(levels, angle, floor, total.beats * size)
    return Course(angle, np.full(TIME.size, 0.1 / total.beats), total)


def _angle_of(speed: Floats) -> Floats:
    whole = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2)])
    angle: Floats = whole / whole[-1]
    return angle


def _window_surprises(levels: BeatLevels, rates_hz: Floats) -> tuple[Floats, Floats]:
    """Middles of the windows [s], and the surprise of a comb at every rate, shape (windows, rates)."""
    frame_s = levels.duration_s / (levels.integral.shape[1] - 1)
    size = round(min(WINDOW_S, levels.duration_s) / frame_s)
    level = np.diff(levels.integral, axis=1)
    starts = np.arange(0, level.shape[1] - size + 1, max(1, round(HOP_S / frame_s)))
    taper = np.hanning(size).astype(np.float32)
    lines = np.stack(
        [np.fft.rfft(level[:, start : start + size] * taper, size * PADDED, axis=1) for start in starts]
    )
    power = lines.real**2 + lines.imag**2
    hz = np.arange(power.shape[2]) / (size * PADDED * frame_s)
    weight = tempered(power / _floor(power.mean(axis=0), hz))
    total = np.zeros((*power.shape[:2], rates_hz.size))
    best = np.zeros((starts.size, rates_hz.size))
    for harmonic in range(1, HARMONICS[-1] + 1):
        place = np.rint(rates_hz * harmonic / hz[1]).astype(np.intp)
        known = place < hz.size
        total[:, :, known] += weight[:, :, place[known]]
        total[:, :, ~known] += 1.0
        if harmonic in HARMONICS:
            best = np.maximum(best, erlang_surprise(harmonic, total.max(axis=1)))
    return (starts + size / 2) * frame_s, best


def _floor(power: Floats, hz: Floats) -> Floats:
    """Smooth floor under the lines, shape (groups, m)."""
    edges = np.concatenate([[0.3, 1.0, 2.0], np.geomspace(3.5, hz[-1], 12)])
    spots = np.sqrt(edges[1:] * edges[:-1])
    mean = [
        np.log(np.median(power[:, (hz >= low) & (hz <= high)], axis=1) / math.log(2) + 1e-30)
        for low, high in pairwise(edges)
    ]
    at = np.log(np.maximum(hz, 0.1))
    floor: Floats = np.exp(np.stack([np.interp(at, np.log(spots), row) for row in np.array(mean).T]))
    return floor


def _best_path(surprise: Floats) -> NDArray[np.intp]:
    """Rates, one a window, of the most surprising path that changes slowly."""
    count = surprise.shape[1]
    total = surprise[0]
    back = []
    changes = np.arange(-FASTEST_CHANGE, FASTEST_CHANGE + 1)
    for row in surprise[1:]:
        padded = np.pad(total, FASTEST_CHANGE, constant_values=-np.inf)
        reach = np.stack([padded[FASTEST_CHANGE + c : FASTEST_CHANGE + c + count] for c in changes])
        reach -= CHANGE_COST * changes[:, np.newaxis] ** 2
        chosen = reach.argmax(axis=0)
        back.append(np.clip(np.arange(count) + changes[chosen], 0, count - 1))
        total = reach.max(axis=0) + row
    path = [int(total.argmax())]
    for step in reversed(back):
        path.append(int(step[path[-1]]))
    return np.array(path[::-1], dtype=np.intp)
