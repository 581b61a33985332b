"""The room on a recording of its own, and the side the phone was held at."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import soundfile

from acoustic.errors import EXIT_UNUSABLE


@pytest.fixture(scope="module")
def without_still(tmp_path_factory: pytest.TempPathFactory, spin_of: Any) -> Any:
    """A spin cut to its turning part, its marks, and the still part alone."""
    folder, spin = tmp_path_factory.mktemp("room"), spin_of("outer")
    rate_hz = spin.sample_rate_hz
    first, last = (round(t * rate_hz) for t in (spin.start_s + 0.3, spin.stop_s - 0.3))
    soundfile.write(folder / "spin.wav", spin.samples[first:last], rate_hz)
    marks_s = spin.marks_s - first / rate_hz
    inside = marks_s[(marks_s > 0) & (marks_s < (last - first) / rate_hz)]
    (folder / "marks.csv").write_text("\n".join(f"{mark:.3f}" for mark in inside), encoding="utf-8")
    still = np.tile(spin.samples[: round(0.9 * spin.start_s * rate_hz)], 3)
    soundfile.write(folder / "still.wav", still, rate_hz)
    soundfile.write(folder / "short.wav", still[: rate_hz // 2], rate_hz)
    return folder


def checked(folder: Any, acoustic: Any, *more: str) -> Any:
    return acoustic(
        "check", folder / "spin.wav", "--bearing", "6805", "--marks", folder / "marks.csv", "--json", *more
    )


def test_the_room_parts_the_bearing_s_noise_from_it(without_still: Any, acoustic: Any) -> None:
    """With the room known, the events stand over the bearing's own share of the noise alone: a higher severity."""
    outer = []
    for more in ([], ["--room", str(without_still / "still.wav")]):
        document = checked(without_still, acoustic, *more).document
        outer.append(next(f for f in document["findings"] if f["condition"] == "outer_raceway"))
    assert [finding["detected"] for finding in outer] == [True, True]
    assert outer[1]["severity_db"] > outer[0]["severity_db"]
    assert outer[1]["false_alarm_probability"] == outer[0]["false_alarm_probability"]


@pytest.mark.parametrize("side", ["drive", "non-drive"])
def test_the_side_is_kept(side: str, without_still: Any, acoustic: Any) -> None:
    assert checked(without_still, acoustic, "--side", side).document["recording"]["side"] == side
    assert checked(without_still, acoustic).document["recording"]["side"] is None


def test_a_room_too_short_or_missing_is_refused(without_still: Any, acoustic: Any) -> None:
    outcome = checked(without_still, acoustic, "--room", str(without_still / "short.wav"))
    assert outcome.code == EXIT_UNUSABLE
    assert "two seconds or more" in outcome.stderr
    assert checked(without_still, acoustic, "--room", str(without_still / "none.wav")).code == EXIT_UNUSABLE
