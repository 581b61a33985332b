"""Running noise that swells and fades a few times a turn, as where a crank runs notchy."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acoustic.core.envelope import BandBank

Floats = NDArray[np.float64]

LOWEST_HZ = 500.0
CELLS_A_TURN = 32
FEWEST_TURNS = 6
TREND_TURNS = 2.0  # what changes more slowly is the run-down
TOLERANCE = 0.015  # of an order that slips
NEAR_ORDERS = (0.75, 4.5)  # the floor is read off here
MOST_DB = 6.0  # over the trend: what is louder is a knock or talk


@dataclass(frozen=True, slots=True)
class Swell:
    """Rise and fall of the running noise at one order.

    Attributes
    ----------
    order : float
        Where it is clearest, within the tolerance.
    expected_order : float
    chance : float
        That noise swells as much there, the width searched counted in.
    depth_db : float
        From its mean to its top.
    """

    order: float
    expected_order: float
    chance: float
    depth_db: float


def level_over_trend(bank: BandBank, times_s: Floats, turns: Floats) -> Floats:
    """Level of the running noise in cells of crank angle, less its slow course.

    Parameters
    ----------
    bank : BandBank
    times_s, turns : ndarray, shape (k,)
        The crank's angle [turns] against time [s].

    Returns
    -------
    ndarray, shape (32 turns,)
        Mean over the bands of their median level in the cell [dB], within 6 dB.
    """
    from scipy.ndimage import gaussian_filter1d, median_filter

    lowest = bank.first_band(LOWEST_HZ)
    cells = int((turns[-1] - turns[0]) * CELLS_A_TURN)
    edges_s = np.interp(turns[0] + np.arange(cells + 1) / CELLS_A_TURN, turns, times_s)
    frame = np.clip(np.round((edges_s - bank.first_s) / bank.frame_s).astype(np.intp), 0, bank.power.shape[1] - 1)
    level_db = 10 * np.log10(bank.power[lowest:] + 1e-20)
    # The median of a cell leaves clicks out.
    cell_db = np.stack([np.median(level_db[:, a : max(a + 1, b)], axis=1) for a, b in pairwise(frame)], axis=1)
    cell_db = cell_db.mean(axis=0)
    span = TREND_TURNS * CELLS_A_TURN
    usual_db = median_filter(cell_db, size=round(span))
    cell_db = usual_db + np.clip(cell_db - usual_db, -MOST_DB, MOST_DB)
    over: Floats = cell_db - gaussian_filter1d(cell_db, span / 4)
    return over


def swells(bank: BandBank, times_s: Floats, turns: Floats, orders: Sequence[tuple[float, bool]]) -> list[Swell]:
    """Measure the swell of the running noise at low orders.

    Parameters
    ----------
    bank : BandBank
    times_s, turns : ndarray, shape (k,)
    orders : sequence of (float, bool)
        Order, 0.8 to 4, and whether it may slip by 1.5 per cent.

    Returns
    -------
    list of Swell
        Empty where there are fewer than six turns.

    Notes
    -----
    Without a swell each line of the spectrum is exponential about the floor, which is the median
    of the lines from order 0.75 to 4.5 over ln 2.
    """
    made = float(turns[-1] - turns[0])
    if made < FEWEST_TURNS:
        return []
    over = level_over_trend(bank, times_s, turns)
    window = np.hanning(over.size)
    angle = np.arange(over.size) / CELLS_A_TURN
    resolution = CELLS_A_TURN / over.size
    near = np.arange(NEAR_ORDERS[0], NEAR_ORDERS[1], resolution)
    floor = float(np.median(_power(over * window, angle, near))) / math.log(2)
    found = []
    for order, slips in orders:
        reach = TOLERANCE * order if slips else 0.0
        tried = order + np.arange(-reach, reach + 1e-9, resolution / 4)
        power = _power(over * window, angle, tried)
        best = int(power.argmax())
        places = 1 + 2 * reach / resolution
        chance = -math.expm1(places * math.log1p(-math.exp(-float(power[best]) / max(floor, 1e-30)) * (1 - 1e-12)))
        depth_db = 2 * math.sqrt(float(power[best])) / float(window.sum())
        found.append(Swell(float(tried[best]), order, chance, depth_db))
    return found


def _power(values: Floats, angle: Floats, orders: Floats) -> Floats:
    """Squared Fourier sums at any orders, shape (k,)."""
    power: Floats = np.abs(np.exp(-2j * np.pi * np.outer(orders, angle)) @ values) ** 2
    return power
