"""A gyro's file: every spelling of it, and what is refused before any sound is heard."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.speed.gyro.table import GyroTable, read_gyro

from acoustic.errors import EXIT_UNUSABLE

Call = Callable[..., Any]

# SI brochure, 9th edition, table 8 and section 2.3.4: a turn is 2 pi rad or 360 degrees.
RAD, DEG, RPM = 2 * np.pi, 360.0, 60.0


def table(
    rates: Any,
    *,
    header: str = "time (s),gyro z (deg/s)",
    times: Any = None,
    separator: str = ",",
    comma: bool = False,
    top: str = "",
) -> str:
    """Text of a file: times every 10 ms unless given, and one or more columns of rates."""
    columns = np.atleast_2d(np.asarray(rates, dtype=float))
    stamps = 0.01 * np.arange(columns.shape[1]) if times is None else times
    rows = []
    for stamp, *cells in zip(stamps, *columns, strict=True):
        row = separator.join(
            [f"{stamp:.5f}" if isinstance(stamp, float) else str(stamp), *map("{:.5f}".format, cells)]
        )
        rows.append(row.replace(".", ",") if comma else row)
    return top + "\n".join(([header] if header else []) + rows) + "\n"


HUMP_HZ = np.interp(np.arange(400), [50, 90, 350], [0, 1.5, 0])  # turns/s, over four seconds


def read(path: Path, text: str | bytes) -> GyroTable:
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_gyro(path)


class TestSpellings:
    @pytest.mark.parametrize(
        ("text", "unit"),
        [
            (table(HUMP_HZ * DEG), "deg"),
            (table(HUMP_HZ * DEG, header="Time (s),Gyroscope z (°/s)"), "degree sign"),
            (table(HUMP_HZ * DEG, header="t,gyroZ_dps"), "dps"),
            (table(HUMP_HZ * RAD, header="time_s,gyro_z_rad_s"), "rad"),
            (table(HUMP_HZ * RAD, header='"Time (s)","Angular velocity (rad/s)"'), "quoted"),
            (table(HUMP_HZ * RPM, header="time,speed [rpm]"), "rpm"),
            (table(HUMP_HZ * RPM, header="time,cadence (rev/min)"), "a minute"),
            (table(HUMP_HZ, header="time,rotation rate (turns/s)"), "turns"),
            (table(HUMP_HZ * DEG, header="time,omega"), "by plausibility, deg"),
            (table(HUMP_HZ * RAD, header=""), "by plausibility, rad"),
            (table(HUMP_HZ * RAD, top="# made by a logger\n\n% 100 Hz\n"), "comments"),
            (table(HUMP_HZ * RAD, header="# time (s), gyro z (rad/s)"), "header in a comment"),
            (table(HUMP_HZ * DEG, separator=";", header="Zeit (s);Gyro z (Grad/s)", comma=True), "decimal commas"),
            (table(HUMP_HZ * DEG, separator="\t", header="time (s)\tgyro z (deg/s)", comma=True), "tabs"),
            (table(HUMP_HZ * DEG, separator=" ", header="time gyro_deg_s"), "spaces"),
            ("\ufeff" + table(HUMP_HZ * DEG).replace("\n", "\r\n"), "byte order mark"),
            (table(HUMP_HZ * DEG).encode("utf-16"), "two bytes a letter"),
            (table(HUMP_HZ * DEG, header="time (s),gyro (°/s)").encode("latin-1"), "one byte for the degree"),
            (table(HUMP_HZ * DEG) + "3.9", "cut off"),
        ],
        ids=lambda value: value if isinstance(value, str) and len(value) < 30 else "",
    )
    def test_the_same_speed(self, text: str | bytes, unit: str, tmp_path: Path) -> None:
        found = read(tmp_path / "gyro.csv", text)
        if unit == "comments":  # its header says deg, its numbers are rad
            found = GyroTable(found.times_s, found.rates_hz * DEG / RAD, found.signed)
        assert found.rates_hz[:, 0] == pytest.approx(HUMP_HZ, abs=2e-5)
        assert found.times_s == pytest.approx(0.01 * np.arange(400), abs=1e-9)
        assert found.signed

    @pytest.mark.parametrize("comma", [False, True])
    def test_times_as_a_player_shows_them(self, comma: bool, tmp_path: Path) -> None:
        """Minutes and seconds are seconds, whatever unit the header names."""
        times = [f"{k // 6000}:{k % 6000 / 100:05.2f}" for k in range(5800, 6200)]
        rows = [f"{time};{value:.6f}" for time, value in zip(times, HUMP_HZ * DEG, strict=True)]
        text = "\n".join(["time (ms);z (deg/s)", *rows])
        found = read(tmp_path / "gyro.csv", text.replace(".", ",") if comma else text)
        assert found.times_s == pytest.approx(0.01 * np.arange(400), abs=1e-9)
        assert found.rates_hz[:, 0] == pytest.approx(HUMP_HZ, abs=2e-5)

    @pytest.mark.parametrize(
        ("header", "start", "step"),
        [
            ("time (ms),z (deg/s)", 0.0, 10.0),
            ("timestamp_us,z (deg/s)", 5, 10_000),
            ("time,z (deg/s)", 1_754_000_000_000_000_000, 10_000_000),
            ("time,z (deg/s)", 1_754_000_000_000, 10),
            ("epoch (s),z (deg/s)", 1_754_000_000.25, 0.01),
            ("seconds_elapsed,z (deg/s)", -3.0, 0.01),
        ],
    )
    def test_times(self, header: str, start: float, step: float, tmp_path: Path) -> None:
        """Since 1970 a float holds tenths of a microsecond, and nanoseconds to 256."""
        times = [start + k * step for k in range(400)]
        found = read(tmp_path / "gyro.csv", table(HUMP_HZ * DEG, header=header, times=times))
        assert found.times_s == pytest.approx(0.01 * np.arange(400), abs=1e-5)

    def test_three_axes_among_other_columns(self, tmp_path: Path) -> None:
        zeros = np.zeros(400)
        columns = [zeros + 9.81, zeros, zeros, 0.6 * HUMP_HZ * RAD, zeros, 0.8 * HUMP_HZ * RAD]
        header = "time,accX (m/s^2),accY (m/s^2),accZ (m/s^2),gyroX (rad/s),gyroY (rad/s),gyroZ (rad/s)"
        found = read(tmp_path / "gyro.csv", table(columns, header=header))
        assert found.rates_hz == pytest.approx(np.outer(HUMP_HZ, [0.6, 0, 0.8]), abs=2e-5)

    @pytest.mark.parametrize("header", ["", "t,x,y,z", "seconds,wx,wy,wz"])
    def test_three_axes_barely_named(self, header: str, tmp_path: Path) -> None:
        columns = np.outer([0.6, 0, -0.8], HUMP_HZ * DEG)
        found = read(tmp_path / "gyro.csv", table(columns, header=header))
        assert found.rates_hz == pytest.approx(np.outer(HUMP_HZ, [0.6, 0, -0.8]), abs=2e-5)

    def test_axes_before_magnitude_and_magnitude_alone(self, tmp_path: Path) -> None:
        header = "Time (s),Gyroscope x (rad/s),Gyroscope y (rad/s),Gyroscope z (rad/s),Absolute (rad/s)"
        columns = [0 * HUMP_HZ, 0 * HUMP_HZ, HUMP_HZ * RAD, HUMP_HZ * RAD]
        found = read(tmp_path / "gyro.csv", table(columns, header=header))
        assert found.signed and found.rates_hz.shape == (400, 3)
        alone = read(tmp_path / "gyro.csv", table(HUMP_HZ * DEG, header="time,gyro magnitude (deg/s)"))
        assert not alone.signed

    def test_rows_without_a_reading_are_left_out(self, tmp_path: Path) -> None:
        lines = table(HUMP_HZ * DEG).splitlines()
        lines[100], lines[200] = "0.99,", "1.99,NaN"
        found = read(tmp_path / "gyro.csv", "\n".join(lines))
        assert found.times_s.size == 398


# What is refused.


def without(text: str, first: int, last: int) -> str:
    lines = text.splitlines()
    return "\n".join(lines[:first] + lines[last:])


def changed(text: str, line: int, to: str) -> str:
    lines = text.splitlines()
    lines[line - 1] = to
    return "\n".join(lines)


LONG = np.concatenate([HUMP_HZ, np.zeros(100), HUMP_HZ])
# The file's text, and words for what was found, what is needed, what to do.
WRONG: dict[str, tuple[str | bytes | None, str, str, str]] = {
    "absent": (None, "no gyro file at", "gyro.csv", "Check the path given with --gyro"),
    "bytes": (b"RIFF\x00\x00\x00\x00WAVE", "gyro.csv is not text", "", "Export the gyro's log as CSV"),
    "empty": ("", "holds no numbers", "", "Write a header such as"),
    "remarks": ("# nothing\n#\n", "holds no numbers", "", "Write a header such as"),
    "words": ("time,gyro\nnow,fast\n", "holds no row of two numbers", "", "Write a header such as"),
    "few": (table([500.0] * 12), "has 12 rows of numbers", "30 or more are needed", "from before the push"),
    "order": (
        changed(table(HUMP_HZ * DEG), 80, "0.5,3"),
        "line 80: time 0.5",
        "does not come after 0.77",
        "in order",
    ),
    "twice": (
        changed(table(HUMP_HZ * DEG), 80, "0.77,3"),
        "line 80",
        "does not come after 0.77",
        "all the digits",
    ),
    "cell": (
        changed(table(HUMP_HZ * DEG), 80, "0.78,fast"),
        "line 80: 'fast' is not a number",
        "",
        "Write a header",
    ),
    "slow": (
        table(HUMP_HZ[::10] * DEG, times=(0.1 * np.arange(40)).tolist()),
        "10 samples a second",
        "15 or more are needed",
        "50 samples a second",
    ),
    "seconds": (
        table(HUMP_HZ * DEG, times=range(400)),
        "1 samples a second (its times read in s)",
        "15 or",
        "logger",
    ),
    "steps": (
        table(HUMP_HZ * DEG, header="time,gyro (deg/s)", times=range(400)),
        "times that step by 1 ",
        "s, ms, us or ns",
        "'time (ms)'",
    ),
    "quick": (
        table(HUMP_HZ * DEG, header="time (us),z (deg/s)"),
        "1e+08 samples a second (its times read in us)",
        "no phone",
        "Name the times' unit",
    ),
    "gap": (
        without(table(HUMP_HZ * DEG), 120, 150),
        "0.31 s are missing from 1.18 s",
        "0.1 s are bridged",
        "logger",
    ),
    "unit": (
        table(HUMP_HZ * DEG, header="time,gyro z (rad/s)"),
        "523.4 rad/s is 83.3 turns a second",
        "no crank makes more than 6",
        "Name the unit in the header",
    ),
    "which": (
        table(HUMP_HZ * 100, header="time,omega"),
        "may be",
        "2.42 turns a second in rpm, 0.404",
        "Name the unit",
    ),
    "what": (
        table(HUMP_HZ, header="time,omega"),
        "1.454 in a unit that the header leaves out",
        "no spun",
        "Name the",
    ),
    "still": (table(0.01 * HUMP_HZ * DEG), "makes no whole turn", "0.015 turns a second", "eight turns or more"),
    "both": (table(np.concatenate([HUMP_HZ, -HUMP_HZ]) * DEG), "one way and", "the other", "Spin it one way"),
    "loose": (
        table(
            [
                np.where(np.arange(900) < 450, LONG, 0) * DEG,
                0 * LONG,
                np.where(np.arange(900) < 150, 0, LONG) * DEG,
            ],
            header="t,x,y,z",
        ),
        "% of the turning is not about one axis",
        "",
        "Strap the phone tight",
    ),
    "limit": (table(np.minimum(HUMP_HZ * DEG, 500)), "stands at the gyro's limit of about 500", "", "wider range"),
    "unnamed": (table([HUMP_HZ, HUMP_HZ], header=""), "3 columns without names", "", "Write a header such as"),
    "timeless": (table(HUMP_HZ, header="a,gyro"), "no column of times among 'a', 'gyro'", "", "Write a header"),
    "two": (
        table([HUMP_HZ, HUMP_HZ], header="time,left,right"),
        "which of 'time', 'left', 'right'",
        "",
        "Write a",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_file_that_can_t_be_used(name: str, acoustic: Call, taken: Call, tmp_path: Path) -> None:
    text, *words = WRONG[name]
    path = tmp_path / "gyro.csv"
    if text is not None:
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    refused(acoustic("check", taken("sound").path, "--bearing", "6805", "--gyro", path), words)


def refused(outcome: Any, words: list[str]) -> None:
    assert outcome.code == EXIT_UNUSABLE, outcome.stdout
    said = " ".join(outcome.stderr.split())
    for word in words:
        assert word in said
    assert "Traceback" not in said


def test_a_folder(acoustic: Call, taken: Call, tmp_path: Path) -> None:
    outcome = acoustic("check", taken("sound").path, "--bearing", "6805", "--gyro", tmp_path)
    refused(outcome, ["is a folder, not a gyro file", "Give the CSV file itself"])
