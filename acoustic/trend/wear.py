"""How a bearing wears: every course weighed by how well it explains the visits, and drawn from by that weight.

A line through all visits says too much: that damage started at the first of them, that it grows evenly, that the
visits' errors are independent. Here onset, acceleration, correlated errors and one spoilt visit are weighed
instead (`acoustic.trend.weighing`). What is not known then widens the range by itself.
`tests/calibration/trend_laws.py` measures how often the range holds the truth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.errors import InputError
from acoustic.trend.courses import Kind, courses, shape
from acoustic.trend.points import Point, joined, visits
from acoustic.trend.weighing import Draws, Scale, draw

# Judgement: the confidence of every range that this project prints.
NINE_IN_TEN = 0.9
# Judgement: from here on a rise is worth one more recording, though no date. Of five to nine level visits with the
# usual scatter at most three in a hundred come so far (counted over 150 draws; tests/trend/test_next_visit.py).
LIKELY = 0.8
ENDS = ((1 - NINE_IN_TEN) / 2, (1 + NINE_IN_TEN) / 2)  # as many are left out on either side
SHOWN = ENDS[1]  # of the weight on rising courses: the range of the rate lies above 0 then
FEWEST_VISITS = 4  # a level, a rate and a scatter are asked of them; judgement
# More are joined with their neighbours: every visit more may be spoilt, and is one more place for the onset, so
# that time and memory grow with the cube; what 24 do not tell of a course, more do not either. Judgement.
MOST_VISITS = 24
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


@dataclass(frozen=True, slots=True)
class Onset:
    """Between which visits damage started, nine times in ten, and the likeliest first one after it (from 0)."""

    after: int
    before: int
    likeliest: int


@dataclass(frozen=True, slots=True, eq=False)
class Wear:
    """How a bearing wears over the visits of one segment.

    Attributes
    ----------
    visits : tuple of Point
        One a calendar day, in order of time; of more than 24, neighbours are joined.
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
        return self.rising_chance >= SHOWN

    @property
    def likely_rises(self) -> bool:
        """Whether most of the weight is on courses that rise, be that shown or not."""
        return self.rising_chance > LIKELY

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
    def onset(self) -> Onset | None:
        """Where damage started; None unless nine in ten of the courses start after the first visit."""
        draws = self.draws
        started = draws.of_kind(Kind.ONSET, Kind.SUDDEN, Kind.RAISED)
        if not started.any() or np.mean(started) < NINE_IN_TEN * np.mean(started | draws.rising):
            return None
        first = np.sort(draws.first[started])
        low, high = (int(first[int(share * (first.size - 1))]) for share in ENDS)
        return Onset(low - 1, high, int(np.bincount(first).argmax()))

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
        return np.asarray((places - self.at[0]) / self.span, dtype=np.float64)


def range_of(values: Floats) -> Range:
    """Median, and the ends that leave one in twenty outside on either side."""
    low, value, high = np.quantile(values, [ENDS[0], 0.5, ENDS[1]])
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
    each = _few(each)
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
            found, hint="Put the reading right with: acoustic visit correct NUMBER --km KM --because WHY"
        )
    if np.unique(at_km).size < FEWEST_VISITS:
        return None
    each = _few(each)
    return _weighed(each, np.array([visit.km for visit in each], dtype=np.float64), scale)


def _few(each: tuple[Point, ...]) -> tuple[Point, ...]:
    """The last visit, and those before it joined with their neighbours where there are too many."""
    if len(each) <= MOST_VISITS:
        return each
    parts = np.array_split(np.arange(len(each) - 1), MOST_VISITS - 1)
    return (*(joined([each[place] for place in part]) for part in parts), each[-1])


def _weighed(each: tuple[Point, ...], at: Floats, scale: Scale) -> Wear:
    values = np.array([visit.value for visit in each])
    faintest = -math.inf if scale.faintest is None else scale.faintest
    u = (at - at[0]) / (at[-1] - at[0])
    middle = median(values.tolist())
    every = courses(u, (values - faintest) / scale.scatter)
    draws = draw(every, (values - middle) / scale.scatter, scale)
    back = {name: getattr(draws, name) * scale.scatter for name in ("before", "level", "change", "scatter")}
    back |= {name: back[name] + middle for name in ("before", "level")}
    return Wear(each, at, replace(draws, **back))
