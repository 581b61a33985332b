"""What a beat may be: sidebands, a count by eye, and probabilities that add up."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from acoustic.core.beat import beat_levels
from acoustic.core.envelope import band_bank
from acoustic.core.geometry import defect_orders
from acoustic.core.scale import part_chances, read_beat


@pytest.fixture(scope="module")
def beat(recording_of: Any, spin_of: Any, commonest: Any) -> Any:
    """A case by its true course: (case, part) -> levels, angle, beats, turns."""

    def make(case: str, part: str) -> Any:
        recording, spin = recording_of(case), spin_of(case)
        bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz, top_hz=20_000.0)
        levels = beat_levels(bank, spin.start_s + 0.45, spin.stop_s - 0.5)
        times_s = np.linspace(levels.start_s, levels.stop_s, 1025)
        turns = np.interp(times_s, spin.times_s, spin.turns)
        made = float(turns[-1] - turns[0])
        return levels, (turns - turns[0]) / made, made * getattr(defect_orders(commonest), part), made

    return make


def read(made: Any, geometries: Any, counted: float | None = None) -> Any:
    levels, angle, beats, _ = made
    return read_beat(levels, angle, beats, geometries, start_share=1.8, counted_turns=counted)


def test_sidebands_a_turn_apart_tell_the_inner_ring(beat: Any, commonest: Any) -> None:
    made = beat("inner", "inner_raceway")
    readings = read(made, [commonest])
    assert next(iter(part_chances(readings))) == "inner_raceway"
    assert readings[0].probability > 0.9
    assert readings[0].turns == pytest.approx(made[3], rel=0.01)


def test_without_sidebands_the_ring_stays_open(beat: Any, commonest: Any) -> None:
    readings = read(beat("outer", "outer_raceway"), [commonest])
    assert readings[0].probability < 0.98
    assert sum(reading.probability for reading in readings) <= 1.0


@pytest.mark.parametrize("miscounted", [-0.5, 0.0, 0.5])
def test_a_count_by_eye_settles_it(miscounted: float, beat: Any, commonest: Any) -> None:
    """An inner ring's beats would make a fifth fewer turns: two of eleven."""
    made = beat("outer", "outer_raceway")
    readings = read(made, [commonest], counted=made[3] + miscounted)
    assert readings[0].part == "outer_raceway"
    assert readings[0].turns == pytest.approx(made[3], rel=0.01)


def test_a_count_chooses_among_ball_counts(beat: Any, commonest: Any) -> None:
    made = beat("outer", "outer_raceway")
    others = [replace(commonest, balls=balls) for balls in (13, 16, 19)]
    readings = read(made, others, counted=made[3])
    assert (readings[0].part, readings[0].balls) == ("outer_raceway", 16)


def test_a_count_that_no_part_fits_leaves_little(beat: Any, commonest: Any) -> None:
    made = beat("outer", "outer_raceway")
    assert sum(r.probability for r in read(made, [commonest], counted=made[3] * 1.8)) < 0.5
