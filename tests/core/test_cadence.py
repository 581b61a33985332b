"""A pedalled crank's wandering cadence, followed by the beat of a damaged ring."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from acoustic.core.beat import beat_levels
from acoustic.core.cadence import find_cadence
from acoustic.core.coast import TIME
from acoustic.core.envelope import band_bank
from acoustic.core.geometry import defect_orders
from acoustic.core.sound_bearing import DETECTION_CHANCE, chance_of_cadence


def followed(recording: Any) -> Any:
    bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz, top_hz=20_000.0)
    levels = beat_levels(bank, 1.4, 10.8)
    return levels, find_cadence(levels)


@pytest.mark.parametrize("drift", [0.0, 0.03, 0.07])
def test_it_follows_the_drift(drift: float, recording_of: Any, spin_of: Any, commonest: Any) -> None:
    changes = {"spin": "pedal", "start_hz": 1.2, "wobble": 0.03, "drift": drift}
    spin = spin_of("steady_outer", **changes)
    levels, course = followed(recording_of("steady_outer", **changes))
    true = np.interp(levels.start_s + TIME * levels.duration_s, spin.times_s, spin.turns)
    turns = true[-1] - true[0]
    assert course.beat.beats == pytest.approx(turns * defect_orders(commonest).outer_raceway, rel=0.012)
    assert np.abs(course.angle * turns - (true - true[0])).max() < 0.1
    assert chance_of_cadence(course.beat.surprise) < 1e-9


def test_no_beat_is_found_where_there_is_none(recording_of: Any) -> None:
    _, course = followed(recording_of("steady", waviness=0.0, talk_db=0.0))
    assert chance_of_cadence(course.beat.surprise) > DETECTION_CHANCE
