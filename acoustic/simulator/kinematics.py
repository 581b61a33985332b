"""Crank angle against time, for a push and coast and for pedalling."""

from __future__ import annotations

import math

import numpy as np

from acoustic.dsp.arrays import Floats


def run_down(
    times_s: Floats, *, start_hz: float, coulomb_hz_per_s: float, viscous_per_s: float
) -> tuple[Floats, Floats]:
    """Coast down under dry (Coulomb) and viscous drag.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Time since the push ended [s], from 0.
    start_hz : float
        Speed at time 0 [turns/s], > 0.
    coulomb_hz_per_s : float
        Deceleration that does not depend on speed [turns/s^2], > 0.
    viscous_per_s : float
        Deceleration over speed [1/s], > 0.

    Returns
    -------
    turns, speed_hz : ndarray, shape (n,)
        Angle [turns] and speed [turns/s]; both stay put once the crank stands.

    References
    ----------
    dw/dt = -c - b w, so w = (w0 + c/b) exp(-b t) - c/b: textbook mechanics of
    a wheel with dry and viscous drag.
    """
    ratio = coulomb_hz_per_s / viscous_per_s
    stop_s = math.log(1 + start_hz / ratio) / viscous_per_s
    t = np.minimum(times_s, stop_s)
    fade = np.exp(-viscous_per_s * t)
    turns = (start_hz + ratio) * (1 - fade) / viscous_per_s - ratio * t
    speed = np.where(times_s < stop_s, (start_hz + ratio) * fade - ratio, 0.0)
    return turns, speed


def coast_drag(*, start_hz: float, turns: float, viscous_share: float) -> tuple[float, float]:
    """Find the two drags that stop a crank after a number of turns.

    Parameters
    ----------
    start_hz : float
        Speed when let go [turns/s], > 0.
    turns : float
        Turns until it stands, > 0.
    viscous_share : float
        Share of the drag at the start that is viscous, 0 < share < 1.

    Returns
    -------
    coulomb_hz_per_s, viscous_per_s : float
    """
    # With b = k w0 / turns and c set by the share, the turns made scale as 1/k: one step solves it.
    viscous = 1.0 * start_hz / turns
    coulomb = viscous * start_hz * (1 - viscous_share) / viscous_share
    ratio = coulomb / viscous
    stop_s = math.log(1 + start_hz / ratio) / viscous
    made = (start_hz - ratio * viscous * stop_s) / viscous
    scale = made / turns
    return coulomb * scale, viscous * scale


def pedalled(
    times_s: Floats, *, mean_hz: float, wobble: float, drift: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Steady pedalling: speed wobbles twice a turn and drifts slowly.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Equally spaced times [s].
    mean_hz : float
        Mean speed [turns/s], > 0.
    wobble : float
        Amplitude of the twice-a-turn wobble over the mean, 0 <= wobble < 0.5.
    drift : float
        Amplitude of the slow drift over the mean, 0 <= drift < 0.3.
    rng : numpy.random.Generator

    Returns
    -------
    turns, speed_hz : ndarray, shape (n,)
    """
    period_s = rng.uniform(5.0, 9.0)
    phase = rng.uniform(0, 2 * np.pi)
    slow = 1 + drift * np.sin(2 * np.pi * times_s / period_s + phase)
    step_s = float(times_s[1] - times_s[0])
    rough_turns = np.cumsum(mean_hz * slow) * step_s
    speed = mean_hz * slow * (1 + wobble * np.sin(4 * np.pi * rough_turns))
    turns = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2) * step_s])
    return turns, speed
