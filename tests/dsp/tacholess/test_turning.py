"""When the crank turns, from levels alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from acoustic.dsp.levels.filterbank import band_bank
from acoustic.dsp.tacholess.turning import find_turning, likely_coast
from acoustic.simulator.room import coloured_noise


def bank_of(recording: Any) -> Any:
    return band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz, top_hz=20_000.0)


@pytest.mark.parametrize("running_db", [4.0, -5.0])
@pytest.mark.parametrize("talk_db", [None, 0.0])
def test_the_push_is_found_to_a_tenth_of_a_second(
    running_db: float, talk_db: float | None, recording_of: Any, spin_of: Any
) -> None:
    changes = {"running_db": running_db, "talk_db": talk_db, "knocks": 2}
    turning = find_turning(bank_of(recording_of("sound", **changes)))
    spin = spin_of("sound", **changes)
    assert turning is not None
    assert turning.start_s == pytest.approx(spin.start_s, abs=0.15)
    assert abs(turning.stop_s - spin.stop_s) < 3.5, "the last slow turns are hardly heard"
    assert turning.course == "coast"


def test_a_driven_crank_is_told_from_a_coasting_one(recording_of: Any) -> None:
    turning = find_turning(bank_of(recording_of("steady")))
    assert turning is not None
    assert turning.course == "drive"
    assert turning.start_s == pytest.approx(1.2, abs=0.15)
    assert turning.stop_s == pytest.approx(11.0, abs=0.4)


def test_a_room_without_a_crank_speaks_for_nothing() -> None:
    noise = coloured_noise(480_000, 48_000.0, tilt_db_per_octave=-4, rng=np.random.default_rng(8))
    turning = find_turning(band_bank(noise, sample_rate_hz=48_000.0, top_hz=20_000.0))
    assert turning is not None
    assert turning.nats < 3.0


def test_a_short_recording_holds_no_spin() -> None:
    noise = np.random.default_rng(8).standard_normal(48_000)
    assert find_turning(band_bank(noise, sample_rate_hz=48_000.0, top_hz=20_000.0)) is None


def test_levels_speak_for_the_true_run_down(recording_of: Any, spin_of: Any) -> None:
    """The last slow turns are hardly heard, so that the stop is told to a few seconds only."""
    spin = spin_of("sound")
    bank = bank_of(recording_of("sound"))
    turning = find_turning(bank)
    assert turning is not None
    stop_s, _ = likely_coast(bank, turning)
    assert abs(stop_s - spin.stop_s) < 3.5
