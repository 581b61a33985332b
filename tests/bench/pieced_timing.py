"""How a crank turns and when the damage strikes, for spins pieced together.

Written without the simulator's code, so that an error of the one is not the other's too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.geometry import BearingGeometry
from acoustic.simulator import SpinPlan

Floats = NDArray[np.float64]
STEP_S = 0.001


def crank_motion(plan: SpinPlan, rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Crank angle and speed of a plan, step by step.

    Parameters
    ----------
    plan : SpinPlan
    rng : numpy.random.Generator

    Returns
    -------
    times_s, turns, speed_hz : ndarray, shape (k,)
        Every millisecond of the recording.
    """
    times_s = np.arange(round(plan.duration_s / STEP_S) + 1) * STEP_S
    speed_hz = _coasting(plan, times_s, rng) if plan.spin == "hand" else _driven(plan, times_s, rng)
    turns = np.concatenate([[0.0], np.cumsum((speed_hz[1:] + speed_hz[:-1]) / 2 * STEP_S)])
    return times_s, turns, speed_hz


def _coasting(plan: SpinPlan, times_s: Floats, rng: np.random.Generator) -> Floats:
    """A push, then dry and viscous drag by steps; one arm a little heavier than the other."""
    share = plan.viscous_share
    # Turns made at a drag of one at the start: the time scale makes them those asked for.
    speed, made = 1.0, 0.0
    while speed > 0:
        made += speed * 1e-4
        speed -= (1 - share + share * speed) * 1e-4
    drag = plan.start_hz**2 * made / plan.turns
    heavy = rng.uniform(0, 0.02) * plan.start_hz**2
    side = rng.uniform()
    push_s = 0.4
    speed_hz = np.zeros(times_s.size)
    now, angle = 0.0, 0.0
    end_s = plan.duration_s - plan.still_s[1]
    for k, time_s in enumerate(times_s):
        since_s = time_s - plan.still_s[0]
        if since_s <= 0:
            continue
        if since_s < push_s:
            now = plan.start_hz * np.sin(np.pi / 2 * since_s / push_s) ** 2
        else:
            pull = heavy * np.sin(2 * np.pi * (angle + side))
            now -= STEP_S * (drag * (1 - share + share * now / plan.start_hz) + pull)
        if now <= 0 or time_s > end_s:
            break
        angle += now * STEP_S
        speed_hz[k] = now
    return speed_hz


def _driven(plan: SpinPlan, times_s: Floats, rng: np.random.Generator) -> Floats:
    """Legs: a cadence that wanders, quicker as each leg pushes, begun and ended within half a second."""
    steady = plan.spin == "steady"
    slow = rng.standard_normal(times_s.size // 1000 + 4)
    wander = np.interp(times_s, np.arange(slow.size) - 1.0, _smoothed(slow)) * (0 if steady else plan.drift)
    cadence_hz = plan.start_hz * (1 + wander)
    angle = np.cumsum(cadence_hz) * STEP_S
    if not steady:
        cadence_hz = cadence_hz * (1 + plan.wobble * np.sin(4 * np.pi * (angle + rng.uniform())))
    edge_s = 0.02 if steady else 0.4
    since_s, left_s = times_s - plan.still_s[0], plan.duration_s - plan.still_s[1] - times_s
    driven: Floats = cadence_hz * np.clip(np.minimum(since_s, left_s) / edge_s, 0, 1)
    return driven


def _smoothed(values: Floats) -> Floats:
    """Running mean of five, unit standard deviation."""
    smooth = np.convolve(values, np.ones(5) / 5, mode="same")
    unit: Floats = smooth / max(float(np.std(smooth)), 1e-9)
    return unit


@dataclass(frozen=True, slots=True, eq=False)
class Rolling:
    """How the cage goes round with the crank: the one angle that every part's rhythm follows from.

    Attributes
    ----------
    geometry : BearingGeometry
    crank, cage : ndarray, shape (k,)
        Angles [turns], the cage's with a slip that wanders slowly.
    """

    geometry: BearingGeometry
    crank: Floats
    cage: Floats

    def phase(self, part: str) -> Floats:
        """Passes so far of a part, at each crank angle.

        Parameters
        ----------
        part : {'outer_raceway', 'inner_raceway', 'ball', 'cage'}

        Returns
        -------
        ndarray, shape (k,)
        """
        balls = self.geometry.balls
        if part == "inner_raceway":
            return balls * (self.crank - self.cage)
        if part == "ball":
            # Rolling along the outer ring by the cage's way turns a ball about itself, and it strikes twice.
            return 2 * self.cage * (1 + self.geometry.pitch_diameter_mm / self.geometry.ball_diameter_mm)
        return self.cage * (balls if part == "outer_raceway" else 1)


def rolling(plan: SpinPlan, total_turns: float, rng: np.random.Generator) -> Rolling:
    """Integrate the cage's angle along the crank's.

    Parameters
    ----------
    plan : SpinPlan
    total_turns : float
    rng : numpy.random.Generator

    Returns
    -------
    Rolling
    """
    crank = np.linspace(0, total_turns, max(2, int(total_turns * 400)))
    fraction = _cage_fraction(plan.geometry) * (1 - plan.slip * _wander(crank, 0.5, rng))
    cage = np.concatenate([[0.0], np.cumsum((fraction[1:] + fraction[:-1]) / 2 * np.diff(crank))])
    return Rolling(plan.geometry, crank, cage)


def damage_passes(
    plan: SpinPlan, part: str, roll: Rolling, rng: np.random.Generator
) -> tuple[Floats, NDArray[np.intp], Floats]:
    """Crank angles at which damage is struck, by which ball, and under what load.

    Parameters
    ----------
    plan : SpinPlan
    part : {'outer_raceway', 'inner_raceway', 'ball', 'cage'}
    roll : Rolling
    rng : numpy.random.Generator

    Returns
    -------
    turns : ndarray, shape (k,)
    ball : ndarray of int, shape (k,)
        Which ball, or which of a damaged ball's two contacts.
    load : ndarray, shape (k,)
        About 0 to 1.
    """
    phase = roll.phase(part) + rng.uniform()
    whole = np.arange(1, int(phase[-1]) + 1)
    # A ball's play in its pocket moves single strikes; it does not add up.
    at = np.interp(whole + 1.5 * plan.jitter * rng.standard_normal(whole.size), phase, roll.crank)
    at = np.sort(at)
    ball = np.mod(-whole if part == "inner_raceway" else whole, 2 if part == "ball" else plan.geometry.balls)
    if part in ("inner_raceway", "ball"):
        angle = at if part == "inner_raceway" else np.interp(at, roll.crank, roll.cage)
        load = 1 - plan.load_zone * (1 - np.clip(np.cos(2 * np.pi * (angle + rng.uniform())), 0, 1) ** 1.1)
        if part == "ball":
            # A ball's axis tumbles, so that its flaw leaves the tracks and comes back.
            load = load * np.clip(np.interp(at, roll.crank, _wander(roll.crank, 0.5, rng)), 0.1, 1.2)
    else:
        # The load stands still over an outer ring, but legs press twice a turn, and a heavier arm once.
        times, depth = (2, rng.uniform(0.1, 0.4)) if plan.spin == "pedal" else (1, rng.uniform(0, 0.15))
        load = 1 + depth * np.cos(2 * np.pi * (times * at + rng.uniform()))
    return at, ball.astype(np.intp), load


def _cage_fraction(geometry: BearingGeometry) -> float:
    """Turns of the cage for one of the crank."""
    tilt = np.cos(np.radians(geometry.contact_angle_deg))
    return float((1 - geometry.ball_diameter_mm / geometry.pitch_diameter_mm * tilt) / 2)


def _wander(crank: Floats, spread: float, rng: np.random.Generator) -> Floats:
    """About 1, wandering by so much within a few turns."""
    knots = rng.standard_normal(int(crank[-1] / 2) + 4)
    return np.interp(crank, np.arange(knots.size) * 2.0, 1 + spread * knots)
