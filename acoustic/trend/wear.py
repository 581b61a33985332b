"""How a bearing wears: every course weighed by how well it explains the visits, and drawn from by that weight.

A line through all visits says too much: that damage started at the first of them, that it grows evenly, that the
visits' errors are independent. Here onset, acceleration, correlated errors and one spoilt visit are weighed
instead, by Bayes' rule with the conjugate law of a linear model (normal and inverse gamma; for example A. Gelman
and others, Bayesian Data Analysis, ch. 14; from memory). What is not known then widens the range by itself.
`tests/calibration/trend_laws.py` measures how often the range holds the truth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from acoustic.errors import InputError
from acoustic.trend.courses import CHANGE, JUMP, LEVEL, Course, Flags, Floats, Kind, courses, shape
from acoustic.trend.points import Point, visits

# Judgement: the confidence of every range that this project prints.
NINE_IN_TEN = 0.9
FEWEST_VISITS = 4  # a level, a rate and a scatter are asked of them; judgement
# How alike the errors of neighbouring visits are, and how likely so before anything is measured; judgement: the
# same phone, stand and season stay for some visits.
CORRELATIONS = {0.0: 0.5, 0.3: 0.2, 0.6: 0.3}
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


FAINTEST_DB = -30.0  # a rhythm fainter than this is chance in the room's noise; judgement
# Two spins of one bearing differ by 1.5 dB (`acoustic.triage.side`), two visits by up to twice that; from the
# first sign to a new bearing some 10 dB (`acoustic/conditions.toml`). Judgement.
DECIBELS = Scale(scatter=2.0, rise=10.0, faintest=FAINTEST_DB)


@dataclass(frozen=True, slots=True)
class TooFew:
    """Not enough visits for what was asked.

    Attributes
    ----------
    found, needed : int
        Visits, each on a calendar day of its own.
    """

    found: int
    needed: int

    @property
    def sentence(self) -> str:
        """What is missing, in plain words."""
        return f"not enough visits: {self.found} so far, {self.needed} needed, each on a day of its own"


@dataclass(frozen=True, slots=True)
class Range:
    """The likeliest value, and the range that holds the true one nine times in ten."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Range:
        """The same in another unit; the factor is > 0."""
        return Range(self.value * factor, self.low * factor, self.high * factor)


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


@dataclass(frozen=True, slots=True, eq=False)
class Wear:
    """How a bearing wears over the visits of one segment.

    Attributes
    ----------
    visits : tuple of Point
        One a calendar day, in order of time.
    at : ndarray, shape (n,)
        Where they lie [days or km].
    draws : Draws
    """

    visits: tuple[Point, ...]
    at: Floats
    draws: Draws

    @property
    def rising_chance(self) -> float:
        """How likely it is that it rises now."""
        return float(np.mean(self.draws.rising))

    @property
    def rises(self) -> bool:
        """Whether the range of its rate lies above 0."""
        return self.rising_chance >= (1 + NINE_IN_TEN) / 2

    @property
    def rate(self) -> Range:
        """Change of the value at the last visit, a day or km."""
        draws = self.draws
        a_span = draws.change * draws.power / (1 - draws.start)
        return range_of(a_span / self.span)

    @property
    def span(self) -> float:
        """From the first to the last visit [days or km]."""
        return float(self.at[-1] - self.at[0])

    @property
    def onset_chance(self) -> float:
        """How likely it is that damage started after the first visit, among the courses that rise."""
        rising = self.draws.only(self.draws.rising)
        return float(np.mean(rising.of_kind(Kind.ONSET, Kind.SUDDEN))) if rising.kind.size else 0.0

    @property
    def first_rising(self) -> int:
        """The first visit that is a point of the rise; 0 where no onset is shown."""
        draws = self.draws
        started = draws.of_kind(Kind.ONSET, Kind.SUDDEN, Kind.RAISED)
        if not started.any() or np.mean(started) < NINE_IN_TEN * np.mean(started | draws.rising):
            return 0
        return int(np.bincount(draws.first[started]).argmax())

    def values_at(self, places: Floats) -> Floats:
        """Values of every course on the way, a row each place [days or km]."""
        draws = self.draws
        u = self._u(np.asarray(places, dtype=np.float64))[:, np.newaxis]
        rise = draws.change * shape(u, draws.start, draws.power)
        return np.asarray(draws.level + rise, dtype=np.float64)

    def reached_at(self, limit: float) -> Floats:
        """Where each course reaches a limit [days or km]; minus infinity if it is past it, infinity if never."""
        draws = self.draws
        to_go = limit - draws.level
        with np.errstate(divide="ignore", invalid="ignore"):
            u = draws.start + (1 - draws.start) * np.maximum(to_go / draws.change, 0.0) ** (1 / draws.power)
        now = draws.level + draws.change  # at the last visit
        level = np.where(now >= limit, -np.inf, np.inf)
        found = np.where(draws.change > 0, np.where(to_go > 0, self.at[0] + u * self.span, -np.inf), level)
        return np.asarray(found, dtype=np.float64)

    def _u(self, places: Floats) -> Floats:
        return (places - self.at[0]) / self.span


def range_of(values: Floats) -> Range:
    """Median, and the ends that leave one in twenty outside on either side."""
    low, value, high = np.quantile(values, [(1 - NINE_IN_TEN) / 2, 0.5, (1 + NINE_IN_TEN) / 2])
    return Range(float(value), float(low), float(high))


def weigh(points: Sequence[Point], scale: Scale = DECIBELS) -> Wear | TooFew:
    """Weigh all courses of the visits of one segment, over days.

    Parameters
    ----------
    points : sequence of Point
        Of one group, between two pieces of work, in any order.
    scale : Scale

    Returns
    -------
    Wear or TooFew
        TooFew with recordings of fewer than four calendar days.

    Raises
    ------
    InputError
        Points of several groups.
    """
    each = visits(points)
    if len(each) < FEWEST_VISITS:
        return TooFew(len(each), FEWEST_VISITS)
    return _weighed(each, np.array([visit.day for visit in each]), scale)


def weigh_over_km(points: Sequence[Point], scale: Scale = DECIBELS) -> Wear | None:
    """The same over the kilometres ridden; None where fewer than four visits tell them, or the bike hardly moved.

    Raises
    ------
    InputError
        Points of several groups, or km that fall with time.
    """
    each = tuple(visit for visit in visits(points) if visit.km is not None)
    at_km = np.array([visit.km for visit in each], dtype=np.float64)
    fall = np.flatnonzero(np.diff(at_km) < 0)
    if fall.size:
        found = (
            f"km that fall from {at_km[fall[0]]:g} to {at_km[fall[0] + 1]:g} between two visits; "
            "they must not fall with time"
        )
        raise InputError(
            found, hint="Put the reading right with: acoustic visit correct NUMBER --km KM --because WHY."
        )
    if np.unique(at_km).size < FEWEST_VISITS:
        return None
    return _weighed(each, at_km, scale)


def _weighed(each: tuple[Point, ...], at: Floats, scale: Scale) -> Wear:
    values = np.array([visit.value for visit in each])
    faintest = -math.inf if scale.faintest is None else scale.faintest
    u = (at - at[0]) / (at[-1] - at[0])
    middle = float(np.median(values))
    draws = _draws(courses(u, (values - faintest) / scale.scatter), (values - middle) / scale.scatter, scale)
    for name in ("before", "level"):
        object.__setattr__(draws, name, getattr(draws, name) * scale.scatter + middle)
    for name in ("change", "scatter"):
        object.__setattr__(draws, name, getattr(draws, name) * scale.scatter)
    return Wear(each, at, draws)


class _Fitted(NamedTuple):
    """Of each course, correlation and spoilt visit: what the conjugate law needs; arrays of one length."""

    course: NDArray[np.intp]
    alike: Floats
    log_weight: Floats
    mean: Floats
    precision: Floats
    freedom: Floats
    squares: Floats


def _fit(every: Sequence[Course], y: Floats, scale: Scale) -> _Fitted:
    """Weigh each course, in units of the usual scatter."""
    groups: dict[bytes, list[int]] = {}
    for number, course in enumerate(every):
        groups.setdefault(course.counted.tobytes(), []).append(number)
    parts = [
        _fit_group(every, np.array(numbers), y, alike, share, scale)
        for numbers in groups.values()
        for alike, share in CORRELATIONS.items()
    ]
    return _Fitted(*(np.concatenate([getattr(part, name) for part in parts]) for name in _Fitted._fields))


def _fit_group(
    every: Sequence[Course], numbers: NDArray[np.intp], y: Floats, alike: float, share: float, scale: Scale
) -> _Fitted:
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
    return _Fitted(
        np.broadcast_to(numbers, shape_of).ravel(),
        np.full(log_weight.size, alike),
        log_weight.ravel(),
        mean.reshape(-1, 3),
        precision.reshape(-1, 3, 3),
        np.broadcast_to(freedom[:, None], shape_of).ravel(),
        squares.ravel(),
    )


def _draws(every: Sequence[Course], y: Floats, scale: Scale) -> Draws:
    """Draw courses by their weight; what rises must rise, and what falls fall."""
    fitted = _fit(every, y, scale)
    # A law cut to one side holds twice the weight there: each sign that a kind asks for doubles it.
    signs = {kind: 1 for kind in (Kind.FALLING, Kind.RISING, Kind.ONSET)} | {Kind.SUDDEN: 2}
    doubled = np.array([math.log(2) * signs.get(course.kind, 0) for course in every])
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
    kinds = np.array([CODES.index(course.kind) for course in every])[number]
    columns_used = np.array([[course.columns[:, place].any() for place in range(3)] for course in every])[number]
    drawn = np.where(columns_used, drawn, 0.0)
    draws = Draws(
        kind=kinds,
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
    jumped = ~draws.of_kind(Kind.SUDDEN) | (drawn[:, JUMP] > 0)
    return draws.only((~up | (draws.change > 0)) & (~down | (draws.change < 0)) & jumped)
