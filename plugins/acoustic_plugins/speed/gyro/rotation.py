"""A rate gyro on the crank arm: its value at rest, the axis of rotation, the parts that turn, the angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEAST_STILL_S = 0.3  # judgement, as for the sound's still parts: shorter ones are not told from a slow moment

REST_S = 0.25  # long enough for a mean, short enough for the pause before a push (judgement)
FEWEST_WINDOWS, MOST_WINDOWS = 3, 400  # for a spread of their means; more say no more
REST_HZ = 0.05  # 18 deg/s: no gyro that works is off by more while at rest
TURNING_HZ = 0.02  # 7 deg/s, a crank that hardly moves (judgement)
CREEPING_HZ = 0.003  # a degree a second
CLEAR = 6.0  # standard deviations of the gyro's noise
STEP_S = 0.01  # of the angle that is handed on: finer than any table of a phone
# Full scales that rate gyros are usually set to; raw 16-bit numbers may reach a seventh past them.
FULL_SCALES_DEG = (125.0, 250.0, 500.0, 1000.0, 2000.0)
SHORT_OF_SCALE, PAST_SCALE = 0.97, 1.16  # of a full scale: where a value is taken for cut off there (judgement)
STUCK_S = 0.1  # a moving gyro never repeats its value for so long


@dataclass(frozen=True, slots=True, eq=False)
class Rotation:
    """Angular speed about the axis that the crank turns on.

    Attributes
    ----------
    times_s : ndarray, shape (n,)
        By the gyro's own clock, strictly increasing.
    speed_hz : ndarray, shape (n,)
        Turns/s, forward positive, the value at rest taken off where it is known.
    across_hz : ndarray, shape (n,)
        Size of the rate about other axes [turns/s]; 0 where only one was measured.
    noise_hz : float
        Standard deviation at rest [turns/s].
    rest_hz : float or None
        How far the value at rest may still be off [turns/s]; None where the gyro never rests.
    """

    times_s: Floats
    speed_hz: Floats
    across_hz: Floats
    noise_hz: float
    rest_hz: float | None

    def __post_init__(self) -> None:
        for array in (self.times_s, self.speed_hz, self.across_hz):
            array.flags.writeable = False

    @property
    def slowest_hz(self) -> float:
        """Speed that is clearly no noise [turns/s]."""
        return max(TURNING_HZ, CLEAR * self.noise_hz)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part that turns one way without a stop.

    Attributes
    ----------
    first, last : int
        Samples at its ends, both counted in.
    turns : float
        Negative where it turns backward.
    """

    first: int
    last: int
    turns: float


def rotation_about_axis(times_s: Floats, rates_hz: Floats, *, signed: bool = True) -> Rotation:
    """Reduce a gyro's rates to the speed about the crank's axis.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Strictly increasing [s], n >= 2.
    rates_hz : ndarray, shape (n, k)
        Turns/s about one axis or three.
    signed : bool
        False where the rate is a magnitude; its value at rest is then no offset and is left in.

    Returns
    -------
    Rotation

    Notes
    -----
    The axis is the principal one of the rates' second moments, that of the largest
    eigenvalue, found among the fast samples and again in the longest stretch
    alone, since the phone is handled while it is strapped on. Its way round is
    the one in which most turns are made without a stop.
    """
    noise_hz, rest_hz, rest = _noise(rates_hz), None, np.zeros(rates_hz.shape[1])
    still = rates_hz[_at_rest(times_s, rates_hz)]
    if still.size:
        rest = np.median(still, axis=0)
        noise_hz = float(np.sqrt(np.mean((still - rest) ** 2)))
        rest_hz = 2 * noise_hz / float(np.sqrt(len(still)))
    if still.size and not signed:
        # The magnitude at rest is that of offset and noise together, and either way round it may add.
        noise_hz = rest_hz = abs(float(rest[0])) + noise_hz
        rest = np.zeros(1)
    rates_hz = rates_hz - rest
    size = np.linalg.norm(rates_hz, axis=1)
    found = Rotation(times_s, *_projected(rates_hz, size >= 0.3 * size.max()), noise_hz, rest_hz)
    longest = max(turning_stretches(found), key=lambda stretch: abs(stretch.turns), default=None)
    if longest is None:
        return found
    turning = (times_s >= times_s[longest.first]) & (times_s <= times_s[longest.last])
    speed_hz, across_hz = _projected(rates_hz, turning)
    forward = np.sign(float(np.sum(speed_hz[turning])))
    return Rotation(times_s, speed_hz * forward, across_hz, noise_hz, rest_hz)


def _projected(rates_hz: Floats, chosen: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Rates about the principal axis of some samples, and the size of what is left of each."""
    axis = np.linalg.eigh(rates_hz[chosen].T @ rates_hz[chosen])[1][:, -1]
    speed_hz: Floats = rates_hz @ axis
    across_hz: Floats = np.linalg.norm(rates_hz - np.outer(speed_hz, axis), axis=1)
    return speed_hz, across_hz


def _at_rest(times_s: Floats, rates_hz: Floats) -> NDArray[np.bool_]:
    """Samples in windows that are slow, as quiet as any, and alike: a crank that runs out slows on, rest stays."""
    size = max(4, round(REST_S / float(np.median(np.diff(times_s)))))
    windows = len(rates_hz) // size
    at_rest = np.zeros(len(rates_hz), dtype=bool)
    blocks = rates_hz[: windows * size].reshape(windows, size, -1)
    slow = np.all(np.abs(blocks.mean(axis=1)) < REST_HZ, axis=1)
    if not slow.any():
        return at_rest
    spread = blocks.std(axis=1).max(axis=1)
    slow &= spread <= 3 * np.quantile(spread[slow], 0.25) + 1e-9
    means = blocks.mean(axis=1)
    alike_hz = 4 * float(np.median(spread[slow])) / np.sqrt(size) + 1e-9
    some = means[: int(slow.argmin())]
    if len(some) < FEWEST_WINDOWS:
        # It turns from the start. Of all slow windows, those that most others are like: a slow end has few alike.
        some = means[slow][:: 1 + slow.sum() // MOST_WINDOWS]
        near = np.all(np.abs(some[:, np.newaxis] - some) <= alike_hz, axis=2)
        some = some[near[near.sum(axis=1).argmax()]]
    value = np.median(some, axis=0)
    slow &= np.all(np.abs(means - value) <= alike_hz, axis=1)
    at_rest[: windows * size] = np.repeat(slow, size)
    return at_rest


def _noise(rates_hz: Floats) -> float:
    """Standard deviation of white noise on a smooth curve, off its second differences (variance 6 times)."""
    if len(rates_hz) < 3:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(rates_hz, 2, axis=0)), axis=0).max() / np.sqrt(6))


def turning_stretches(rotation: Rotation, *, least_turns: float = 1.0) -> list[Stretch]:
    """List the parts that turn one way without a stop, in order of time.

    Parameters
    ----------
    rotation : Rotation
    least_turns : float
        Shorter ones are left out: a crank that swings to a stand, a hand that straps the phone on.

    Returns
    -------
    list of Stretch
    """
    found = []
    step_s = np.diff(rotation.times_s)
    between = (rotation.speed_hz[1:] + rotation.speed_hz[:-1]) / 2 * step_s
    made = np.concatenate([[0.0], np.cumsum(between)])
    for way in (1, -1):
        moving = np.concatenate([[False], way * rotation.speed_hz > rotation.slowest_hz, [False]])
        edges = np.flatnonzero(np.diff(moving.astype(np.int8)))
        for first, stop in zip(edges[::2], edges[1::2], strict=True):
            turns = float(made[stop - 1] - made[first])
            if abs(turns) >= least_turns:
                found.append(Stretch(int(first), int(stop - 1), turns))
    return sorted(found, key=lambda stretch: stretch.first)


def turns_made(rotation: Rotation, start_s: float, stop_s: float) -> tuple[Floats, Floats]:
    """Integrate the speed over time, straight between the samples.

    Parameters
    ----------
    rotation : Rotation
    start_s, stop_s : float
        Within one stretch [s], start before stop.

    Returns
    -------
    times_s, turns : ndarray, shape (k,)
        About every 10 ms, both strictly increasing, turns from 0.
    """
    count = max(2, round((stop_s - start_s) / STEP_S) + 1)
    times_s = np.linspace(start_s, stop_s, count)
    inside = rotation.times_s[(rotation.times_s > start_s) & (rotation.times_s < stop_s)]
    knots_s = np.union1d(times_s, inside)
    speed_hz = np.interp(knots_s, rotation.times_s, rotation.speed_hz)
    made = np.concatenate([[0.0], np.cumsum((speed_hz[1:] + speed_hz[:-1]) / 2 * np.diff(knots_s))])
    return times_s, np.interp(times_s, knots_s, made)


def still_within(
    rotation: Rotation, start_s: float, stop_s: float, *, margin_s: float
) -> list[tuple[float, float]]:
    """List the parts of a stretch of time in which the gyro was there and did not move.

    Parameters
    ----------
    rotation : Rotation
    start_s, stop_s : float
        Where to look [s].
    margin_s : float
        Taken off every part at both ends, >= 0 [s].

    Returns
    -------
    list of (float, float)
        Parts of 0.3 s or more; none where the value at rest is unknown.
    """
    if rotation.rest_hz is None:
        return []
    inside = (rotation.times_s >= start_s) & (rotation.times_s <= stop_s)
    times_s = rotation.times_s[inside]
    # A part ends at a sample that moves, and where samples are missing.
    moving = _moving(rotation)[inside]
    breaks = np.flatnonzero(moving[1:] | moving[:-1] | (np.diff(times_s) > LEAST_STILL_S))
    firsts, lasts = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [times_s.size - 1]])
    ends = [(a, b) for a, b in zip(firsts, lasts, strict=True) if a < b]
    parts = [(float(times_s[a]) + margin_s, float(times_s[b]) - margin_s) for a, b in ends]
    return [(a, b) for a, b in parts if b - a >= LEAST_STILL_S]


def _moving(rotation: Rotation) -> NDArray[np.bool_]:
    """Which samples move, however slowly: by the mean over a quarter of a second about them."""
    size = max(1, round(REST_S / float(np.median(np.diff(rotation.times_s)))) // 2 * 2 + 1)
    padded = np.pad(rotation.speed_hz, size // 2, mode="edge")
    mean_hz = np.convolve(padded, np.full(size, 1 / size), mode="valid")
    moving: NDArray[np.bool_] = np.abs(mean_hz) > max(CREEPING_HZ, CLEAR * rotation.noise_hz / np.sqrt(size))
    return moving | (np.hypot(rotation.speed_hz, rotation.across_hz) > rotation.slowest_hz)


def share_off_axis(rotation: Rotation, stretch: Stretch) -> float:
    """Share of the squared rate that is not about the axis, 0 to 1, in all the turning about a stretch."""
    size_hz = np.hypot(rotation.speed_hz, rotation.across_hz)
    still = np.flatnonzero(size_hz <= rotation.slowest_hz)
    first = still[still < stretch.first].max(initial=-1) + 1
    last = still[still > stretch.last].min(initial=size_hz.size)
    return float(np.sum(rotation.across_hz[first:last] ** 2) / np.sum(size_hz[first:last] ** 2))


def longest_gap_s(rotation: Rotation, stretch: Stretch) -> tuple[float, float]:
    """Longest time between two samples of a stretch, and when it begins [s]."""
    steps = np.diff(rotation.times_s[stretch.first : stretch.last + 1])
    at = int(steps.argmax())
    return float(steps[at]), float(rotation.times_s[stretch.first + at])


def gyro_limit_deg(times_s: Floats, rates_hz: Floats) -> float | None:
    """Tell whether an axis stood at the limit of what the gyro can measure.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
    rates_hz : ndarray, shape (n, k)
        Turns/s.

    Returns
    -------
    float or None
        That limit [deg/s]; None where no axis held one value, its highest, for 0.1 s near a usual full scale.
    """
    least = max(3, round(STUCK_S / float(np.median(np.diff(times_s)))))
    for rate_deg in np.abs(rates_hz.T) * 360:
        top = float(rate_deg.max())
        edges = np.flatnonzero(np.diff(np.pad(rate_deg >= top * (1 - 1e-6), 1).astype(np.int8)))
        longest = int(np.max(edges[1::2] - edges[::2]))
        # A drive's steady speed may be written as one number too, but then over most of the turning.
        if longest < least or longest > 0.8 * np.count_nonzero(rate_deg > top / 2):
            continue
        for scale in FULL_SCALES_DEG:
            if SHORT_OF_SCALE <= top / scale <= PAST_SCALE:
                return scale
    return None
