"""The stored laws of what has no order are those that healthy recordings give."""

from __future__ import annotations

import os
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.api import DETECTION_CHANCE

sys.path.insert(0, str(Path(__file__).parent))
from event_nulls import LAWS, fitted, null_scores, options

REAL = os.environ.get("ACOUSTIC_REAL_RECORDINGS")
FEW, MANY = 12, 60

# The laws themselves are pinned in test_pinned.py, whatever is run.
pytestmark = pytest.mark.broad


@cache
def few() -> dict[str, NDArray[np.float64]]:
    """Of the physical simulator alone."""
    return null_scores(options("").parse_args(["--recordings", str(FEW)]))["physical"]


@pytest.mark.parametrize("condition", ["creak", "tight", "contamination", "rumble"])
def test_simulated_healthy_bearings_are_not_accused(condition: str) -> None:
    """Of so few, none may be called, and no more than a third may show one chance in ten (binomially, fewer than
    one time in 200 where a tenth do); a condition with two laws is one condition."""
    laws = {name: law for name, law in LAWS.items() if name.startswith(condition)}
    chances = np.array([law.chance(float(score)) for name, law in laws.items() for score in few()[name]])
    assert chances.size >= FEW / 4
    assert chances.min() > DETECTION_CHANCE
    assert np.mean(chances <= 0.1) <= max(1 / 3, 1.5 / chances.size)


# A swell once a turn must never read as tight: until that row is measured with a lighter tail, the chance stays
# larger than what healthy bearings of either generator show.
KEPT_HEAVY = pytest.mark.xfail(reason="the law of a tight run is heavier than both generators print")


@pytest.mark.skipif(REAL is None, reason="ACOUSTIC_REAL_RECORDINGS names no folder of real recordings")
@pytest.mark.parametrize(
    "condition",
    [pytest.param(one, marks=KEPT_HEAVY) if one == "tight" else one for one in LAWS],
)
def test_the_stored_law_is_the_heavier_one(condition: str) -> None:
    """Tenth and fall vary together, so what is compared is the score that one in a hundred reaches: that of the
    generator where it is higher, within three standard errors of a fit to so few."""
    depth = np.log(10)
    found = [scores[condition] for scores in _of_both().values()]
    if min(scores.size for scores in found) < FEW:
        found = [np.concatenate(found)]
    fits = [fitted(scores) for scores in found]
    law, error = max(fits, key=lambda fit: fit[0].tenth + depth * fit[0].fall)
    off = LAWS[condition].tenth + depth * LAWS[condition].fall - law.tenth - depth * law.fall
    assert abs(off) < 3 * np.hypot(error.tenth, depth * error.fall) + 0.2


@cache
def _of_both() -> dict[str, dict[str, NDArray[np.float64]]]:
    said = options("").parse_args(["--folder", str(REAL), "--recordings", str(MANY)])
    return {str(generator): scores for generator, scores in null_scores(said).items()}
