"""The courses that a bearing's visits may have taken, each as columns of a linear model.

A course is flat, falls, rises from the first visit on, or is flat until damage starts and rises from there: at
the level it had, or at once some dB above it. Rises are straight or grow faster and faster. Visits clamped at the
faintest value that is told, before damage starts, say that it had not started and nothing else: they are no points
of a slope.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from statistics import median

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats

Flags = NDArray[np.bool_]

LEVEL, JUMP, CHANGE = 0, 1, 2  # the columns' places
FEWEST_EACH_SIDE = 3  # of a step; judgement: one bad visit among two would make a level of its own
FEWEST_RISING = 2  # visits after the onset; with one alone, a rise and a bad recording are the same
NEAR_SCATTERS = (
    2.0  # over the faintest value: scatter alone takes a clean bearing so far once in forty (normal law)
)
# Judgement: straight, or between straight and square, or square in time since the onset; no course of a real
# bearing's loudness over months is published that could decide.
POWERS = {1.0: 0.6, 1.5: 0.2, 2.0: 0.2}
ONSET_PLACES = (1 / 6, 1 / 2, 5 / 6)  # in the gap between two visits: middles of its thirds
EARLIER_ONSETS = (
    -1.0,
    -0.5,
    0.0,
)  # of an accelerating rise that began before the first visit, in spans of the visits


class Kind(StrEnum):
    """What sort of course it is."""

    FLAT = "flat"
    FALLING = "falling"
    RISING = "rising"  # from the first visit or before
    ONSET = "onset"
    SUDDEN = "sudden"  # an onset that jumps
    RAISED = "raised"  # jumps once and is flat then
    STEP = "step"  # a line with a jump up or down


# Judgement: before anything is measured, a little likelier to wear than not. Raised and flat is rarer than its
# few numbers make it look; `tests/calibration/trend_laws.py` says what these shares cost flat and rising courses.
PRIOR = {
    Kind.FLAT: 0.3,
    Kind.FALLING: 0.05,
    Kind.RISING: 0.2,
    Kind.ONSET: 0.3,
    Kind.SUDDEN: 0.05,
    Kind.RAISED: 0.03,
    Kind.STEP: 0.07,
}


@dataclass(frozen=True, slots=True)
class Course:
    """One course: value = level + jump (from a visit on) + change * shape.

    Attributes
    ----------
    kind : Kind
    weight : float
        How likely it is before anything is measured.
    columns : ndarray, shape (n, 3)
        Of level, jump and change; zero where the course has none.
    counted : ndarray of bool, shape (n,)
        Visits that are points of it.
    first : int
        The first visit of its last stretch: after the onset or the step.
    start, power : float
        Of the shape ((u - start) / (1 - start)) ** power, u from 0 at the first visit to 1 at the last.
    """

    kind: Kind
    weight: float
    columns: Floats
    counted: Flags
    first: int = 0
    start: float = 0.0
    power: float = 1.0


def courses(u: Floats, height: Floats) -> tuple[Course, ...]:
    """List every course that is weighed.

    Parameters
    ----------
    u : ndarray, shape (n,)
        Places of the visits: 0 the first, 1 the last, not falling; n >= 4.
    height : ndarray, shape (n,)
        Over the faintest value that is told, in usual scatters; 0 or less: clamped there.

    Returns
    -------
    tuple of Course
        Weights sum to 1 where every kind is possible; kinds that need more visits are left out.
    """
    found = [*_steady(u), *_rising(u), *_onsets(u, height), *_jumps(u, height)]
    kinds = {kind: sum(one.weight for one in found if one.kind == kind) for kind in PRIOR}
    return tuple(
        Course(
            one.kind,
            PRIOR[one.kind] * one.weight / kinds[one.kind],
            one.columns,
            one.counted,
            one.first,
            one.start,
            one.power,
        )
        for one in found
    )


def _steady(u: Floats) -> Iterator[Course]:
    everywhere = np.ones(u.size, dtype=bool)
    yield Course(Kind.FLAT, 1.0, _columns(u, change=False), everywhere)
    yield Course(Kind.FALLING, 1.0, _columns(u), everywhere)


def _rising(u: Floats) -> Iterator[Course]:
    everywhere = np.ones(u.size, dtype=bool)
    for power, share in POWERS.items():
        starts = EARLIER_ONSETS if power > 1 else (0.0,)
        for start in starts:
            columns = _columns(u, start=start, power=power)
            yield Course(Kind.RISING, share / len(starts), columns, everywhere, 0, start, power)


def _onsets(u: Floats, height: Floats) -> Iterator[Course]:
    for first in range(1, u.size - FEWEST_RISING + 1):
        gap = u[first] - u[first - 1]
        if gap <= 0:
            continue
        counted = _counted(height, first)
        for place in ONSET_PLACES:
            start = float(u[first - 1] + place * gap)
            for power, share in POWERS.items():
                columns = _columns(u, start=start, power=power)
                yield Course(Kind.ONSET, share, columns, counted, first, start, power)


def _jumps(u: Floats, height: Floats) -> Iterator[Course]:
    for first in range(1, u.size - FEWEST_RISING + 1):
        counted, gap = _counted(height, first), u[first] - u[first - 1]
        if gap <= 0:
            continue
        start = float(u[first] - gap / 2)
        # After clamped visits alone a jump is no other course than an onset; a level stretch then is.
        seen_before = bool(counted[:first].any())
        yield Course(
            Kind.RAISED, 1.0, _columns(u, change=False, jump=first if seen_before else None), counted, first
        )
        if seen_before:
            for power, share in POWERS.items():
                columns = _columns(u, start=start, power=power, jump=first)
                yield Course(Kind.SUDDEN, share, columns, counted, first, start, power)
        if FEWEST_EACH_SIDE <= first <= u.size - FEWEST_EACH_SIDE and counted.all():
            yield Course(Kind.STEP, 1.0, _columns(u, jump=first), counted, first)


def _counted(height: Floats, first: int) -> Flags:
    """Clamped visits before the onset are no points, unless the others before it show a level well above them."""
    clamped, before = height <= 0, np.arange(height.size) < first
    heard = before & ~clamped
    if heard.any() and median(height[heard].tolist()) > NEAR_SCATTERS:
        return np.ones(height.size, dtype=bool)
    return ~(clamped & before)


def _columns(
    u: Floats, *, change: bool = True, start: float = 0.0, power: float = 1.0, jump: int | None = None
) -> Floats:
    columns = np.zeros((u.size, 3))
    columns[:, LEVEL] = 1.0
    if jump is not None:
        columns[jump:, JUMP] = 1.0
    if change:
        columns[:, CHANGE] = shape(u, start, power)
    return columns


def shape(u: Floats, start: Floats | float, power: Floats | float) -> Floats:
    """How far a rise has come, 1 at the last visit; 0 before it starts."""
    since: Floats = np.maximum((u - start) / (1 - np.asarray(start)), 0.0)
    return np.asarray(since**power, dtype=np.float64)
