"""Whitened order spectra of equalised levels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HIGHEST_ORDER = 100.0
PADDING = 4
STRONG_LINE = 8.0
NOISE_SEED = 20


@dataclass(frozen=True, slots=True, eq=False)
class OrderSpectra:
    """Whitened order spectra of the envelopes of runs of neighbouring bands.

    Attributes
    ----------
    orders : ndarray, shape (m,)
        Events a crank turn, from 0 in equal steps, finer than the resolution.
    power : ndarray, shape (runs, m)
        Power over the local floor: without lines, exponential with mean 1.
    weight : ndarray, shape (runs, m)
        The same with strong lines tempered (see `tempered`).
    noise : ndarray, shape (runs, m)
        What Gaussian noise would show in their place: the same law, bin for bin
        as much alike as theirs. It is put where known lines are taken out.
    runs : tuple of (int, int)
        First and last band of each run, both counted in.
    turns : float
        Turns looked at; the resolution is about 1.2 over this.
    """

    orders: Floats
    power: Floats
    weight: Floats
    noise: Floats
    runs: tuple[tuple[int, int], ...]
    turns: float

    def __post_init__(self) -> None:
        for array in (self.orders, self.power, self.weight, self.noise):
            array.flags.writeable = False


def band_runs(bands: int, *, lowest: int) -> tuple[tuple[int, int], ...]:
    """List runs of 1, 2, 3, 5, 8 and all bands, half overlapping, from `lowest` up."""
    runs: list[tuple[int, int]] = []
    count = bands - lowest
    for width in (1, 2, 3, 5, 8, count):
        if width > count or (runs and width == count and (lowest, bands - 1) in runs):
            continue
        step = max(1, width // 2)
        for first in range(lowest, bands - width + 1, step):
            if (first, first + width - 1) not in runs:
                runs.append((first, first + width - 1))
    return tuple(runs)


def order_spectra(
    cells: Floats, *, turns: float, runs: tuple[tuple[int, int], ...], highest_order: float = HIGHEST_ORDER
) -> OrderSpectra:
    """Compute whitened order spectra of sums over runs of bands.

    Parameters
    ----------
    cells : ndarray, shape (bands, n)
        Equalised levels in equal cells of crank angle.
    turns : float
        Turns the cells cover, > 0.
    runs : tuple of (int, int)
        First and last band of each run.
    highest_order : float
        Highest order the levels can carry; at most 100 is kept.

    Returns
    -------
    OrderSpectra

    References
    ----------
    Borghesani et al., Mechanical Systems and Signal Processing 40 (2013) 38-55
    (from memory): bins of the envelope spectrum of whitened Gaussian noise are
    chi-square with 2 degrees of freedom, that is, exponential.
    """
    n = cells.shape[1]
    length = _even_fast(n * PADDING)
    keep = min(length // 2, int(min(highest_order, HIGHEST_ORDER) * turns * length / n)) + 1
    orders = np.arange(keep) * n / (length * turns)
    power = _run_power(cells, runs, length=length, keep=keep)
    whitened = power / _floor(power, orders)
    pure = _run_power(
        np.random.default_rng(NOISE_SEED).standard_normal(cells.shape), runs, length=length, keep=keep
    )
    noise = tempered(pure / pure.mean(axis=1, keepdims=True))
    return OrderSpectra(orders, whitened, tempered(whitened), noise, runs, turns)


def _run_power(cells: Floats, runs: tuple[tuple[int, int], ...], *, length: int, keep: int) -> Floats:
    """Power of the sum over each run of equally scaled bands, shape (runs, keep)."""
    spread = cells - np.mean(cells, axis=1, keepdims=True)
    scale = np.sqrt(np.mean(spread**2, axis=1, keepdims=True))
    spread = spread / np.maximum(scale, 1e-12) * np.kaiser(cells.shape[1], 3.5)
    lines = np.fft.rfft(spread, length, axis=1)[:, :keep]
    running = np.concatenate([np.zeros((1, keep), dtype=complex), np.cumsum(lines, axis=0)])
    return np.stack([np.abs(running[last + 1] - running[first]) ** 2 for first, last in runs])


def tempered(power: Floats) -> Floats:
    """Let a line past `STRONG_LINE` count by its logarithm.

    Waviness raises one line or two; damage raises many. So many lines weigh
    more than one strong one. Below the limit nothing changes, and so neither
    does the law under no defect, but for one line in 3000.

    Parameters
    ----------
    power : ndarray
        Whitened powers, any shape.

    Returns
    -------
    ndarray
        Same shape.
    """
    return np.where(power > STRONG_LINE, STRONG_LINE * (1 + np.log(np.maximum(power, 1) / STRONG_LINE)), power)


def _floor(power: Floats, orders: Floats) -> Floats:
    """Smooth floor under the lines: medians of stretches that widen with the order."""
    edges = np.concatenate([[0.15, 0.6, 1.3, 2.3], np.geomspace(3.6, orders[-1], 12)])
    spots, levels = [], []
    for low, high in pairwise(edges):
        inside = slice(*(int(k) for k in np.searchsorted(orders, [low, high])))
        if inside.stop - inside.start >= 4:
            spots.append(math.log((low + high) / 2))
            levels.append(np.log(np.median(power[:, inside], axis=1) / math.log(2) + 1e-30))
    at = np.log(np.maximum(orders, 1e-3))
    floor: Floats = np.exp(np.stack([np.interp(at, spots, row) for row in np.array(levels).T]))
    return floor


def _even_fast(least: int) -> int:
    """Power of two, or three times one, at or above `least`."""
    two = 1 << math.ceil(math.log2(least))
    return two * 3 // 4 if two * 3 // 4 >= least else two
