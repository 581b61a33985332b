"""Impacts along a given angle over time: how sharp their rhythm is, and how many of them are there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Floats, running_median
from acoustic.dsp.tacholess.impact_levels import ImpactLevels

# Resolution: a line between two bins of four to a line loses little.
PADDING = 4
# Judgement: side lobes of this window lie far under the strongest line looked for (STRONGEST_LINE).
TAPER = 3.5
FLOOR_WIDTHS = (0.8, 0.14)  # of the running medians under the lines, of the train's rate
# Grid: frames of 3 ms tell no more of impacts 72 ms apart.
PHASES = 24
LOUDEST = 2.0  # of the usual impact: one bang does not stretch a train
NEIGHBOURS = 12  # impacts before and after that make the pattern each is set against


@dataclass(frozen=True, slots=True, eq=False)
class Struck:
    """What each interval from one expected impact to the next shows of the pattern of its neighbours.

    Attributes
    ----------
    rank : ndarray, shape (intervals,)
        Share of phase shifts under which the interval is less like its neighbours than as it stands, 0 to 1;
        evenly spread where nothing repeats.
    likeness : ndarray, shape (intervals,)
        Inner product with the neighbours' mean pattern.
    """

    rank: Floats
    likeness: Floats


def folded(levels: ImpactLevels, angle: Floats, impacts: float, group: int) -> Floats:
    """Levels of every interval from one expected impact to the next, in its phases.

    Parameters
    ----------
    levels : ImpactLevels
        Of the part.
    angle : ndarray, shape (k,)
        Angle over the part at equal steps of time, from 0, increasing.
    impacts : float
        Over the part.
    group : int

    Returns
    -------
    ndarray, shape (intervals, 24)
    """
    share = np.arange(int(impacts) * PHASES + 1) / (PHASES * impacts)
    place = np.interp(share * angle[-1], angle, np.linspace(0, levels.frames, angle.size))
    below = np.minimum(place.astype(np.intp), levels.frames - 1)
    row = levels.integral[group].astype(np.float64)
    whole = row[below] + (row[below + 1] - row[below]) * (place - below)
    profiles: Floats = (np.diff(whole) / np.maximum(np.diff(place), 1e-9)).reshape(-1, PHASES)
    return profiles


def struck(profiles: Floats) -> Struck:
    """Set each interval against the pattern of its neighbours.

    Parameters
    ----------
    profiles : ndarray, shape (intervals, phases)
        As `folded` gives them.

    Returns
    -------
    Struck

    Notes
    -----
    A few bangs make a set of lines as sharp as a train of a hundred impacts does;
    they fill few intervals. Each interval's say is bounded by its rank.
    """
    centred = profiles - profiles.mean(axis=1, keepdims=True)
    sums = np.cumsum(np.pad(centred, ((1, 0), (0, 0))), axis=0)
    index = np.arange(len(centred))
    first, last = np.maximum(index - NEIGHBOURS, 0), np.minimum(index + NEIGHBOURS + 1, len(centred))
    pattern = (sums[last] - sums[first] - centred) / np.maximum(last - first - 1, 1)[:, np.newaxis]
    lines, others = np.fft.rfft(centred, axis=1), np.fft.rfft(pattern, axis=1)
    likeness = np.fft.irfft(lines * others.conj(), profiles.shape[1], axis=1)
    own = likeness[:, :1]
    rank = (np.mean(likeness < own, axis=1) + np.mean(likeness <= own, axis=1) - 1 / profiles.shape[1]) / 2
    return Struck(rank, own[:, 0] / np.maximum(np.linalg.norm(pattern, axis=1), 1e-9))


def struck_from(profiles: Floats, first: int, last: int) -> tuple[int, int]:
    """Where a train of impacts begins and ends.

    Parameters
    ----------
    profiles : ndarray, shape (intervals, phases)
        As `folded` gives them, over more than the train.
    first, last : int
        Intervals that surely belong to it.

    Returns
    -------
    (int, int)
        First interval of the train, and one past its last.

    Notes
    -----
    An interval of the train is like the pattern of the sure ones, one outside of it
    is not: the sums of likeness less half a usual one are largest where it begins
    and ends.
    """
    centred = profiles - profiles.mean(axis=1, keepdims=True)
    pattern = centred[first:last].mean(axis=0)
    like = centred @ pattern / max(float(pattern @ pattern), 1e-9)
    like = np.clip(like, -LOUDEST, LOUDEST) - 0.5
    before = np.cumsum(like[:first][::-1])
    after = np.cumsum(like[last:])
    begins = first - (int(before.argmax()) + 1 if before.size and before.max() > 0 else 0)
    ends = last + (int(after.argmax()) + 1 if after.size and after.max() > 0 else 0)
    return begins, ends


@dataclass(frozen=True, slots=True, eq=False)
class ImpactTrain:
    """A train of impacts along the course of a crank's angle.

    Attributes
    ----------
    levels : ImpactLevels
        Of the part over which it is found.
    angle : ndarray, shape (k,)
        Impacts made over the part, at equal steps of time, from 0, increasing.
    group : int
        Group of bands it is clearest in.
    fastest_hz : float
        Its highest rate.
    """

    levels: ImpactLevels
    angle: Floats
    group: int
    fastest_hz: float


@dataclass(frozen=True, slots=True, eq=False)
class TrainSpectrum:
    """Power over a local floor in the train's own group of bands.

    Attributes
    ----------
    power : ndarray, shape (m,)
        Exponential with mean 1 where there is no line.
    step : float
        Of the axis, from 0 [1/impact].
    """

    power: Floats
    step: float


def train_spectrum(train: ImpactTrain, *, highest: float) -> TrainSpectrum:
    """Whitened spectrum of the levels over a train's angle.

    Parameters
    ----------
    train : ImpactTrain
    highest : float
        Multiple of the train's rate up to which it is wanted.

    Returns
    -------
    TrainSpectrum
    """
    impacts = float(train.angle[-1])
    cells = 1 << int(np.ceil(np.log2(2 * (highest + 1) * impacts + 2)))
    place = np.interp(
        np.linspace(0, impacts, cells + 1), train.angle, np.linspace(0, train.levels.frames, train.angle.size)
    )
    below = np.minimum(place.astype(np.intp), train.levels.frames - 1)
    row = train.levels.integral[train.group].astype(np.float64)
    whole = row[below] + (row[below + 1] - row[below]) * (place - below)
    cell = np.diff(whole) / np.maximum(np.diff(place), 1e-9)
    lines = np.fft.rfft(cell * np.kaiser(cells, TAPER), cells * PADDING)[
        : round((highest + 1) * impacts * PADDING)
    ]
    power = lines.real**2 + lines.imag**2
    # The narrower median lifts the floor under the skirts of a strong line, which a little jitter spreads.
    floor = np.max(
        [running_median(power, round(width * impacts * PADDING)) for width in FLOOR_WIDTHS],
        axis=0,
    ) / np.log(2)
    return TrainSpectrum(power / np.maximum(floor, 1e-12), 1 / (impacts * PADDING))


def struck_score(train: ImpactTrain) -> float:
    """Mean rank of a train's intervals over one half, in standard errors.

    Parameters
    ----------
    train : ImpactTrain

    Returns
    -------
    float
    """
    rank = struck(folded(train.levels, train.angle, float(train.angle[-1]), train.group)).rank
    return float((rank.mean() - 0.5) * np.sqrt(12 * rank.size))
