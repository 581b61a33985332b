"""The motion read from the sound alone, and with turns counted by eye."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from acoustic.bearings.search import resolve_bearing
from acoustic.dsp.levels.filterbank import band_bank
from acoustic.dsp.tacholess.hypothesis import part_chances
from acoustic.errors import EXIT_UNUSABLE, MotionError
from acoustic.simulator.room import coloured_noise
from acoustic.speed.tacholess import tacholess_motion

WHOLE = {"duration_s": 15.0}  # until the crank stands by itself
GEOMETRIES = resolve_bearing(name="6805", balls=16).candidates


def motion_of(recording: Any, *, counted: float | None = None, spin: Any = None) -> Any:
    bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz, top_hz=20_000.0)
    return tacholess_motion(bank, GEOMETRIES, duration_s=recording.duration_s, spin=spin, counted_turns=counted)


def true_turns(spin: Any, motion: Any) -> float:
    first, last = np.interp([motion.start_s, motion.stop_s], spin.times_s, spin.turns)
    return float(last - first)


def test_sound_alone_never_claims_the_scale(recording_of: Any) -> None:
    for case in ("outer", "inner", "sound"):
        motion = motion_of(recording_of(case))
        assert (motion.source, motion.scale_known) == ("sound", False)


def test_an_inner_ring_s_sidebands_give_the_scale_too(recording_of: Any, spin_of: Any) -> None:
    motion = motion_of(recording_of("inner", **WHOLE))
    assert part_chances(motion.impact_train.readings)["inner_raceway"] > 0.9
    assert motion.total_turns == pytest.approx(true_turns(spin_of("inner", **WHOLE), motion), rel=0.03)
    assert motion.spin == "hand"


@pytest.mark.parametrize("miscounted", [-0.5, 0.0, 0.5])
def test_counted_turns_are_put_right_by_the_beat(miscounted: float, recording_of: Any, spin_of: Any) -> None:
    spin = spin_of("outer", **WHOLE)
    motion = motion_of(recording_of("outer", **WHOLE), counted=float(spin.turns[-1]) + miscounted)
    assert (motion.source, motion.scale_known) == ("turns", True)
    assert motion.total_turns == pytest.approx(true_turns(spin, motion), rel=0.02)
    assert motion.impact_train.readings[0].part == "outer_raceway"
    assert motion.relative_uncertainty < 0.06


def test_without_a_beat_the_speed_is_no_more_than_a_guess(recording_of: Any, spin_of: Any) -> None:
    changes = {"waviness": 0.0, **WHOLE}
    alone = motion_of(recording_of("sound", **changes))
    assert alone.impact_train is None
    assert alone.relative_uncertainty >= 1.0
    spin = spin_of("sound", **changes)
    counted = motion_of(recording_of("sound", **changes), counted=round(float(spin.turns[-1])))
    assert counted.impact_train is None
    assert counted.relative_uncertainty > 0.1
    assert abs(counted.total_turns / true_turns(spin, counted) - 1) < counted.relative_uncertainty


def test_a_pedalled_crank_is_told_by_its_level(recording_of: Any, spin_of: Any) -> None:
    changes = {"spin": "pedal", "drift": 0.05}
    motion = motion_of(recording_of("steady_outer", **changes), counted=12.0)
    assert motion.spin == "pedal"
    spin = spin_of("steady_outer", **changes)
    # The simulated crank starts at full speed; a real one is taken to gather it.
    since = motion.times_s > motion.start_s + 0.5
    true = np.interp(motion.times_s[since], spin.times_s, spin.turns)
    # The scale is left to the impact train: 12 was a rough count.
    ratio = (motion.turns[since][-1] - motion.turns[since][0]) / (true[-1] - true[0])
    assert ratio == pytest.approx(1, abs=0.02)


def test_the_still_parts_are_still(recording_of: Any, spin_of: Any) -> None:
    motion, spin = motion_of(recording_of("outer")), spin_of("outer")
    assert motion.still
    for start_s, stop_s in motion.still:
        made = np.interp([start_s, stop_s], spin.times_s, spin.turns)
        assert made[1] - made[0] == 0


def test_gain_changes_nothing(recording_of: Any) -> None:
    quiet, loud = (motion_of(recording_of("outer", gain=gain)) for gain in (0.1, 10.0))
    assert quiet.total_turns == pytest.approx(loud.total_turns, rel=1e-6)
    assert quiet.start_s == loud.start_s


def test_a_room_without_a_crank_is_refused(tmp_path: Path, acoustic: Any) -> None:
    noise = coloured_noise(480_000, 48_000.0, tilt_db_per_octave=-4, rng=np.random.default_rng(8))
    with pytest.raises(MotionError, match="no turning can be heard"):
        tacholess_motion(
            band_bank(noise, sample_rate_hz=48_000.0, top_hz=20_000.0),
            GEOMETRIES,
            duration_s=10.0,
            spin=None,
            counted_turns=None,
        )
    soundfile.write(tmp_path / "room.wav", 0.01 * noise, 48_000)
    outcome = acoustic("check", tmp_path / "room.wav", "--bearing", "6805", "--json")
    assert outcome.code == EXIT_UNUSABLE
    assert outcome.document["grade"]["level"] == "undecided"
    assert any("no turning can be heard" in p["detail"] for p in outcome.document["quality"]["problems"])


def test_a_spin_that_never_settles_is_refused(tmp_path: Path, acoustic: Any, spin_of: Any) -> None:
    """Pieces of half a second in any order: impacts there are, but no angle of a crank that turns."""
    spin = spin_of("outer", still_s=(0.0, 0.0))
    pieces = np.array_split(spin.samples, 24)
    order = np.random.default_rng(5).permutation(24)
    soundfile.write(tmp_path / "jerky.wav", np.concatenate([pieces[k] for k in order]), 48_000)
    outcome = acoustic("check", tmp_path / "jerky.wav", "--bearing", "6805", "--json")
    assert outcome.code == EXIT_UNUSABLE
    assert outcome.document["grade"]["level"] == "undecided"
    assert {p["code"] for p in outcome.document["quality"]["problems"]} & {"no_beat", "no_motion"}
