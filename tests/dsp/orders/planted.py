"""Order spectra written by hand, and levels over crank angle with strikes where they are wanted."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.orders.spectrum import OrderSpectra, band_groups, order_spectra
from acoustic.dsp.orders.tracking import BINS_A_TURN, AngleLevels

Floats = NDArray[np.float64]
HIGHEST = 116


def flat(lines: dict[float, float], *, turns: float = 10.0, row: int = 0, rows: int = 2) -> OrderSpectra:
    """Groups whose power is 1 everywhere but at the lines given, order: power, in one row.

    A real line's top, 1.2/turns wide, spans some five bins; here five are equally high.
    """
    steps = round(4 * turns)
    power = np.ones((rows, HIGHEST * steps + 1))
    for order, height in lines.items():
        middle = round(order * steps)
        power[row, max(0, middle - 2) : middle + 3] = height
    return OrderSpectra(np.arange(HIGHEST * steps + 1) / steps, power, groups_of(rows), turns)


def noisy(lines: dict[float, float], *, turns: float = 12.0, rows: int = 3, seed: int = 1) -> OrderSpectra:
    """Independent exponential bins, a line in all rows, in each next one a little higher."""
    steps = round(4 * turns)
    power = np.random.default_rng(seed).exponential(size=(rows, HIGHEST * steps + 1))
    for order, height in lines.items():
        power[:, round(order * steps)] = height * (1 + 0.2 * np.arange(rows))
    return OrderSpectra(np.arange(HIGHEST * steps + 1) / steps, power, groups_of(rows), turns)


def groups_of(rows: int) -> tuple[tuple[int, int], ...]:
    return tuple((band, band) for band in range(rows))


def train(order: float, height: float, *, harmonics: Iterable[int] = range(1, 11)) -> dict[float, float]:
    """Harmonics, all of one power."""
    return {order * k: height for k in harmonics}


def strikes(order: float, *, turns: float = 12.0, first: float = 0.2) -> Floats:
    """Angles [turns] of strikes, `order` times a turn."""
    at: Floats = np.arange(first, turns * order - 0.5) / order
    return at


def levels_with(
    *trains: tuple[Floats, Floats | float],
    swell: Floats | float = 0.0,
    turns: float = 12.0,
    bands: int = 6,
    seed: int = 1,
) -> AngleLevels:
    """Exponential noise of mean 1 plus `swell`, to which each train adds its heights at its angles [turns]."""
    bins = np.random.default_rng(seed).exponential(size=(bands, round(turns * BINS_A_TURN))) * (1 + swell)
    for at, heights in trains:
        bins[:, (at * BINS_A_TURN).astype(int)] += heights
    return AngleLevels(np.log1p(bins), bins, turns, np.geomspace(1000.0, 7000.0, bands))


def spectra_of(levels: AngleLevels) -> OrderSpectra:
    """Their order spectra, over all groups of bands."""
    groups = band_groups(len(levels.compressed), lowest=0)
    return order_spectra(levels.compressed, turns=levels.turns, groups=groups)
