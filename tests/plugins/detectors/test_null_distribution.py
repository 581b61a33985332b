"""The upper half of what healthy bearings score: by hand, and monotone."""

from __future__ import annotations

import numpy as np
import pytest
from acoustic_plugins.detectors.null_distribution import HealthyScores

LAW = HealthyScores(median=1.0, tenth=3.0, fall=0.5)


@pytest.mark.parametrize(
    ("score", "chance"),
    [
        (1.0, 0.5),
        (2.0, 0.2236068),  # half way in the logarithm: the root of 0.5 x 0.1
        (3.0, 0.1),
        (3.5, 0.0367879),  # 0.1 / e
        (3.0 + 0.5 * np.log(50), 0.002),
        (-1e9, 1.0),
        (np.inf, 0.0),
    ],
)
def test_by_hand(score: float, chance: float) -> None:
    assert LAW.chance(score) == pytest.approx(chance, rel=1e-5)


def test_more_is_never_likelier() -> None:
    chances = [LAW.chance(score) for score in np.linspace(-5, 20, 301)]
    assert np.all(np.diff(chances) <= 0)
    assert np.all(np.diff(chances[100:]) < 0)
