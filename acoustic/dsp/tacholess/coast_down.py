"""The run-down of a coasting crank, found from the rhythm of its impacts alone: its shape, not its scale.

A coasting crank obeys three numbers. Segments are scored over rate and slowing and put together along every
run-down, on impacts alone: neither talk nor automatic gain, which hide the rise and fall of the level, can hide
them. What keeps one pace is not taken for a coasting crank, since clocks and engines do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.tacholess.cycle_average import Delays, stretch_delays
from acoustic.dsp.tacholess.impact_levels import ImpactLevels
from acoustic.dsp.tacholess.impact_train import folded
from acoustic.dsp.tacholess.periodicity import LOWEST_HZ, RATE_STEP, SegmentScores

PUSH_S = 0.4  # a firm push by hand
# Grid: sharpened afterwards; between two of its steps a segment stays in reach.
STOP_STEP_S = 0.35
LATER_STOPS_S = (0.5, 1.2, 2.0, 3.5, 6.0, 10.0)  # past the recording's end
# Grid, from dry friction alone to a wet seal (judgement); sharpened afterwards.
DRAGS_PER_S = (0.0, 0.05, 0.1, 0.18, 0.3, 0.5)
SOONEST_S = 0.8  # of a segment's middle before the crank stands
COST = 0.85  # standard deviations that a segment must show to be counted to the train
OUTSIDE = -1.4  # for a rate past those that are looked for
# Judgement: a stop and a drag are fitted, and neighbouring segments share most of their sound.
FEWEST_SEGMENTS = 4
# Memory: the speed six times the lowest looked at; decides nothing.
BEFORE_STEPS = round(np.log(6.0) / RATE_STEP)
# Resolution: settles in three or four rounds.
MOST_ROUNDS = 8
# Resolution: a fiftieth of the way from one impact to the next.
SETTLED_IMPACTS = 0.02
SLIP_AN_IMPACT = 0.007  # in impacts: balls shift in their pockets
WIDEST_STEP = np.array([1.0, 0.1])  # of (stop, drag) in one round
# Judgement: the crank stops after its last impacts, and no drag takes more than this share of the speed a
# second.
LEAST_LEFT_S, MOST_DRAG = 0.1, 1.5
# Resolution: the speed changes far more slowly.
ANGLE_STEP_S = 0.01


@dataclass(frozen=True, slots=True)
class CoastDown:
    """A run-down under dry and viscous drag, and the part over which its impacts follow it.

    Attributes
    ----------
    stop_s : float
        When the crank stands [s].
    drag_per_s : float
        Viscous deceleration over speed [1/s].
    start_s, until_s : float
        The part in which segments speak for it [s].
    rate_hz : float
        Rate of the impacts at `start_s`.
    group : int
        Group of bands it is clearest in.
    score : float
        Sum over the segments, standard deviations.
    """

    stop_s: float
    drag_per_s: float
    start_s: float
    until_s: float
    rate_hz: float
    group: int
    score: float


def coast_speed(times_s: Floats, stop_s: float | Floats, drag_per_s: float | Floats) -> Floats:
    """Speed of a crank that coasts down under dry and viscous drag, but for a factor.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
    stop_s : float or ndarray, shape (n, 1)
        When it stands.
    drag_per_s : float or ndarray, shape (n, 1)
        Viscous deceleration over speed [1/s], >= 0.

    Returns
    -------
    ndarray, shape (k,) or (n, k)
        Proportional to the speed; 0 from `stop_s` on.

    Notes
    -----
    dw/dt = -c - b w with w = 0 at time T gives w proportional to (exp(b (T - t)) - 1) / b:
    textbook mechanics of a flywheel with Coulomb and viscous drag. T and b are the
    shape; the scale is the third number.
    """
    drag = np.maximum(drag_per_s, 1e-3)
    speed: Floats = np.expm1(drag * np.maximum(stop_s - times_s, 0.0)) / drag
    return speed


def coast_angle(times_s: Floats, stop_s: float | Floats, drag_per_s: float | Floats) -> Floats:
    """Angle of such a crank: the integral of `coast_speed` from the first time on.

    Parameters
    ----------
    times_s, stop_s, drag_per_s
        As `coast_speed` takes them.

    Returns
    -------
    ndarray, shape (k,) or (n, k)
    """
    drag = np.maximum(drag_per_s, 1e-3)
    left = np.maximum(stop_s - times_s, 0.0)
    whole = (np.expm1(drag * left) / drag - left) / drag
    angle: Floats = whole[..., :1] - whole
    return angle


def find_coast(scores: SegmentScores, *, until_s: float) -> CoastDown | None:
    """Put segments together along every run-down, and take the one that they speak for most.

    Parameters
    ----------
    scores : SegmentScores
    until_s : float
        End of the recording [s].

    Returns
    -------
    CoastDown or None
        None where no run-down has enough segments to be told.
    """
    found = [
        candidate
        for stop_s in (*np.arange(3.0, until_s, STOP_STEP_S), *(until_s + np.array(LATER_STOPS_S)))
        for drag in DRAGS_PER_S
        if (candidate := _along(scores, float(stop_s), drag)) is not None
    ]
    return max(found, key=lambda candidate: candidate.score, default=None)


def _along(scores: SegmentScores, stop_s: float, drag: float) -> CoastDown | None:
    """The best part and rate along one shape."""
    middles_s = scores.middles_s
    speed = coast_speed(middles_s, stop_s, drag)
    with np.errstate(divide="ignore", invalid="ignore"):
        bends = -(1 + drag * speed) / speed
    used = np.flatnonzero((middles_s < stop_s - SOONEST_S) & (bends > scores.bends[0] - 0.01))
    if used.size < FEWEST_SEGMENTS:
        return None
    rows = np.rint((bends[used] - scores.bends[0]) / (scores.bends[1] - scores.bends[0])).clip(
        0, scores.bends.size - 1
    )
    shifts = np.rint(np.log(speed[used[0]] / speed[used]) / RATE_STEP).astype(np.intp)
    groups, rates = scores.score.shape[2:]
    # Before the push the course is followed back to rates past any that is looked for.
    path = np.full((used.size + 1, groups, rates + BEFORE_STEPS), OUTSIDE, dtype=np.float32)
    path[0] = 0.0
    for place, (segment, row, shift) in enumerate(zip(used, rows.astype(np.intp), shifts, strict=True), 1):
        kept = slice(shift, min(shift + rates, path.shape[2]))
        if shift < path.shape[2]:
            path[place, :, kept] = scores.score[segment, row, :, : kept.stop - kept.start] - COST
    total = np.cumsum(path, axis=0, out=path)
    lowest = np.minimum.accumulate(total, axis=0)
    gained = total - lowest
    last, group, rate = np.unravel_index(int(gained.argmax()), gained.shape)
    first = int(total[: last + 1, group, rate].argmin())
    start_s = float(middles_s[used[min(first, used.size - 1)]])
    at_start = LOWEST_HZ * np.exp(RATE_STEP * (float(rate) - shifts[min(first, used.size - 1)]))
    return CoastDown(
        stop_s=stop_s,
        drag_per_s=drag,
        start_s=start_s,
        until_s=float(middles_s[used[max(0, int(last) - 1)]]),
        rate_hz=float(at_start),
        group=int(group),
        score=float(gained[last, group, rate]),
    )


def sharpened(levels: ImpactLevels, coast: CoastDown) -> CoastDown:
    """Fit a run-down to the times at which stretches of its own train of impacts come.

    Parameters
    ----------
    levels : ImpactLevels
        Of the whole recording.
    coast : CoastDown
        As `find_coast` gives it.

    Returns
    -------
    CoastDown
        Unchanged where too few stretches are clearly alike.

    Notes
    -----
    Balls shift in their pockets and the errors of the intervals add up, so that
    stretches far apart are worth less than their own errors say: generalised least
    squares with a random walk beside the errors.
    """
    part = levels.part(coast.start_s, coast.until_s)
    times_s = np.linspace(part.start_s, part.stop_s, max(64, round(part.duration_s / ANGLE_STEP_S)) + 1)
    shape = np.array([coast.stop_s, coast.drag_per_s])
    angle = coast_angle(times_s, *shape)
    impacts = coast.rate_hz * float(angle[-1] / coast_speed(times_s[:1], *shape)[0])
    for _ in range(MOST_ROUNDS):
        delays = stretch_delays(folded(part, angle, impacts, coast.group))
        if delays is None:
            break
        step, made = _step(delays, times_s, shape, impacts)
        moved = shape + step
        moved = np.array([max(moved[0], times_s[-1] + LEAST_LEFT_S), np.clip(moved[1], 0.0, MOST_DRAG)])
        before = angle / angle[-1] * impacts
        shape, impacts, angle = moved, made, coast_angle(times_s, *moved)
        if np.abs(angle / angle[-1] * impacts - before).max() < SETTLED_IMPACTS:
            break
    rate_hz = impacts / float(angle[-1]) * float(coast_speed(times_s[:1], *shape)[0])
    return replace(coast, stop_s=float(shape[0]), drag_per_s=float(shape[1]), rate_hz=rate_hz)


def _step(delays: Delays, times_s: Floats, shape: Floats, impacts: float) -> tuple[Floats, float]:
    """Change of (stop, drag) that explains the delays, and the impacts over the part with it."""
    nudge = np.array([0.05, 0.005])
    shapes = np.concatenate([shape[np.newaxis], shape + np.diag(nudge)])
    angles = coast_angle(times_s, shapes[:, :1], shapes[:, 1:])
    angles *= impacts / angles[:, -1:]
    at_s = np.interp(delays.impacts, angles[0], times_s)
    bent = np.stack([np.interp(at_s, times_s, row) for row in angles[1:] - angles[0]]) / nudge[:, np.newaxis]
    columns = np.column_stack([np.ones(at_s.size), delays.impacts, *bent])
    # A late stretch means that fewer impacts were made until then than the guess has it.
    target = -delays.late
    slip = SLIP_AN_IMPACT**2 * np.minimum.outer(delays.impacts, delays.impacts)
    root = np.linalg.cholesky(slip + np.diag(delays.error**2))
    white, aim = np.linalg.solve(root, columns), np.linalg.solve(root, target)
    # A shape that the delays do not tell stays as it is.
    ridge = np.diag([1e-6, 1e-6, *(1 / WIDEST_STEP**2)])
    found = np.linalg.solve(white.T @ white + ridge, white.T @ aim)
    return np.clip(found[2:], -WIDEST_STEP, WIDEST_STEP), impacts * (1 + float(found[1]))
