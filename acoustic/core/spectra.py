"""Whitened order spectra of equalised levels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HIGHEST_ORDER = 100.0
PADDING = 6
STRONG_LINE = 8.0


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
    runs : tuple of (int, int)
        First and last band of each run, both counted in.
    turns : float
        Turns looked at; the resolution is about 1.2 over this.
    """

    orders: Floats
    power: Floats
    weight: Floats
    runs: tuple[tuple[int, int], ...]
    turns: float

    def __post_init__(self) -> None:
        self.power.flags.writeable = False
        self.weight.flags.writeable = False


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


def order_spectra(cells: Floats, *, turns: float, runs: tuple[tuple[int, int], ...]) -> OrderSpectra:
    """Compute whitened order spectra of sums over runs of bands.

    Parameters
    ----------
    cells : ndarray, shape (bands, n)
        Equalised levels in equal cells of crank angle.
    turns : float
        Turns the cells cover, > 0.
    runs : tuple of (int, int)
        First and last band of each run.

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
    taper = np.kaiser(n, 3.5)
    spread = cells - np.mean(cells, axis=1, keepdims=True)
    scale = np.sqrt(np.mean(spread**2, axis=1, keepdims=True))
    spread = spread / np.maximum(scale, 1e-12) * taper
    length = _even_fast(n * PADDING)
    keep = min(length // 2, int(HIGHEST_ORDER * turns * length / n)) + 1
    lines = np.fft.rfft(spread, length, axis=1)[:, :keep]
    running = np.concatenate([np.zeros((1, keep), dtype=complex), np.cumsum(lines, axis=0)])
    power = np.stack([np.abs(running[last + 1] - running[first]) ** 2 for first, last in runs])
    orders = np.arange(keep) * n / (length * turns)
    whitened = power / _floor(power, orders)
    return OrderSpectra(orders, whitened, tempered(whitened), runs, turns)


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
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        inside = slice(*(int(k) for k in np.searchsorted(orders, [low, high])))
        if inside.stop - inside.start >= 4:
            spots.append(math.log((low + high) / 2))
            levels.append(np.log(np.median(power[:, inside], axis=1) / math.log(2) + 1e-30))
    at = np.log(np.maximum(orders, 1e-3))
    return np.exp(np.stack([np.interp(at, spots, row) for row in np.array(levels).T]))


def _even_fast(least: int) -> int:
    """Power of two, or three times one, at or above `least`."""
    two = 2 ** math.ceil(math.log2(least))
    return two * 3 // 4 if two * 3 // 4 >= least else two
