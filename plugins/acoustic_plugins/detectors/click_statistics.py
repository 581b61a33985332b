"""What clicks say of dirt: which are strikes, which keep a rhythm, whether they follow the crank."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from acoustic.api import Clicks, binomial_tail

Floats = NDArray[np.float64]

LEAST_HEIGHT = 7.0  # robust standard deviations: of those below, talk and running noise make as many
IN_STEP = 0.15  # clicks nearer to an impact than this share of the interval belong to it (judgement)
FEWEST_BANDS, BAND_NATS = 2, 0.7  # a strike rings in more than one third-octave band, a codec's hole may not


def plain_clicks(clicks: Clicks) -> Clicks:
    """Keep the clicks that are high and broad enough to be strikes."""
    broad = np.count_nonzero(clicks.spectrum > BAND_NATS, axis=1) >= FEWEST_BANDS
    kept = broad & (clicks.strength >= LEAST_HEIGHT)
    return replace(
        clicks,
        times_s=clicks.times_s[kept],
        strength=clicks.strength[kept],
        power=clicks.power[kept],
        spectrum=clicks.spectrum[kept],
    )


def rhythm(turns: Floats, *, highest_order: float = 16.0) -> tuple[float, float, Floats]:
    """Find the steadiest rhythm in a set of crank angles.

    Parameters
    ----------
    turns : ndarray, shape (k,)
        Crank angles of the clicks [turns].
    highest_order : float
        Highest rhythm to look for, events a turn.

    Returns
    -------
    order : float
    chance : float
        Chance that angles at random keep any rhythm as well (Rayleigh's test,
        all orders searched counted in).
    offset : ndarray, shape (k,)
        How far each click is from the beat, over the interval, 0 to 0.5.

    References
    ----------
    K. V. Mardia and P. E. Jupp, Directional Statistics (2000), section 6.3 (from
    memory): P(R^2 / n > z) is near exp(-z).
    """
    if turns.size < 6:
        return 0.0, 1.0, np.full(turns.size, 0.5)
    span = float(turns.max() - turns.min())
    orders = np.arange(0.8, highest_order, 0.2 / max(span, 1.0))
    vectors = np.exp(2j * np.pi * np.outer(orders, turns)).sum(axis=1)
    z = np.abs(vectors) ** 2 / turns.size
    best = int(z.argmax())
    tried = max(1.0, span * highest_order * 1.5)
    chance = -math.expm1(-tried * math.exp(-float(z[best])))
    return float(orders[best]), chance, off_rhythm(turns, float(orders[best]))


def keeps_pace(turns: Floats, order: float) -> float:
    """Chance that clicks at random keep so many impacts a turn as well, by Rayleigh's test of this order alone.

    Parameters
    ----------
    turns : ndarray, shape (k,)
        Crank angles of the clicks [turns].
    order : float
        Impacts a turn, > 0.

    Returns
    -------
    float
        exp(-R^2 / n), see `rhythm`; 1 without clicks.
    """
    if turns.size == 0:
        return 1.0
    return math.exp(-(abs(np.exp(2j * np.pi * order * turns).sum()) ** 2) / turns.size)


def off_rhythm(turns: Floats, order: float) -> Floats:
    """Measure how far each click is from the impacts that come so many times a turn.

    Parameters
    ----------
    turns : ndarray, shape (k,)
        Crank angles of the clicks [turns].
    order : float
        Impacts a turn, > 0.

    Returns
    -------
    ndarray, shape (k,)
        Share of the interval, 0 to 0.5, from where the clicks lie closest together: a spall is met where it
        begins and again where it ends, and the mean of all clicks would lie between the two.
    """
    phase = (turns * order) % 1
    apart = np.abs(phase[:, np.newaxis] - phase)
    near = np.minimum(apart, 1 - apart) <= IN_STEP
    dense = near[int(near.sum(axis=1).argmax())] if turns.size else np.zeros(0, dtype=bool)
    middle = np.angle(np.exp(2j * np.pi * phase[dense]).sum()) / (2 * np.pi)
    late = (phase - middle) % 1
    offset: Floats = np.minimum(late, 1 - late)
    return offset


def follows_crank(times_s: Floats, motion_times_s: Floats, motion_turns: Floats) -> float:
    """Log odds that clicks come evenly in crank angle rather than evenly in time.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
        Clicks within the turning part [s].
    motion_times_s, motion_turns : ndarray, shape (m,)
        Crank angle against time.

    Returns
    -------
    float
        Natural log of the likelihood ratio; 0 at constant speed.
    """
    if times_s.size == 0:
        return 0.0
    speed = np.gradient(motion_turns, motion_times_s)
    mean = (motion_turns[-1] - motion_turns[0]) / (motion_times_s[-1] - motion_times_s[0])
    return float(np.sum(np.log(np.maximum(np.interp(times_s, motion_times_s, speed), 1e-3) / mean)))


def more_than_expected(count: float, duration_s: float, quiet_count: int, quiet_s: float) -> float:
    """Chance of so many clicks, if they came no faster than in the still parts.

    Parameters
    ----------
    count : float
        Clicks in the turning part.
    duration_s : float
        Its length [s], > 0.
    quiet_count, quiet_s : int, float
        The same for the still parts; `quiet_s` may be 0, which tells nothing.

    Returns
    -------
    float
        Of all clicks at one rate, how many fall into the turning part is binomial with its share of the time
        (the conditional test of two Poisson rates: Przyborowski and Wilenski, Biometrika 31 (1940) 313-323,
        from memory).
    """
    if count < 1 or quiet_s <= 0:
        return 1.0
    turning = math.floor(count)
    return binomial_tail(turning, turning + quiet_count, duration_s / (duration_s + quiet_s))
