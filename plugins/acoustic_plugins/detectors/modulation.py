"""Low-order amplitude modulation: running noise that swells and fades twice a turn of crank or cage.

Twice the cage's order lies 0.1 below the crank's, too near to be resolved in fewer than some twenty turns: what
rises and falls once a turn is taken out first, and must be outdone. Words and engines vary near these orders as
well: a neighbouring order that explains more counts against.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from bottleneck import median
from numpy.typing import NDArray

from acoustic.api import BandBank, running_median

Floats = NDArray[np.float64]

LOWEST_HZ = 500.0  # below, hum and handling are louder than any bearing
BINS_A_TURN = 16  # eight times the second order
FEWEST_TURNS = 6  # fewer do not part once a turn from twice a cage turn, 0.9 (judgement)
TREND_TURNS = 2.0  # what changes more slowly is the run-down
BESIDE = np.array([-1.2, -0.8, -0.4, 0.4, 0.8, 1.2])  # over the turns: orders that a true line outdoes
SLIP = 0.015  # of twice the cage's order
NEAR_ORDERS = (0.45, 4.5)  # the floor is read off here, and off those within a factor 2 of the order
LOBE = 2.0  # half width of a line under the window, over the turns
MOST_DB = 6.0  # over the trend: what is louder is a knock or talk
# A bearing that runs free swells a little as well: seals, grease and arms that pass the phone. How much
# is judgement of this project: 0.4 dB (root mean square) makes 1 dB, about the least that is heard, rare.
HEALTHY_DB = 0.4


@dataclass(frozen=True, slots=True)
class Modulation:
    """Rise and fall of the running noise at one low order.

    Attributes
    ----------
    order : float
        Where it is clearest, within the slip.
    expected_order : float
    score : float
        How far it stands over noise and over what swells once a turn, in units in which noise
        is exponential with mean 1; below 0 where the once-a-turn swell is the stronger one.
    depth_db : float
        From its mean to its top [dB].
    """

    order: float
    expected_order: float
    score: float
    depth_db: float


def level_over_trend(bank: BandBank, times_s: Floats, turns: Floats) -> Floats:
    """Level of the running noise in equal bins of crank angle, less its slow course.

    Parameters
    ----------
    bank : BandBank
    times_s, turns : ndarray, shape (k,)
        The crank's angle [turns] against time [s].

    Returns
    -------
    ndarray, shape (16 turns,)
        Mean over the bands of their median level in the bin [dB], within 6 dB.
    """
    lowest = bank.first_band(LOWEST_HZ)
    bins = int((turns[-1] - turns[0]) * BINS_A_TURN)
    edges_s = np.interp(turns[0] + np.arange(bins + 1) / BINS_A_TURN, turns, times_s)
    frame = np.clip(np.round((edges_s - bank.first_s) / bank.frame_s).astype(np.intp), 0, bank.power.shape[1] - 1)
    # The median of a bin leaves clicks out.
    middle = [median(bank.power[lowest:, a : max(a + 1, b)], axis=1) for a, b in pairwise(frame)]
    bin_db = 10 * np.log10(np.stack(middle, axis=1) + 1e-20).mean(axis=0)
    span = TREND_TURNS * BINS_A_TURN
    usual_db = running_median(bin_db, round(span), edge="symmetric")
    bin_db = usual_db + np.clip(bin_db - usual_db, -MOST_DB, MOST_DB)
    over: Floats = bin_db - _smooth(bin_db, span / 4)
    return over


def _smooth(values: Floats, spread: float) -> Floats:
    """Weighted mean of the values about each one; the weights are a normal law's, cut off at four deviations."""
    reach = round(4 * spread)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / spread) ** 2)
    return np.convolve(np.pad(values, reach, mode="symmetric"), weights / weights.sum(), mode="valid")


def low_order_modulation(bank: BandBank, times_s: Floats, turns: Floats, cage: float) -> Modulation | None:
    """Measure the swell of the running noise twice a turn of the crank and twice a turn of the cage.

    Parameters
    ----------
    bank : BandBank
    times_s, turns : ndarray, shape (k,)
    cage : float
        Turns of the cage a crank turn, about 0.4.

    Returns
    -------
    Modulation or None
        The clearer of the two; None where there are fewer than six turns.

    Notes
    -----
    Twice the cage's order lies 0.1 below the crank's own, which a window over fewer than some
    twenty turns does not separate: a swell once a turn shows there as well. So each order is
    measured on what a swell once a turn, of an amplitude that changes evenly over the
    recording, does not explain; it must explain more by itself than the once-a-turn swell
    does, or it may be that swell's leakage or its second harmonic; and what a neighbouring order
    explains better, as the rhythm of talk does, is taken off.
    """
    made = float(turns[-1] - turns[0])
    if made < FEWEST_TURNS:
        return None
    over = level_over_trend(bank, times_s, turns)
    angle = np.arange(over.size) / BINS_A_TURN
    window = np.hanning(over.size)
    seen = over * window
    once = _waves(np.array([1.0]), angle, window)
    ramp = np.linspace(-1, 1, over.size)[:, np.newaxis]
    basis = np.linalg.qr(np.hstack([once.real, once.imag, ramp * once.real, ramp * once.imag]))[0]
    left = seen - basis @ (basis.T @ seen)
    near = np.arange(*NEAR_ORDERS, 1 / made)
    noise = _waves(near, angle, window)
    noise_power = _explained(left, noise - basis @ (basis.T @ noise))
    reach = SLIP * 2 * cage
    orders = np.array([2.0, *(2 * cage + np.arange(-reach, reach + 1e-9, 1 / (4 * made)))])
    waves = _waves(orders, angle, window)
    own = waves - basis @ (basis.T @ waves)
    floor = np.array([_floor(noise_power, near, order, LOBE / made) for order in orders])
    usual = floor + HEALTHY_DB**2 * np.sum(np.abs(own) ** 2, axis=0) / 4
    power = _explained(seen, waves)
    beside = orders + BESIDE[:, np.newaxis] / made
    loudest = _explained(seen, _waves(beside.ravel(), angle, window)).reshape(beside.shape).max(axis=0)
    least = np.minimum(_explained(left, own), power - _explained(seen, once))
    score = (least - np.maximum(0, loudest - power)) / usual
    best = int(score.argmax())
    depth_db = 2 * float(np.abs(waves[:, best] @ seen)) / float(window @ window)
    return Modulation(float(orders[best]), 2.0 if best == 0 else 2 * cage, float(score[best]), depth_db)


def _floor(power: Floats, near: Floats, order: float, lobe: float) -> float:
    """Mean power of noise at an order: what comes and goes slowly, as words do, has more at low orders."""
    beside = (np.abs(np.log2(near / order)) < 1) & (np.abs(near - order) > lobe)
    return max(float(np.median(power)), float(np.median(power[beside])) if beside.any() else 0.0) / math.log(2)


def _waves(orders: Floats, angle: Floats, window: Floats) -> NDArray[np.complex128]:
    """Cosines and sines of orders under the window, shape (bins, orders)."""
    waves: NDArray[np.complex128] = np.exp(2j * np.pi * np.outer(angle, orders)) * window[:, np.newaxis]
    return waves


def _explained(values: Floats, waves: NDArray[np.complex128]) -> Floats:
    """Power of values along each pair of waves, however oblique the two, shape (orders,)."""
    cosine, sine = waves.real, waves.imag
    a, b = values @ cosine, values @ sine
    aa, bb, ab = (np.einsum("ij,ij->j", x, y) for x, y in ((cosine, cosine), (sine, sine), (cosine, sine)))
    power: Floats = (a**2 * bb - 2 * a * b * ab + b**2 * aa) / (aa * bb - ab**2)
    return power
