"""A beat in a sound whose speed is not known: how sharp it gets under a guess of the speed's course."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acoustic.core.envelope import BandBank, running_level
from acoustic.core.lines import erlang_surprise
from acoustic.core.spectra import tempered

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

LOWEST_HZ = 500.0
JOINED_S = 0.003
WIDTHS = (4, 8)
PADDING = 4
GUESS_POINTS = 1025
COARSE_HARMONICS = (2, 3, 5)
FINE_HARMONICS = (2, 3, 5, 8)
OCTAVES = (1 / 3, 1 / 2, 2 / 3, 1.0, 3 / 2, 2.0, 3.0)
NEARLY = 0.8  # half a beat's lines fall between its own: it surprises far less


@dataclass(frozen=True, slots=True, eq=False)
class BeatLevels:
    """Running integrals of the levels of groups of bands, over the part of a recording that may turn.

    Attributes
    ----------
    integral : ndarray, shape (groups, frames + 1)
        Cumulative sum of the levels, each group of mean 0 and variance 1.
    start_s, stop_s : float
        The part [s].
    """

    integral: Singles
    start_s: float
    stop_s: float

    def __post_init__(self) -> None:
        self.integral.flags.writeable = False

    @property
    def duration_s(self) -> float:
        """Length of the part [s]."""
        return self.stop_s - self.start_s


@dataclass(frozen=True, slots=True)
class Beat:
    """The sharpest comb under one guess.

    Attributes
    ----------
    surprise : float
        -ln of the chance of its lines at one place under no beat.
    beats : float
        Beats in the whole part.
    harmonics : int
        Harmonics summed.
    group : int
        Group of bands it is sharpest in.
    """

    surprise: float
    beats: float
    harmonics: int
    group: int


def beat_levels(bank: BandBank, start_s: float, stop_s: float) -> BeatLevels:
    """Gather the levels over the running level in groups of four, eight and all bands.

    Parameters
    ----------
    bank : BandBank
    start_s, stop_s : float
        The part wanted [s], a second or more.

    Returns
    -------
    BeatLevels
        In frames of about 3 ms.

    Raises
    ------
    ValueError
        The part is shorter than a second.
    """
    lowest = bank.first_band(LOWEST_HZ)
    inside = bank.frames_between(start_s, stop_s)
    joined = max(1, round(JOINED_S / bank.frame_s))
    frames = int(inside.sum()) // joined
    if frames * joined * bank.frame_s < 0.9:
        raise ValueError(f"a part of a second or more is needed, got {start_s:.2f} to {stop_s:.2f} s")
    first = int(inside.argmax())
    level = np.log1p(bank.power / running_level(bank))[lowest:, first : first + frames * joined]
    level = _scaled(level.reshape(level.shape[0], frames, joined).mean(axis=2))
    whole = np.concatenate([np.zeros((1, frames)), np.cumsum(level, axis=0)])
    grouped = _scaled(np.stack([whole[last + 1] - whole[first] for first, last in _groups(level.shape[0])]))
    integral = np.concatenate([np.zeros((grouped.shape[0], 1)), np.cumsum(grouped, axis=1)], axis=1)
    begin_s = bank.first_s + (first - 0.5) * bank.frame_s
    return BeatLevels(integral.astype(np.float32), begin_s, begin_s + frames * joined * bank.frame_s)


def _scaled(rows: Floats) -> Floats:
    """Rows of mean 0 and variance 1."""
    centred = rows - rows.mean(axis=1, keepdims=True)
    scaled: Floats = centred / np.maximum(centred.std(axis=1, keepdims=True), 1e-12)
    return scaled


def _groups(bands: int) -> tuple[tuple[int, int], ...]:
    """First and last band of the groups."""
    groups = [(first, first + width - 1) for width in WIDTHS for first in range(0, bands - width + 1, width)]
    return (*groups, (0, bands - 1))


def beat_spectrum(levels: BeatLevels, angle: Floats, *, most_beats: float) -> Floats:
    """Power spectrum of the levels over a guessed angle.

    Parameters
    ----------
    levels : BeatLevels
    angle : ndarray, shape (k,)
        Guessed angle from 0 at the start of the part to 1 at its end, at equal
        steps of time, not decreasing.
    most_beats : float
        Highest rate wanted, events in the part.

    Returns
    -------
    ndarray, shape (groups, m)
        At steps of a quarter of an event in the part, from 0.
    """
    frames = levels.integral.shape[1] - 1
    time = np.linspace(0, frames, angle.size)
    count = 1 << max(10, int(np.ceil(np.log2(2 * most_beats + 2))))
    edges = np.interp(np.linspace(0, 1, count + 1), angle, time)
    below = np.minimum(edges.astype(np.intp), frames - 1)
    share = (edges - below).astype(np.float32)
    integral = levels.integral[:, below]
    integral += (levels.integral[:, below + 1] - integral) * share
    cells = np.diff(integral, axis=1) / np.maximum(np.diff(edges), 1e-6).astype(np.float32)
    keep = int(most_beats * PADDING) + 1
    lines = np.fft.rfft(cells * _taper(count), count * PADDING, axis=1)[:, :keep]
    power: Floats = lines.real**2 + lines.imag**2
    return power


@cache
def _taper(count: int) -> Singles:
    return np.kaiser(count, 3.5).astype(np.float32)


def usual_floor(levels: BeatLevels, angles: Sequence[Floats], *, most_beats: float) -> Floats:
    """Smooth floor under the lines, from guesses that are mostly wrong.

    Parameters
    ----------
    levels : BeatLevels
    angles : sequence of ndarray
        As `beat_spectrum` takes them.
    most_beats : float

    Returns
    -------
    ndarray, shape (groups, m)
    """
    power = np.mean([beat_spectrum(levels, angle, most_beats=most_beats) for angle in angles], axis=0)
    beats = np.arange(power.shape[1]) / PADDING
    edges = np.concatenate([[0.3, 2.0, 5.0, 9.0], np.geomspace(14.0, max(20.0, beats[-1]), 14)])
    spots, means = [], []
    for low, high in pairwise(edges):
        inside = power[:, int(low * PADDING) : int(high * PADDING) + 1]
        if inside.shape[1]:
            spots.append(math.log((low + high) / 2))
            means.append(np.log(inside.mean(axis=1) + 1e-30))
    at = np.log(np.maximum(beats, 0.1))
    floor: Floats = np.exp(np.stack([np.interp(at, spots, row) for row in np.array(means).T]))
    return floor


def sharpest_beat(
    levels: BeatLevels,
    angle: Floats,
    floor: Floats,
    *,
    fewest: float,
    most: float,
    harmonics: Sequence[int] = COARSE_HARMONICS,
) -> Beat:
    """Find the comb that surprises most under one guess of the angle.

    Parameters
    ----------
    levels : BeatLevels
    angle : ndarray, shape (k,)
        As `beat_spectrum` takes it.
    floor : ndarray, shape (groups, m)
        As `usual_floor` gives it.
    fewest, most : float
        Range of the base rate, beats in the part.
    harmonics : sequence of int
        Numbers of harmonics tried, rising, 1 or more.

    Returns
    -------
    Beat
        Rates past the floor's end count as noise does on average.
    """
    power = beat_spectrum(levels, angle, most_beats=(floor.shape[1] - 1) / PADDING)
    weight = tempered(power / floor[:, : power.shape[1]])
    base = np.arange(round(fewest * PADDING), max(round(most * PADDING), round(fewest * PADDING)) + 1)
    base = base[base < weight.shape[1]]
    total = weight[:, base].copy()
    best = Beat(0.0, fewest, harmonics[0], 0)
    for harmonic in range(1, harmonics[-1] + 1):
        if harmonic > 1:
            known = int(np.searchsorted(base * harmonic, weight.shape[1]))
            total[:, :known] += weight[:, base[:known] * harmonic]
            total[:, known:] += 1.0
        if harmonic in harmonics:
            group, place = divmod(int(total.argmax()), base.size)
            surprise = float(erlang_surprise(harmonic, total[group, place : place + 1])[0])
            if surprise > best.surprise:
                best = Beat(surprise, float(base[place]) / PADDING, harmonic, group)
    return best


def settled_beat(levels: BeatLevels, angle: Floats, floor: Floats, beats: float) -> Beat:
    """The slowest of a beat's multiples and parts that surprises nearly as much as any.

    Parameters
    ----------
    levels : BeatLevels
    angle : ndarray, shape (k,)
        As `beat_spectrum` takes it.
    floor : ndarray, shape (groups, m)
        As `usual_floor` gives it.
    beats : float
        A rate at which a comb was found, beats in the part.

    Returns
    -------
    Beat
    """
    found = [
        sharpest_beat(
            levels,
            angle,
            floor,
            fewest=max(4.0, beats * octave - 1),
            most=beats * octave + 1,
            harmonics=FINE_HARMONICS,
        )
        for octave in OCTAVES
    ]
    most = max(beat.surprise for beat in found)
    return next(beat for beat in found if beat.surprise >= NEARLY * most)
