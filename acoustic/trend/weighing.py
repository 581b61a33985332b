"""Courses weighed by how well they explain the visits, and drawn by that weight.

The conjugate law of a linear model: normal, with an inverse gamma variance (for example A. Gelman and others,
Bayesian Data Analysis, ch. 14; from memory). Each course is weighed with independent and with correlated errors,
and with none or one of the visits spoilt.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats
from acoustic.trend.courses import CHANGE, JUMP, LEVEL, Course, Flags, Kind

# How alike the errors of neighbouring visits are, and how likely so before anything is measured; judgement: the
# same phone, stand and season stay for some visits.
CORRELATIONS = {0.0: 0.4, 0.3: 0.2, 0.6: 0.4}
SCATTER_FREEDOM = 4.0  # the usual scatter counts as much as so many visits; judgement
SPOILT_CHANCE = 0.02  # of one visit by noise, a knock or a wrong file; judgement
SPOILT_SPREAD = 20.0  # usual scatters over which a spoilt visit may lie anywhere; judgement
LEVEL_SPREAD = 1.5  # of the level before anything is measured, in usual rises; judgement
DRAWS = 4000  # the ends of a range then lie within a twentieth of its width; counted over seeds
SEED = 1968  # the same visits always give the same range
RISING = (Kind.RISING, Kind.ONSET, Kind.SUDDEN)
CODES = tuple(Kind)


@dataclass(frozen=True, slots=True)
class Scale:
    """What a quantity is measured in.

    Attributes
    ----------
    scatter : float
        Usual standard deviation of a visit about its course, > 0.
    rise : float
        Usual way from the first sign to the next grade, > 0.
    faintest : float or None
        Smaller values are told as this one.
    """

    scatter: float
    rise: float
    faintest: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Courses drawn by how likely they are; arrays of one length.

    Attributes
    ----------
    kind : ndarray of int
        Place in `CODES`.
    first : ndarray of int
        First visit of the last stretch.
    start, power : ndarray
        Of the shape, see `Course`.
    before, level, change : ndarray
        Level before the last stretch, and the last stretch: level + change * shape.
    scatter, alike : ndarray
        Of the visits' errors: standard deviation, and correlation between neighbours.
    """

    kind: NDArray[np.intp]
    first: NDArray[np.intp]
    start: Floats
    power: Floats
    before: Floats
    level: Floats
    change: Floats
    scatter: Floats
    alike: Floats

    def only(self, kept: Flags) -> Draws:
        """Some of them."""
        return Draws(*(getattr(self, name)[kept] for name in self.__slots__))

    def of_kind(self, *kinds: Kind) -> Flags:
        """Which are of these kinds."""
        return np.isin(self.kind, [CODES.index(kind) for kind in kinds])

    @property
    def rising(self) -> Flags:
        """Which rise now."""
        return self.of_kind(*RISING) | (self.of_kind(Kind.STEP) & (self.change > 0))


class Fitted(NamedTuple):
    """Of each course, correlation and spoilt visit: what the conjugate law needs; arrays of one length."""

    course: NDArray[np.intp]
    alike: Floats
    log_weight: Floats
    mean: Floats
    precision: Floats
    freedom: Floats
    squares: Floats


def fit(every: Sequence[Course], y: Floats, scale: Scale) -> Fitted:
    """Weigh each course, in units of the usual scatter."""
    groups: dict[bytes, list[int]] = {}
    for number, course in enumerate(every):
        groups.setdefault(course.counted.tobytes(), []).append(number)
    parts = [
        _fit_group(every, np.array(numbers), y, alike, share, scale)
        for numbers in groups.values()
        for alike, share in CORRELATIONS.items()
    ]
    return Fitted(*(np.concatenate([getattr(part, name) for part in parts]) for name in Fitted._fields))


def _fit_group(
    every: Sequence[Course], numbers: NDArray[np.intp], y: Floats, alike: float, share: float, scale: Scale
) -> Fitted:
    """The courses that count the same visits, with one correlation; each with no visit spoilt, or one of them."""
    count = y.size
    counted = every[numbers[0]].counted
    kept = np.vstack([counted, counted & ~np.eye(count, dtype=bool)[counted]])
    gaps = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    both = kept[:, :, np.newaxis] & kept[:, np.newaxis, :]
    law = np.where(both, alike**gaps, np.eye(count))
    inverse = np.where(both, np.linalg.inv(law), 0.0)
    log_size = np.linalg.slogdet(law)[1]
    columns = np.array([every[number].columns for number in numbers])
    spread = np.array([LEVEL_SPREAD, 1.0, 1.0]) * scale.rise / scale.scatter
    weighted = inverse[:, np.newaxis] @ columns  # (spoilt, course, n, 3)
    precision = np.swapaxes(columns, 1, 2) @ weighted + np.diag(spread**-2)
    projected = np.swapaxes(weighted, 2, 3) @ y
    mean = np.linalg.solve(precision, projected[..., np.newaxis])[..., 0]
    squares = SCATTER_FREEDOM + (y @ inverse @ y)[:, np.newaxis] - np.sum(mean * projected, axis=-1)
    freedom = SCATTER_FREEDOM + kept.sum(axis=1)
    log_gamma = np.array([math.lgamma(value / 2) for value in freedom])
    log_prior = np.array([math.log(every[number].weight * share) for number in numbers])
    # Visits that do not count are explained as well as one on its course; a spoilt one may lie anywhere.
    log_left_out = (count - freedom + SCATTER_FREEDOM) * math.log(1 / math.sqrt(math.tau))
    log_spoilt = math.log(SPOILT_CHANCE / SPOILT_SPREAD) - math.log(1 / math.sqrt(math.tau))
    log_weight = (
        log_prior
        + (log_gamma - (freedom - SCATTER_FREEDOM) / 2 * math.log(math.pi) - log_size / 2 + log_left_out)[:, None]
        + np.where(np.arange(kept.shape[0]) > 0, log_spoilt, 0.0)[:, None]
        - freedom[:, None] / 2 * np.log(squares)
        - (np.linalg.slogdet(precision)[1] + 2 * np.sum(np.log(spread))) / 2
        + (SCATTER_FREEDOM / 2) * math.log(SCATTER_FREEDOM)
    )
    shape_of = log_weight.shape
    return Fitted(
        np.broadcast_to(numbers, shape_of).ravel(),
        np.full(log_weight.size, alike),
        log_weight.ravel(),
        mean.reshape(-1, 3),
        precision.reshape(-1, 3, 3),
        np.broadcast_to(freedom[:, None], shape_of).ravel(),
        squares.ravel(),
    )


def draw(every: Sequence[Course], y: Floats, scale: Scale) -> Draws:
    """Draw courses by their weight; what rises must rise, and what falls fall."""
    fitted = fit(every, y, scale)
    # A law cut to one side holds twice the weight there: each sign that a kind asks for doubles it.
    has = np.any([course.columns for course in every], axis=1)
    kinds = np.array([CODES.index(course.kind) for course in every])
    signed = np.isin(kinds, [CODES.index(kind) for kind in (Kind.FALLING, *RISING, Kind.RAISED)])
    doubled = math.log(2) * np.where(signed, has[:, CHANGE].astype(int) + has[:, JUMP], 0)
    log_weight = fitted.log_weight + doubled[fitted.course]
    weight = np.exp(log_weight - log_weight.max())
    rng = np.random.default_rng(SEED)
    places = (np.arange(DRAWS) + 0.5) / DRAWS * weight.sum()
    chosen = np.minimum(np.searchsorted(np.cumsum(weight), places), weight.size - 1)
    used, back = np.unique(chosen, return_inverse=True)
    roots = np.linalg.cholesky(np.linalg.inv(fitted.precision[used]))
    scatter = np.sqrt(fitted.squares[chosen] / 2 / rng.standard_gamma(fitted.freedom[chosen] / 2))
    noise = (roots[back] @ rng.standard_normal((DRAWS, 3))[..., np.newaxis])[..., 0]
    drawn = fitted.mean[chosen] + scatter[:, np.newaxis] * noise
    number = fitted.course[chosen]
    drawn = np.where(has[number], drawn, 0.0)
    draws = Draws(
        kind=kinds[number],
        first=np.array([course.first for course in every])[number],
        start=np.array([course.start for course in every])[number],
        power=np.array([course.power for course in every])[number],
        before=drawn[:, LEVEL],
        level=drawn[:, LEVEL] + drawn[:, JUMP],
        change=drawn[:, CHANGE],
        scatter=scatter,
        alike=fitted.alike[chosen],
    )
    up, down = draws.of_kind(*RISING), draws.of_kind(Kind.FALLING)
    jumped = ~draws.of_kind(Kind.SUDDEN, Kind.RAISED) | (drawn[:, JUMP] > 0) | ~has[number, JUMP]
    return draws.only((~up | (draws.change > 0)) & (~down | (draws.change < 0)) & jumped)
