"""The stored laws of a healthy bearing's lines are those that healthy recordings give."""

from __future__ import annotations

import os
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from acoustic.dsp.orders.healthy import (
    DETECTION_CHANCE,
    FALL_NATS,
    LUCK_LEFT_NATS,
    TENTH_NATS,
    WAVINESS_NATS,
)
from acoustic.dsp.orders.hypotheses import PARTS

sys.path.insert(0, str(Path(__file__).parent))
from order_lines import (
    HEIGHTS,
    Heard,
    fall_of,
    healthy,
    luck_left,
    options,
    score_of,
    scores_of,
    standard_error,
    tabled_above,
    tenth_of,
    waviness_of,
)

REAL = os.environ.get("ACOUSTIC_REAL_RECORDINGS")
FEW = 14  # of each generator, so that the file takes half a minute


@cache
def few() -> list[Heard]:
    """Of both generators where real recordings are there, else of the physical simulator."""
    folder = ["--folder", REAL] if REAL else []
    return list(healthy(options("").parse_args(["--recordings", str(FEW), *folder])))


def physical() -> list[Heard]:
    return [one for one in few() if one.generator == "physical"]


@pytest.mark.parametrize("part", PARTS)
def test_a_score_and_its_chance_are_the_same_law(part: str) -> None:
    """By hand: a tenth at the stored score, and for one in e times fewer a fall farther on (small chances)."""
    assert score_of(part, 0.1) == pytest.approx(TENTH_NATS[part], abs=1e-9)
    further = score_of(part, 1e-6 / np.e) - score_of(part, 1e-6)
    assert further == pytest.approx(FALL_NATS[part], rel=1e-5)


@pytest.mark.broad
@pytest.mark.parametrize("part", PARTS)
def test_the_stored_tenth_is_what_simulated_healthy_bearings_reach(part: str) -> None:
    """Within three standard errors of a tenth read off so few, which is the second highest of them; and so few
    resample badly, so that no error is taken for less than a fall over the root of what lies beyond."""
    _within_errors(physical(), part)


@pytest.mark.broad
@pytest.mark.skipif(REAL is None, reason="ACOUSTIC_REAL_RECORDINGS names no folder of real recordings")
@pytest.mark.parametrize("part", PARTS)
def test_the_stored_tenth_holds_over_both_generators(part: str) -> None:
    assert {one.generator for one in few()} == {"physical", "pieced"}
    _within_errors(few(), part)


def _within_errors(found: list[Heard], part: str) -> None:
    tenth = tenth_of(scores_of(found, part))
    error = standard_error(found, lambda these: tenth_of(scores_of(these, part)))
    least = FALL_NATS[part] / (0.1 * len(found)) ** 0.5
    assert abs(TENTH_NATS[part] - tenth) < 3 * max(error, least)
    assert fall_of(scores_of(found, part)) < 4 * FALL_NATS[part], "four times too far is no luck, even of two"


@pytest.mark.broad
def test_waviness_lifts_luck_as_stored() -> None:
    """Within three standard errors; so few resample badly, so that no error is taken for less than 0.05 and 1."""
    found = few()
    assert abs(luck_left(found) - LUCK_LEFT_NATS) < 3 * max(0.05, standard_error(found, luck_left))
    assert abs(waviness_of(found) - WAVINESS_NATS) < 3 * max(1.0, standard_error(found, waviness_of))


@pytest.mark.broad
def test_simulated_healthy_bearings_are_not_accused() -> None:
    """Of five conditions of so few at most one chance would be called, were its strikes strong: 0.002 x 5 x 14 or
    0.14 are expected, two or more come once in a hundred times. And no condition shows a tenth in more than a
    third of them, as one in a hundred sets would."""
    chances = {part: np.array([one.chances[part] for one in physical()]) for part in (*PARTS, "raceway")}
    assert sum(int(np.sum(values <= DETECTION_CHANCE)) for values in chances.values()) <= 1
    assert all(np.mean(values <= 0.1) <= 1 / 3 for values in chances.values())


@pytest.mark.broad
def test_the_tabled_law_of_a_bin_is_the_heavier_one() -> None:
    """At every height the table allows luck more bins than generators show, and past 2 less than twice as many.

    Bins of one recording are many, so that a share of 12 per cent is known to a hundredth of itself.
    """
    for found in (few(), physical()):
        above = np.mean([one.above for one in found], axis=0)
        tabled = np.array([tabled_above(height) for height in HEIGHTS])
        assert np.all(above < tabled)
        assert above[HEIGHTS.index(2.0)] > tabled[HEIGHTS.index(2.0)] / 2
