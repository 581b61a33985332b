"""The null laws against searches in noise, and what they give at values reckoned by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from acoustic.dsp.tacholess.impact_levels import impact_levels
from acoustic.dsp.tacholess.null import COAST, TrainNull, train_chance
from acoustic.dsp.tacholess.train_search import find_train


def test_the_larger_of_both_chances_squared() -> None:
    """At the location a Gumbel tail is 1 - 1/e; a normal tail 1.645 standard deviations up is 0.05."""
    null = TrainNull(at_10_s=10.0, per_log_length=4.0, scale=2.0, struck_mean=2.0, struck_spread=1.0)
    location = 10 + 4 * math.log(1.5)
    assert train_chance(null, score=location, struck=9.0, length_s=15.0) == pytest.approx((1 - math.exp(-1)) ** 2)
    assert train_chance(null, score=99.0, struck=3.645, length_s=15.0) == pytest.approx(0.05**2, rel=0.01)


def test_a_longer_recording_reaches_more_by_luck() -> None:
    short, long = (train_chance(COAST, score=18.0, struck=6.0, length_s=length_s) for length_s in (8.0, 30.0))
    assert long > short


def test_noise_reaches_what_the_stored_law_says(train_bank: Callable[..., Any]) -> None:
    """Ten recordings of 13 s: the mean of a Gumbel law lies 0.5772 scales over its location."""
    found = [find_train(impact_levels(train_bank(np.empty(0), seed=seed)), coasting=True) for seed in range(10)]
    scores = np.array([train.score for train in found if train is not None])
    wanted = COAST.at_10_s + COAST.per_log_length * math.log(1.3) + 0.5772 * COAST.scale
    error = COAST.scale * math.pi / math.sqrt(6) / math.sqrt(scores.size)
    assert scores.size >= 6
    assert abs(scores.mean() - wanted) < 3 * error
