"""Short segments of a recording, each under guesses of rate and slowing: how periodic its impacts are."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from bottleneck import median
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats, Singles, lock_fields
from acoustic.dsp.tacholess.impact_levels import ImpactLevels

# Judgement: long enough for nearly four impacts at the lowest rate, short enough for one bend of the speed.
SEGMENT_S, HOP_S = 2.5, 0.5
LOWEST_HZ, HIGHEST_HZ = 1.5, 32.0  # rates of ball passes of any crank bearing, at 0.2 to 2.7 turns a second
# Grid: half of what a segment tells apart at the highest rate, 1 / (32 x 2.5) = 0.0125.
RATE_STEP = 0.006
BENDS = np.arange(-0.60, 0.1201, 0.02)  # relative change of rate a second: a run-down's end to a firm pedal stroke
FLOOR_BENDS = (-0.5, -0.2, 0.1)  # most lines are blurred under most of them
# Judgement: impacts that ring for 10 ms have no more at the highest rates; more would count noise.
HARMONICS = 6
HALVES = 0.7  # share of what lies half way between the harmonics that is taken off
# Judgement: impacts that ring for some 10 ms have no lines above.
HIGHEST_LINE_HZ = 110.0
# Grid: wider as the rate grows, since lines lie farther apart.
FLOOR_HZ = (0.4, 1.5, 3.0, 5.0, 8.0, 12.0, 17.0, 24.0, 34.0, 48.0, 68.0, 110.0)
# Resolution: a line between two bins loses little.
PADDING = 2
# Of a sum of six ln(1 + E) less 0.7 times another such sum, E exponential: mean and variance by quadrature.
USUAL_SPREAD = float(np.sqrt(0.176 * HARMONICS * (1 + HALVES**2)))
UNKNOWN = 0.596  # mean of ln(1 + E)


@dataclass(frozen=True, slots=True, eq=False)
class SegmentScores:
    """How periodic each segment is, in standard deviations of what noise shows.

    Attributes
    ----------
    middles_s : ndarray, shape (segments,)
    bends : ndarray, shape (bends,)
        Relative change of rate a second.
    rates_hz : ndarray, shape (rates,)
        At the segment's middle, in equal steps of the logarithm.
    score : ndarray of float32, shape (segments, bends, groups, rates)
    """

    middles_s: Floats
    bends: Floats
    rates_hz: Floats
    score: Singles

    def __post_init__(self) -> None:
        lock_fields(self, "score")


def segment_scores(levels: ImpactLevels) -> SegmentScores:
    """Score every segment under every bend and rate.

    Parameters
    ----------
    levels : ImpactLevels
        Of 2.5 s or more.

    Returns
    -------
    SegmentScores

    Notes
    -----
    Within a segment the rate is taken to change evenly. The levels are resampled
    to equal steps of the angle that follows, windowed and transformed; of each
    base rate the log-limited powers over a smooth floor are summed over six
    harmonics, and what lies half way between them is taken off, so that half a
    rate, and the broad spectrum of a few bangs, gain nothing. Putting segments
    together along a course afterwards is the semi-coherent search used where a
    long coherent one would need too many guesses.
    """
    starts, size, rates_hz = _layout(levels)
    count = rates_hz.size
    score = np.empty((starts.size, BENDS.size, len(levels.integral), count), dtype=np.float32)
    floor = np.mean([_floor(*_spectra(levels, starts, size, bend), count) for bend in FLOOR_BENDS], axis=0)
    for row, bend in enumerate(BENDS):
        score[:, row] = _scores(*_spectra(levels, starts, size, float(bend)), floor, rates_hz)
    score -= np.median(score[:, :, :, ::3], axis=3, keepdims=True)
    score /= np.float32(USUAL_SPREAD)
    return SegmentScores(segment_middles(levels), BENDS, rates_hz, score)


def scores_along(levels: ImpactLevels, bends: Floats, used: NDArray[np.intp]) -> Singles:
    """Score segments under a bend of their own each, where the course of the speed is known.

    Parameters
    ----------
    levels : ImpactLevels
        Of 2.5 s or more.
    bends : ndarray, shape (segments,)
        Relative change of rate a second at the middles that `segment_middles` gives.
    used : ndarray, shape (k,)
        Which segments are wanted.

    Returns
    -------
    ndarray of float32, shape (k, groups, rates)
        As `SegmentScores.score`, at the same rates.
    """
    starts, size, rates_hz = _layout(levels)
    score = np.empty((used.size, len(levels.integral), rates_hz.size), dtype=np.float32)
    for place, segment in enumerate(used):
        power, step_hz = _spectra(levels, starts[segment : segment + 1], size, float(bends[segment]))
        score[place] = _scores(power, step_hz, _floor(power, step_hz, rates_hz.size), rates_hz)[0]
    score -= np.median(score[:, :, ::3], axis=2, keepdims=True)
    score /= np.float32(USUAL_SPREAD)
    return score


def segment_middles(levels: ImpactLevels) -> Floats:
    """Middles of the segments [s], shape (segments,)."""
    starts, size, _ = _layout(levels)
    return np.asarray(levels.start_s + (starts + size / 2) * levels.frame_s, dtype=np.float64)


def _layout(levels: ImpactLevels) -> tuple[NDArray[np.intp], int, Floats]:
    """First frames of the segments, their size, and the rates looked at."""
    size = round(SEGMENT_S / levels.frame_s)
    starts = np.arange(0, levels.frames - size + 1, round(HOP_S / levels.frame_s))
    count = int(np.ceil(np.log(HIGHEST_HZ / LOWEST_HZ) / RATE_STEP))
    rates_hz: Floats = LOWEST_HZ * np.exp(RATE_STEP * np.arange(count))
    return starts, size, rates_hz


def _spectra(levels: ImpactLevels, starts: NDArray[np.intp], size: int, bend: float) -> tuple[Singles, float]:
    """Power over the angle of each segment, shape (segments, groups, m), and the step of its axis [Hz]."""
    half_s = size * levels.frame_s / 2
    ends = np.array([-half_s, half_s])
    first, last = ends + bend * ends**2 / 2
    cells = 1 << int(np.ceil(np.log2(2.2 * HIGHEST_LINE_HZ * 2 * half_s)))
    angle = np.linspace(first, last, cells + 1)
    time = angle if abs(bend) < 1e-9 else (np.sqrt(np.maximum(1 + 2 * bend * angle, 1e-9)) - 1) / bend
    place = np.clip((time + half_s) / levels.frame_s, 0, size)
    below = np.minimum(place.astype(np.intp), size - 1)
    at = starts[:, np.newaxis] + below
    whole = levels.integral[:, at]
    whole += (levels.integral[:, at + 1] - whole) * (place - below).astype(np.float32)
    weight = (np.hanning(cells) / np.diff(place)).astype(np.float32)
    lines = np.fft.rfft(np.diff(whole, axis=2) * weight, cells * PADDING, axis=2)
    power: Singles = np.moveaxis((lines.real**2 + lines.imag**2).astype(np.float32, copy=False), 0, 1)
    return power, float(1 / (last - first) / PADDING)


def _scores(power: Singles, step_hz: float, floor: Singles, rates_hz: Floats) -> Singles:
    """Harmonics less what lies between them, shape (segments, groups, rates)."""
    multiples = np.concatenate([np.arange(1, HARMONICS + 1), np.arange(1, HARMONICS + 1) - 0.5])
    axis_hz = _axis_hz(rates_hz.size)
    bins = np.rint(axis_hz / step_hz).astype(np.intp)
    known = int(np.searchsorted(axis_hz, HIGHEST_LINE_HZ))
    logs = np.full((*power.shape[:2], axis_hz.size), UNKNOWN, dtype=np.float32)
    logs[:, :, :known] = np.log1p(power[:, :, bins[:known]] / floor[:, :, :known])
    total = np.zeros((*power.shape[:2], rates_hz.size), dtype=np.float32)
    for multiple in multiples:
        # On a logarithmic axis a multiple of all rates is one slice.
        begin = round(np.log(2 * multiple) / RATE_STEP)
        share = 1.0 if multiple == round(multiple) else -HALVES
        total += np.float32(share) * logs[:, :, begin : begin + rates_hz.size]
    return total


def _axis_hz(rates: int) -> Floats:
    """Half the lowest rate to six times the highest, in the rates' own steps."""
    axis: Floats = LOWEST_HZ / 2 * np.exp(RATE_STEP * np.arange(rates + round(np.log(2 * HARMONICS) / RATE_STEP)))
    return axis


def _floor(power: Singles, step_hz: float, rates: int) -> Singles:
    """Smooth floor under the lines on the logarithmic axis: the median over bands of rate, joined up."""
    spots, levels = [], []
    for low, high in pairwise(FLOOR_HZ):
        inside = power[:, :, int(low / step_hz) : int(high / step_hz) + 1]
        spots.append(np.log(low * high) / 2)
        levels.append(np.log(median(inside, axis=2) / np.log(2) + 1e-12))
    at = np.log(_axis_hz(rates))
    below = np.clip(np.searchsorted(spots, at) - 1, 0, len(spots) - 2)
    share = np.clip((at - np.array(spots)[below]) / np.diff(spots)[below], 0, 1).astype(np.float32)
    level = np.stack(levels, axis=2)
    floor: Singles = np.exp(level[:, :, below] * (1 - share) + level[:, :, below + 1] * share)
    return floor
