"""The angle from a gyro's file: the true one through an unknown clock, and where the sound does not tell it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.speed.gyro.source import GyroFile

from acoustic.api import InputError, Motion, MotionError, SpeedRequest
from acoustic.errors import EXIT_UNUSABLE

Call = Callable[..., Any]
RAD, DEG, RPM = 2 * np.pi, 360.0, 60.0  # a turn, and a turn a second


def gyro_text(
    spin: Any,
    *,
    header: str = "time (s),gyro z (deg/s)",
    unit: float = DEG,
    axis: Any = (1.0,),
    begins_s: float = -0.5,
    ends_s: float = 0.5,
    rate_hz: float = 100.0,
    drift: float = 0.0,
    noise_deg: float = 0.8,
    bias_deg: float = 2.0,
    seed: int = 4,
) -> str:
    """The file of a gyro that began before the recording, runs fast by `drift`, and jitters by 1 ms."""
    rng = np.random.default_rng(seed)
    duration_s = float(spin.times_s[-1])
    times_s = np.arange(begins_s, duration_s + ends_s, 1 / rate_hz)
    speed_hz = np.interp(times_s, spin.times_s, np.gradient(spin.turns, spin.times_s), left=0, right=0)
    rates_hz = (
        np.outer(axis, speed_hz) + (bias_deg + noise_deg * rng.standard_normal((len(axis), times_s.size))) / 360
    )
    stamps = (times_s - begins_s) * (1 + drift) + rng.uniform(-0.001, 0.001, times_s.size)
    rows = np.column_stack([stamps, rates_hz.T * unit])
    return "\n".join([header, *(",".join(f"{cell:.5f}" for cell in row) for row in rows), ""])


def estimated(path: Path, text: str, recording: Any, **said: Any) -> Motion:
    path.write_text(text, encoding="utf-8")
    return GyroFile().estimate(recording, SpeedRequest(gyro=path, **said))


def angle_error_turns(motion: Motion, spin: Any) -> float:
    """Largest difference from the true angle, an unknown start left out."""
    error = motion.turns - np.interp(motion.times_s, spin.times_s, spin.turns)
    return float(np.max(np.abs(error - np.median(error))))


@pytest.mark.parametrize(
    ("case", "how"),
    [
        ("sound", {}),
        ("sound", {"begins_s": -70.0, "ends_s": 20.0, "drift": 200e-6}),
        ("outer", {"begins_s": -0.13, "drift": -200e-6}),
        ("rumble", {"rate_hz": 20.0}),
        ("grit", {"unit": RAD, "axis": (0.36, -0.48, 0.8), "header": "time,x (rad/s),y (rad/s),z (rad/s)"}),
        ("steady", {"rate_hz": 400.0}),
        ("short", {"unit": -RPM, "header": "time,gyro z (rpm)"}),
    ],
    ids=["sound", "a minute early", "outer ring", "20 Hz", "three axes", "400 Hz", "backward"],
)
def test_the_angle_is_the_crank_s(
    case: str, how: dict[str, Any], tmp_path: Path, spin_of: Call, recording_of: Call
) -> None:
    """A clock off by d turns the angle by w d, 2 turns/s at most: a fiftieth of a turn leaves 10 ms either way."""
    spin = spin_of(case)
    motion = estimated(tmp_path / "gyro.csv", gyro_text(spin, **how), recording_of(case))
    assert angle_error_turns(motion, spin) < 0.02
    assert (motion.start_s, motion.stop_s) == pytest.approx((spin.start_s, spin.stop_s), abs=0.15)
    made = np.diff(np.interp([motion.start_s, motion.stop_s], spin.times_s, spin.turns))[0]
    assert motion.total_turns == pytest.approx(made, rel=0.004)
    assert 0.01 <= motion.relative_uncertainty < 0.02
    assert motion.turns[0] == 0 and np.all(np.diff(motion.turns) > 0) and np.all(np.diff(motion.times_s) > 0)
    spun = "steady" if case == "steady" else "hand"
    assert (motion.source, motion.spin, motion.scale_known) == ("gyro", spun, True)


def test_the_still_parts_are_still(tmp_path: Path, spin_of: Call, recording_of: Call) -> None:
    spin = spin_of("sound")
    motion = estimated(tmp_path / "gyro.csv", gyro_text(spin), recording_of("sound"))
    (before_s, push_s), (stop_s, after_s) = motion.still
    assert before_s == pytest.approx(0, abs=0.1) and after_s == pytest.approx(12, abs=0.1)
    assert spin.start_s - 0.3 < push_s <= spin.start_s
    assert spin.stop_s <= stop_s < spin.stop_s + 0.5


def test_nothing_is_still_outside_the_gyro_s_time(tmp_path: Path, spin_of: Call, recording_of: Call) -> None:
    """The logger started 0.7 s into the recording, half a second before the push, and ended with the spin."""
    spin = spin_of("sound")
    text = gyro_text(spin, begins_s=0.7, ends_s=-0.9)
    motion = estimated(tmp_path / "gyro.csv", text, recording_of("sound"))
    assert all(a > 0.69 and b < 11.11 for a, b in motion.still)


def test_more_is_admitted_where_less_is_known(tmp_path: Path, spin_of: Call, recording_of: Call) -> None:
    """A magnitude's offset at rest, 3 deg/s of 400 on average, adds most of a per cent."""
    spin, recording = spin_of("sound"), recording_of("sound")
    plain = estimated(tmp_path / "gyro.csv", gyro_text(spin), recording)
    text = gyro_text(spin, header="time,gyro magnitude (deg/s)", bias_deg=3.0)
    magnitude = estimated(tmp_path / "gyro.csv", text, recording)
    assert magnitude.relative_uncertainty > plain.relative_uncertainty + 0.002
    made = np.diff(np.interp([magnitude.start_s, magnitude.stop_s], spin.times_s, spin.turns))[0]
    assert magnitude.total_turns == pytest.approx(made, rel=magnitude.relative_uncertainty)


def test_the_spin_said_counts(tmp_path: Path, spin_of: Call, recording_of: Call) -> None:
    text = gyro_text(spin_of("sound"))
    assert estimated(tmp_path / "g.csv", text, recording_of("sound"), spin="pedal").spin == "pedal"


def test_a_check_by_gyro(acoustic: Call, taken: Call) -> None:
    made = taken("outer")
    outcome = acoustic("check", made.path, "--bearing", "6805", "--gyro", made.gyro, "--json")
    assert outcome.code == 0, outcome.stderr
    assert outcome.document["motion"]["source"] == "gyro"
    assert outcome.document["grade"]["level"] == "replace"


# What the sound does not tell.


def clock_refused(path: Path, text: str, recording: Any) -> MotionError:
    with pytest.raises(MotionError) as caught:
        estimated(path, text, recording)
    assert "--marks" in caught.value.hint
    return caught.value


def test_a_bearing_that_cannot_be_heard(tmp_path: Path, spin_of: Call, recording_of: Call) -> None:
    refusal = clock_refused(tmp_path / "g.csv", gyro_text(spin_of("far_away")), recording_of("far_away"))
    assert "cannot be heard" in refusal.found
    assert "nearer to the bearing" in refusal.hint


def test_a_recording_of_neither_push_nor_stop(tmp_path: Path, spin_of: Call, recording_of: Call) -> None:
    """From 4 to 8 s the crank slows from 1.5 to 0.9 turns/s; no second of it is unlike the next."""
    whole = recording_of("sound", running_db=-3.0)
    samples = whole.samples[4 * 48_000 : 8 * 48_000].copy()
    middle = type(whole)(whole.path, "", samples, whole.sample_rate_hz, whole.format)
    refusal = clock_refused(tmp_path / "g.csv", gyro_text(spin_of("sound", running_db=-3.0)), middle)
    assert "two still seconds before the push" in refusal.hint


def test_the_gyro_of_another_spin(tmp_path: Path, spin_of: Call, recording_of: Call) -> None:
    """Six turns in 5 s against eleven in 10 s: as many a second when let go, and gone in half of the time."""
    refusal = clock_refused(tmp_path / "g.csv", gyro_text(spin_of("short")), recording_of("sound"))
    assert "Give the gyro's file of this very spin" in refusal.hint


def test_a_silent_recording(tmp_path: Path, spin_of: Call, recording_of: Call) -> None:
    whole = recording_of("sound")
    for samples in (np.zeros_like(whole.samples), whole.samples[:20_000].copy()):
        silent = type(whole)(whole.path, "", samples, whole.sample_rate_hz, whole.format)
        clock_refused(tmp_path / "g.csv", gyro_text(spin_of("sound")), silent)


def test_the_command_says_so(acoustic: Call, taken: Call) -> None:
    made = taken("far_away")
    outcome = acoustic("check", made.path, "--bearing", "6805", "--gyro", made.gyro)
    assert outcome.code == EXIT_UNUSABLE
    said = " ".join((outcome.stdout + outcome.stderr).split()).lower()
    assert "cannot be heard" in said and "record again" in said
    assert "traceback" not in said


def test_no_file_given(recording_of: Call) -> None:
    with pytest.raises(InputError, match="no gyro file was given"):
        GyroFile().estimate(recording_of("sound"), SpeedRequest())
