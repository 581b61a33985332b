"""The run-down of a coasting crank through once-a-turn marks, and a smooth angle along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Floats, Ints
from acoustic.dsp.spline import cubic_spline, monotone_cubic

BENT = np.array([-0.5, 0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0])  # viscous drag times the marks' length
# Grid: closes the gaps of BENT in steps of 0.05.
FINE = np.linspace(-0.45, 0.45, 19)
# Resolution: weights settle in two or three rounds.
ROBUST_ROUNDS = 4
FEWEST_FOR_VISCOUS = 6  # with fewer marks, viscous drag beside the dry would fit anything
OFF = 0.025  # turns: a mark farther off a robust fit counts less than half
# Grid: a smooth course has three or four numbers to be told.
COURSE_POINTS = 24
CLOSE = 0.003  # turns: fits as close as this are alike


@dataclass(frozen=True, slots=True)
class RunDown:
    """A run-down through marks: dry and viscous drag, fitted to their angle.

    Attributes
    ----------
    start_s, lasting_s : float
        The marks it was fitted to [s].
    viscous : float
        Viscous drag over speed, times `lasting_s`.
    weights : tuple of float
        Of the three shapes that `run_down_shapes` gives.
    """

    start_s: float
    lasting_s: float
    viscous: float
    weights: tuple[float, float, float]

    def turns(self, times_s: Floats) -> Floats:
        """Angle [turns] at times [s]."""
        since = (times_s - self.start_s) / self.lasting_s
        angle: Floats = run_down_shapes(since, np.array([self.viscous]))[0] @ np.array(self.weights)
        return angle


def run_down_shapes(since: Floats, viscous: Floats) -> Floats:
    """Shapes whose sums are all run-downs of one viscous drag: angle, speed, drag.

    Parameters
    ----------
    since : ndarray, shape (k,)
        Time since any moment, in any unit.
    viscous : ndarray, shape (d,)
        Deceleration over speed, one over that unit; 0 leaves dry friction alone.

    Returns
    -------
    ndarray, shape (d, k, 3)

    References
    ----------
    dw/dt = -c - b w, so that the angle is a + w0 t - (c + b w0) (exp(-b t) - 1 + b t)/b^2:
    textbook mechanics of a wheel with dry and viscous drag.
    """
    x = viscous[:, np.newaxis] * since
    small = np.abs(x) < 1e-3
    square = np.where(small, 1.0, viscous[:, np.newaxis] ** 2)
    curve = np.where(small, since**2 * (0.5 - x / 6), (np.expm1(-x) + x) / square)
    return np.stack([np.ones_like(x), np.broadcast_to(since, x.shape), curve], axis=2)


def fit_run_down(times_s: Floats, turns: Floats, *, robust: bool = False) -> RunDown:
    """Fit the run-down nearest to marks, in turns.

    Parameters
    ----------
    times_s, turns : ndarray, shape (k,)
        Marks [s] and their turns, k >= 4, times increasing.
    robust : bool
        Whether marks far off the course count little.

    Returns
    -------
    RunDown
        With fewer than six marks under dry friction alone, or viscous drag would fit anything.
    """
    start_s, lasting_s = float(times_s[0]), float(times_s[-1] - times_s[0])
    weight = np.ones(times_s.size)
    for _ in range(ROBUST_ROUNDS if robust else 1):
        if times_s.size < FEWEST_FOR_VISCOUS:
            drags = np.zeros(1)
            fits, left = fit_each_drag(times_s, turns, weight, drags)
        else:
            drags, fits, left = _fitted(times_s, turns, weight)
        best = int((weight * left**2).sum(axis=1).argmin())
        weight = 1 / (1 + (left[best] / OFF) ** 2)
    a, b, c = (float(value) for value in fits[best])
    return RunDown(start_s, lasting_s, float(drags[best]), (a, b, c))


def _fitted(times_s: Floats, turns: Floats, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """Viscous drags (d,), coarse and fine about the best, with their fits (d, 3) and what these leave (d, k)."""
    fits, left = fit_each_drag(times_s, turns, weight, BENT)
    fine = BENT[(weight * left**2).sum(axis=1).argmin()] + FINE
    fine_fits, fine_left = fit_each_drag(times_s, turns, weight, fine)
    return np.append(BENT, fine), np.concatenate([fits, fine_fits]), np.concatenate([left, fine_left])


def fit_each_drag(times_s: Floats, turns: Floats, weight: Floats, drags: Floats) -> tuple[Floats, Floats]:
    """For each viscous drag the weights of the three shapes (d, 3), and what is left of each mark (d, k)."""
    shapes = run_down_shapes((times_s - times_s[0]) / (times_s[-1] - times_s[0]), drags)
    weighted = shapes * weight[:, np.newaxis]
    square = np.swapaxes(weighted, 1, 2) @ shapes
    # A touch of the unit matrix keeps three marks of any weight solvable.
    solved = np.linalg.solve(square + 1e-12 * np.eye(3), (turns @ weighted)[:, :, np.newaxis])
    fits = np.asarray(solved[:, :, 0], dtype=np.float64)
    return fits, angles_of_shapes(shapes, fits) - turns


def angles_of(since: Floats, drags: Floats, fits: Floats) -> Floats:
    """Angles (d, k) of fitted run-downs."""
    return angles_of_shapes(run_down_shapes(since, drags), fits)


def angles_of_shapes(shapes: Floats, fits: Floats) -> Floats:
    """Angles (d, k) of shapes (d, k, 3) in the weights of each fit (d, 3)."""
    angles: Floats = (shapes @ fits[:, :, np.newaxis])[:, :, 0]
    return angles


def likely_run_downs(times_s: Floats, turns: Floats) -> tuple[Floats, Floats] | None:
    """All viscous drags under which a run-down fits marks about as well as the best, and their fits.

    Parameters
    ----------
    times_s, turns : ndarray, shape (k,)

    Returns
    -------
    drags, fits : ndarray, shape (d,) and (d, 3)
        As `angles_of` takes them; None where no run-down fits, as of a pedalled crank.
    """
    drags, fits, left = _fitted(times_s, turns, np.ones(times_s.size))
    rough = np.sqrt((left**2).mean(axis=1))
    if rough.min() > OFF / 4:
        return None
    likely = rough <= max(CLOSE, 1.3 * float(rough.min()))
    return drags[likely], fits[likely]


def standing_s(times_s: Floats, turns: Floats) -> float | None:
    """Tell when a coasting crank stands, by the run-down through its marks.

    Parameters
    ----------
    times_s, turns : ndarray, shape (k,)

    Returns
    -------
    float or None
        The latest time [s] that any likely run-down allows; None where one of them does not
        stop within the marks' own length again, or none fits.
    """
    likely = likely_run_downs(times_s, turns)
    if likely is None:
        return None
    since = np.linspace(1, 2, 501)
    slower = np.diff(angles_of(since, *likely), axis=1) <= 0
    if not slower.any(axis=1).all():
        return None
    latest = float(since[slower.argmax(axis=1).max()])
    return float(times_s[0] + latest * (times_s[-1] - times_s[0]))


def drag_at(times_s: Floats, turns: Floats, *, speed_hz: float) -> float | None:
    """How fast a coasting crank slows at a speed, by the run-down nearest to its course.

    Parameters
    ----------
    times_s, turns : ndarray, shape (k,)
        The course, k >= 2 [s], [turns].
    speed_hz : float
        > 0.

    Returns
    -------
    float or None
        Loss of speed [turns/s^2]; None where no run-down fits.

    Notes
    -----
    From dw/dt = -c - b w: with the drag d0 at the start, where the speed is w0, it is
    d0 + b (w - w0) at the speed w.
    """
    at_s = np.linspace(times_s[0], times_s[-1], COURSE_POINTS)
    likely = likely_run_downs(at_s, np.interp(at_s, times_s, turns))
    if likely is None:
        return None
    lasting_s = float(times_s[-1] - times_s[0])
    viscous_hz = likely[0] / lasting_s
    start_hz, start_drag = likely[1][:, 1] / lasting_s, -likely[1][:, 2] / lasting_s**2
    return float(np.median(start_drag + viscous_hz * (speed_hz - start_hz)))


def smooth_angle(
    times_s: Floats, turns: Ints, *, timing_s: float = 0.0, step_s: float = 0.01
) -> tuple[Floats, Floats]:
    """Run a smooth crank angle through marks, some turns of which may be missed.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
        Increasing [s], k >= 4.
    turns : ndarray of int, shape (k,)
        Increasing.
    timing_s : float
        Usual error of one mark [s]: the angle may pass it that far off; 0 runs through every mark.
    step_s : float
        Step of the result, about [s].

    Returns
    -------
    times_s, turns : ndarray, shape (n,)
        From the first mark to the last, both strictly increasing.

    Notes
    -----
    A run-down under dry and viscous drag, and a cubic spline through what it
    leaves of the marks: the run-down bends the long last turns as a crank does,
    the spline follows a pedalling foot.
    """
    angle = turns.astype(float)
    course = fit_run_down(times_s, angle)
    fine_s = np.linspace(times_s[0], times_s[-1], max(2, round(float(times_s[-1] - times_s[0]) / step_s)) + 1)
    on_course = course.turns(times_s)
    if np.all(np.diff(course.turns(fine_s)) > 0):
        left = _smoothed(times_s, turns, angle - on_course, timing_s)
        smooth = course.turns(fine_s) + cubic_spline(times_s, left, fine_s)
        if np.all(np.diff(smooth) > 0):
            return fine_s, smooth
    return _through_each(times_s, angle, fine_s)


def _through_each(times_s: Floats, angle: Floats, fine_s: Floats) -> tuple[Floats, Floats]:
    """A cubic spline of angle against time; monotone where it would turn the crank back."""
    smooth = cubic_spline(times_s, angle, fine_s)
    if not np.all(np.diff(smooth) > 0):
        smooth = monotone_cubic(times_s, angle, fine_s)
    return fine_s, smooth


def _smoothed(times_s: Floats, turns: Ints, left: Floats, timing_s: float) -> Floats:
    """Smooth what the run-down leaves of the marks as much as their timing allows.

    Whittaker's smoother on the grid of turns: the squares of the second differences are weighed
    against those of the misfit, and the weight is the largest that keeps the misfit within `timing_s`.
    """
    allowed = timing_s * np.gradient(turns.astype(float), times_s)
    if timing_s == 0 or np.all(left == 0):
        return left
    grid = np.arange(turns[-1] - turns[0] + 1)
    bend = np.diff(np.eye(grid.size), n=2, axis=0)
    known = np.zeros(grid.size)
    known[turns - turns[0]] = 1.0
    full = np.zeros(grid.size)
    full[turns - turns[0]] = left
    smooth = left
    for weight in 10.0 ** np.arange(-2, 6, 0.5):
        tried = np.linalg.solve(np.diag(known) + weight * bend.T @ bend, full)[turns - turns[0]]
        if np.mean(((tried - left) / allowed) ** 2) > 1:
            break
        smooth = tried
    return smooth
