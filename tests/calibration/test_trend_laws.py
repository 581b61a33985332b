"""What is said of trends holds on trends of which the truth is known, within what so many can tell."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).parent))
from trend_laws import shares

TRENDS = 150
# Exact binomial bounds: one test in a thousand of a true 90 per cent, or of a true 5, falls outside by luck.
LEAST_HELD = stats.binom.ppf(0.001, TRENDS, 0.9) / TRENDS
MOST_STEPS = stats.binom.ppf(0.999, TRENDS, 0.05) / TRENDS


@pytest.mark.parametrize("long_tailed", [False, True], ids=["normal", "long tails"])
@pytest.mark.parametrize("visits", [4, 8])
def test_intervals_hold_and_steps_are_rare(visits: int, long_tailed: bool) -> None:
    found = shares(visits, TRENDS, long_tailed=long_tailed)
    assert found.slope_held >= LEAST_HELD
    assert found.day_held >= LEAST_HELD
    assert (found.step_found or 0.0) <= MOST_STEPS
