"""Marks, ticks and a stated speed against the simulator's true crank angle, and what each refuses."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.speed.heard_ticks import HeardTicks
from acoustic_plugins.speed.marks_file import MarksFile, read_marks
from acoustic_plugins.speed.stated_speed import HIGHEST_RPM, StatedSpeed

from acoustic.api import InputError, Motion, SpeedRequest

SpinOf = Callable[..., Any]
RecordingOf = Callable[..., Any]
DEFECT = (("inner_raceway", -8.0),)


def angle_error_turns(motion: Motion, spin: Any) -> float:
    """Largest difference from the true angle within the turning part, an unknown start left out."""
    inside = (spin.times_s >= motion.start_s) & (spin.times_s <= motion.stop_s)
    found = np.interp(spin.times_s[inside], motion.times_s, motion.turns)
    error = found - spin.turns[inside]
    return float(np.max(np.abs(error - np.median(error))))


def write_marks(path: Path, marks_s: Any, *, header: str = "time_s", separator: str = "") -> Path:
    lines = [f"{mark:.4f}{separator}" for mark in marks_s]
    path.write_text("\n".join([*([header] if header else []), *lines, ""]), encoding="utf-8")
    return path


# Marks.


def marks_of(path: Path, recording: Any) -> Motion:
    return MarksFile().estimate(recording, SpeedRequest(marks=path))


def test_marks_follow_the_true_angle(tmp_path: Path, spin_of: SpinOf, recording_of: RecordingOf) -> None:
    """Between marks the angle is interpolated; a fiftieth of a turn is what shifts the tenth harmonic of 7 a
    turn by one and a half periods, so the error must stay well below it."""
    spin = spin_of("sound")
    motion = marks_of(write_marks(tmp_path / "m.csv", spin.marks_s), recording_of("sound"))
    assert angle_error_turns(motion, spin) < 0.01
    assert motion.total_turns == pytest.approx(spin.marks_s.size - 1)
    assert (motion.source, motion.spin, motion.scale_known) == ("marks", "hand", True)
    assert motion.own_clicks_s.size == 0
    assert (motion.start_s, motion.stop_s) == pytest.approx((spin.marks_s[0], spin.marks_s[-1]), abs=1e-4)


def test_the_still_parts_are_still(tmp_path: Path, spin_of: SpinOf, recording_of: RecordingOf) -> None:
    spin = spin_of("sound")
    motion = marks_of(write_marks(tmp_path / "m.csv", spin.marks_s), recording_of("sound"))
    assert motion.still
    for start_s, stop_s in motion.still:
        assert 0 <= start_s < stop_s <= 12.0
        assert stop_s <= spin.start_s or start_s >= spin.stop_s


def test_pedalling_is_told_from_coasting(tmp_path: Path, spin_of: SpinOf, recording_of: RecordingOf) -> None:
    plan = {"spin": "pedal", "start_hz": 1.25, "wobble": 0.03, "drift": 0.03}
    spin = spin_of("sound", **plan)
    motion = marks_of(write_marks(tmp_path / "m.csv", spin.marks_s), recording_of("sound", **plan))
    assert motion.spin == "pedal"
    # The speed wobbles twice a turn, which one mark a turn can't see: 3 % of a quarter turn over 2 pi.
    assert angle_error_turns(motion, spin) < 0.02


@pytest.mark.parametrize(
    ("header", "separator"), [("", ""), ("time_s", ""), ("Zeit;Notiz", ";x"), ("time,note", ",x"), ("t,a,b", ",,")]
)
def test_spellings_of_the_file(header: str, separator: str, tmp_path: Path) -> None:
    path = write_marks(tmp_path / "m.csv", [1, 2.5, 3], header=header, separator=separator)
    assert read_marks(path) == [1, 2.5, 3]


def test_what_a_spreadsheet_writes(tmp_path: Path) -> None:
    """A byte order mark, Windows line ends, blank lines and rows of commas alone."""
    path = tmp_path / "m.csv"
    path.write_bytes("\ufefftime_s\r\n1.0\r\n\r\n2.0\r\n,,\r\n3.5\r\n".encode())
    assert read_marks(path) == [1.0, 2.0, 3.5]


@pytest.mark.parametrize("text", ["Zeit;Notiz\n1,25;a\n2,5;b\n3,75;c\n", "Zeit\n1,25\n2,5\n3,75\n"])
def test_decimal_commas(text: str, tmp_path: Path) -> None:
    """Half of the world's spreadsheets write 1,25; taken as 1 it would quietly be another spin."""
    path = tmp_path / "m.csv"
    path.write_text(text, encoding="utf-8")
    try:
        assert read_marks(path) == [1.25, 2.5, 3.75]
    except InputError as refusal:
        assert "1,25" in refusal.found or "comma" in refusal.hint, "a refusal serves as well"


@pytest.mark.parametrize(
    "text", ["time_s\n1\n2\nthree\n4\n", "1\n2\n3:04\n", "0:01\n0:02\n0:61\n", "1\n2\nnan\n", "1\n2\n1.234.5\n"]
)
def test_a_line_that_is_no_time(text: str, tmp_path: Path) -> None:
    path = tmp_path / "m.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"line [34]"):
        read_marks(path)


@pytest.mark.parametrize("outside", [-0.1, 12.5])
def test_marks_outside_the_recording(outside: float, tmp_path: Path, recording_of: RecordingOf) -> None:
    path = write_marks(tmp_path / "m.csv", [1, 2, 3, 4, outside])
    with pytest.raises(InputError) as caught:
        marks_of(path, recording_of("sound"))
    assert "1 of 5 marks" in caught.value.found
    assert "12.0 s" in caught.value.found


# Ticks.


def ticks_of(recording: Any) -> Motion:
    return HeardTicks().estimate(recording, SpeedRequest(ticks=True))


@pytest.mark.parametrize(
    "plan",
    [{}, {"defects": DEFECT}, {"talk_db": 6.0}, {"knocks": 2}, {"running_db": -6.0}, {"seed": 21}],
    ids=["plain", "damaged", "talk", "dropped tools", "quiet", "another"],
)
def test_ticks_follow_the_true_angle(plan: Any, spin_of: SpinOf, recording_of: RecordingOf) -> None:
    """Every tick once, none invented, whatever else sounds; their own times are no evidence."""
    spin = spin_of("ticking", **plan)
    motion = ticks_of(recording_of("ticking", **plan))
    assert (motion.source, motion.spin) == ("ticks", "hand")
    assert angle_error_turns(motion, spin) < 0.02
    assert np.min(np.abs(np.subtract.outer(motion.own_clicks_s, spin.marks_s)), axis=1).max() < 0.01
    # The first and the last turn are the slowest, and a tick there may be left out.
    assert spin.marks_s.size - 2 <= motion.own_clicks_s.size <= spin.marks_s.size


@pytest.mark.parametrize("case", ["sound", "outer", "grit", "far_away"])
def test_no_ticks_no_guess(case: str, recording_of: RecordingOf) -> None:
    with pytest.raises(InputError) as caught:
        ticks_of(recording_of(case))
    assert "no regular ticks" in caught.value.found
    assert "--marks" in caught.value.hint


# A stated speed.


def stated(recording: Any, rpm: float | None) -> Motion:
    return StatedSpeed().estimate(recording, SpeedRequest(speed_rpm=rpm))


def test_a_stated_speed(spin_of: SpinOf, recording_of: RecordingOf) -> None:
    """75 rpm is 1.25 turns a second; the turning part is found within a few tenths."""
    spin = spin_of("steady")
    motion = stated(recording_of("steady"), 75.0)
    assert motion.speed_hz == pytest.approx([1.25, 1.25])
    assert motion.start_s == pytest.approx(spin.start_s, abs=0.3)
    assert motion.stop_s == pytest.approx(spin.stop_s, abs=0.3)
    assert motion.total_turns == pytest.approx(1.25 * (motion.stop_s - motion.start_s))
    assert (motion.source, motion.spin, motion.scale_known) == ("stated", "steady", True)
    for start_s, stop_s in motion.still:
        assert stop_s <= spin.start_s or start_s >= spin.stop_s


def test_a_knock_before_the_start_is_not_the_start(spin_of: SpinOf, recording_of: RecordingOf) -> None:
    recording = recording_of("steady", still_s=(3.0, 1.0))
    samples = recording.samples.copy()
    rng = np.random.default_rng(1)
    samples[24_000:28_800, 0] += 0.2 * rng.standard_normal(4800) * np.linspace(1, 0, 4800) ** 2
    knocked = type(recording)(recording.path, "", samples, recording.sample_rate_hz, recording.format)
    assert stated(knocked, 75.0).start_s == pytest.approx(3.0, abs=0.3)


def test_where_it_turns_all_the_time(recording_of: RecordingOf) -> None:
    motion = stated(recording_of("steady", still_s=(0.0, 0.0)), 75.0)
    assert (motion.start_s, motion.stop_s) == pytest.approx((0, 12), abs=0.2)
    assert motion.still == ()


@pytest.mark.parametrize("rpm", [0.0, -60.0, float("nan"), float("inf"), 10 * HIGHEST_RPM])
def test_impossible_speeds(rpm: float, recording_of: RecordingOf) -> None:
    with pytest.raises(InputError) as caught:
        stated(recording_of("steady"), rpm)
    assert f"{rpm:g}" in caught.value.found
    assert f"at most {HIGHEST_RPM:g}" in caught.value.found


def test_the_column_named_time_is_read(tmp_path: Path) -> None:
    path = tmp_path / "m.csv"
    path.write_text("turn,time_s\n1,1.96\n2,2.56\n3,3.18\n", encoding="utf-8")
    assert read_marks(path) == [1.96, 2.56, 3.18]


def test_a_whole_second_among_decimal_points_keeps_its_value(tmp_path: Path) -> None:
    path = tmp_path / "m.csv"
    path.write_text("time,n\n1.2,0\n2,1\n2.8,2\n", encoding="utf-8")
    assert read_marks(path) == [1.2, 2.0, 2.8]
