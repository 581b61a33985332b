"""A step that nobody entered: found where it is, rare where there is none, and only told."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.trend.points import Point
from acoustic.trend.step import Step, find_step, step_sentence
from acoustic.trend.wear import TooFew, weigh

Make = Callable[..., list[Point]]
Floats = NDArray[np.float64]

DAYS = np.array([0.0, 20, 45, 60, 95, 110, 150, 170, 200, 215, 250, 270])
SCATTER = np.array([0.3, -0.5, 0.4, -0.1, 0.6, -0.4, 0.1, -0.6, 0.5, -0.2, 0.2, -0.3])


def found(values: Floats) -> Step | TooFew | None:
    return find_step(weigh([Point(float(day), float(value)) for day, value in zip(DAYS, values, strict=True)]))


@pytest.mark.parametrize("before", [4, 6, 8])
def test_a_fall_on_a_rise_is_found_where_it_is(before: int) -> None:
    """As after a service that nobody entered."""
    step = found(-20 + 0.03 * DAYS + SCATTER - 8.0 * (np.arange(12) >= before))
    assert isinstance(step, Step)
    assert step.found
    assert step.visits_before == before
    assert (step.last_day_before, step.first_day_after) == (DAYS[before - 1], DAYS[before])
    assert step.change == pytest.approx(-8.0, abs=1.5)


@pytest.mark.parametrize(
    "values",
    [
        -25 + 0.05 * DAYS + SCATTER,
        np.where(DAYS < 50, -30.0, -18 + 0.02 * DAYS + SCATTER),  # damage starts: no step
        -25 + 12 * (DAYS / 270) ** 2 + SCATTER,
        -20 + 2 * SCATTER,
        -25 + 0.05 * DAYS + SCATTER + 20 * (np.arange(12) == 6),  # one bad recording
    ],
    ids=["rise", "onset", "accelerating", "flat", "spoilt"],
)
def test_no_step_where_there_is_none(values: Floats) -> None:
    step = found(values)
    assert step is None or (isinstance(step, Step) and not step.found)
    assert step_sentence(step, unit="dB") == ""


def test_five_visits_are_too_few(make_points: Make) -> None:
    assert find_step(weigh(make_points(range(5), range(5)))) == TooFew(5, 6)
    assert find_step(weigh(make_points(range(2), range(2)))) == TooFew(2, 6)


def test_what_is_said() -> None:
    fell = Step(5, 100.0, 130.0, -6.14, 0.95)
    assert step_sentence(fell, unit="dB") == (
        "between visits 5 and 6 it fell at once by about 6.1 dB, and no work is entered there: was it serviced "
        "then? Enter what was done, and the trend starts again from there"
    )
    rose = step_sentence(Step(5, 100.0, 130.0, 6.14, 0.9), unit="dB")
    assert "rose at once" in rose
    assert "knock?" in rose
    assert step_sentence(Step(5, 100.0, 130.0, 6.14, 0.4), unit="dB") == ""
