"""Whitened order spectra of log-limited levels, in groups of bands.

All groups of neighbouring bands are kept, and the evidence chooses among them; the chance pays for the search.
Choosing one band by kurtosis picks bands full of knocks and grit. The price is a little sensitivity where one
band alone would do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Floats, lock_fields

HIGHEST_ORDER = 116.0  # ten harmonics of the inner ring of most balls
PADDING = 4  # bins a line: a line falls an eighth of its width beside one at most
FLOOR_QUANTILE = 0.5  # the median: up to half of the bins may be lines
# The floor is taken over so many orders, and so many bins that noise shows: narrow enough that the skirts of a
# strong line count as floor, wide enough that a main line with its sidebands does not fill it.
FLOOR_ORDERS = 3.0
# Judgement: pieces of three orders hold enough bins for a median, and are narrow enough to follow a resonance.
FLOOR_RESOLVED = 24
FLOOR_PIECES = 4  # a piece: the floor is drawn between the middles


@dataclass(frozen=True, slots=True, eq=False)
class OrderSpectra:
    """Whitened order spectra of the envelopes of groups of neighbouring bands.

    Attributes
    ----------
    orders : ndarray, shape (m,)
        Events a crank turn, from 0 in equal steps, finer than the resolution.
    power : ndarray, shape (groups, m)
        Power over the local floor: without lines, nearly exponential with mean 1.
    groups : tuple of (int, int)
        First and last band of each group, both counted in.
    turns : float
        Turns looked at; the resolution is about 1.2 over this.
    """

    orders: Floats
    power: Floats
    groups: tuple[tuple[int, int], ...]
    turns: float

    def __post_init__(self) -> None:
        lock_fields(self, "orders", "power")

    @property
    def step(self) -> float:
        """Order from one bin to the next."""
        return float(self.orders[1])


def band_groups(bands: int, *, lowest: int) -> tuple[tuple[int, int], ...]:
    """List groups of 1, 3, 5, 8 and all bands, half overlapping, from `lowest` up."""
    groups: list[tuple[int, int]] = []
    count = bands - lowest
    for width in (1, 3, 5, 8, count):
        if width > count or (groups and width == count and (lowest, bands - 1) in groups):
            continue
        step = max(1, width // 2)
        for first in range(lowest, bands - width + 1, step):
            if (first, first + width - 1) not in groups:
                groups.append((first, first + width - 1))
    return tuple(groups)


def order_spectra(
    angle_bins: Floats, *, turns: float, groups: tuple[tuple[int, int], ...], highest_order: float = HIGHEST_ORDER
) -> OrderSpectra:
    """Compute whitened order spectra of sums over groups of bands.

    Parameters
    ----------
    angle_bins : ndarray, shape (bands, n)
        Equalised levels in equal bins of crank angle.
    turns : float
        Turns that the bins cover, > 0.
    groups : tuple of (int, int)
        First and last band of each group.
    highest_order : float
        Highest order the levels can carry; at most 116 is kept.

    Returns
    -------
    OrderSpectra

    References
    ----------
    Borghesani et al., Mechanical Systems and Signal Processing 40 (2013) 38-55
    (from memory): bins of the envelope spectrum of whitened Gaussian noise are
    chi-square with 2 degrees of freedom, that is, exponential.
    """
    n = angle_bins.shape[1]
    length = _even_fast(n * PADDING)
    keep = min(length // 2, int(min(highest_order, HIGHEST_ORDER) * turns * length / n)) + 1
    orders = np.arange(keep) * n / (length * turns)
    power = _group_power(angle_bins, groups, length=length, keep=keep)
    return OrderSpectra(orders, power / _floor(power, step=float(orders[1]), turns=turns), groups, turns)


def _group_power(angle_bins: Floats, groups: tuple[tuple[int, int], ...], *, length: int, keep: int) -> Floats:
    """Power of the sum over each group of equally scaled bands, shape (groups, keep)."""
    spread = angle_bins - np.mean(angle_bins, axis=1, keepdims=True)
    scale = np.sqrt(np.mean(spread**2, axis=1, keepdims=True))
    spread = spread / np.maximum(scale, 1e-12) * np.kaiser(angle_bins.shape[1], 3.5)
    lines = np.fft.rfft(spread, length, axis=1)[:, :keep]
    running = np.concatenate([np.zeros((1, keep), dtype=complex), np.cumsum(lines, axis=0)])
    groups_lines = running[[last + 1 for _, last in groups]] - running[[first for first, _ in groups]]
    power: Floats = groups_lines.real**2 + groups_lines.imag**2
    return power


def _floor(power: Floats, *, step: float, turns: float) -> Floats:
    """Floor under the lines: the running median over a few orders, as exponential noise would have its mean."""
    width = max(FLOOR_ORDERS, FLOOR_RESOLVED * 1.2 / turns)
    piece = max(1, min(round(width / FLOOR_PIECES / step), power.shape[1] // FLOOR_PIECES))
    pieces = power.shape[1] // piece
    cut = power[:, : pieces * piece].reshape(power.shape[0], pieces, piece)
    before = FLOOR_PIECES // 2
    padded = np.pad(cut, ((0, 0), (before, FLOOR_PIECES - 1 - before), (0, 0)), mode="edge")
    about = np.concatenate([padded[:, k : k + pieces] for k in range(FLOOR_PIECES)], axis=2)
    middle = about.shape[2] // 2
    level = np.log(np.partition(about, middle, axis=2)[:, :, middle] / -math.log(1 - FLOOR_QUANTILE) + 1e-30)
    at, bins = (np.arange(pieces) + 0.5) * piece, np.arange(power.shape[1]) + 0.5
    floor: Floats = np.exp(np.stack([np.interp(bins, at, row) for row in level]))
    return floor


def _even_fast(least: int) -> int:
    """Power of two, or three times one, at or above `least`."""
    two = 1 << math.ceil(math.log2(least))
    return two * 3 // 4 if two * 3 // 4 >= least else two
