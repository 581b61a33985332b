"""`acoustic check` end to end over real files: the verdicts, the text, the exit codes, the pictures."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from acoustic.dsp.geometry import BearingGeometry
from acoustic.errors import EXIT_AT_OR_PAST_GRADE, EXIT_DONE, EXIT_OUR_BUG, EXIT_UNUSABLE

Run = Callable[..., Any]
Take = Callable[..., Any]

# case, how the angle is given, conditions that must be detected, condition that must not be
JUDGED = [
    ("outer", "marks", {"outer_raceway"}, {"inner_raceway", "ball", "raceway", "contamination"}),
    ("inner", "marks", {"inner_raceway"}, {"outer_raceway", "ball", "raceway", "contamination"}),
    ("ball", "marks", {"ball"}, {"outer_raceway", "inner_raceway", "raceway", "contamination"}),
    ("rumble", "marks", {"rumble"}, {"ball", "cage"}),
    ("grit", "marks", {"contamination"}, {"outer_raceway", "inner_raceway", "raceway", "cage"}),
    ("steady_outer", "speed", {"outer_raceway"}, {"inner_raceway", "ball", "raceway"}),
    ("ticking_outer", "ticks", {"outer_raceway"}, {"inner_raceway", "ball", "contamination"}),
]
SOUND = [("sound", "marks"), ("steady", "speed"), ("ticking", "ticks")]
SOURCE = {"marks": "marks", "speed": "stated", "ticks": "ticks"}


@pytest.fixture(scope="module")
def call(taken: Take) -> Callable[..., list[str]]:
    """Arguments that check a case: (case, how the angle is given) -> list."""

    def arguments(case: str, by: str, ending: str = ".wav") -> list[str]:
        made = taken(case, ending)
        angle = {"marks": ["--marks", str(made.marks)], "speed": ["--speed", "75"], "ticks": ["--ticks"]}[by]
        return ["check", str(made.path), "--bearing", "6805", *angle]

    return arguments


@pytest.fixture(scope="module")
def judged(acoustic: Run, call: Any) -> Callable[..., Any]:
    """Check a case with --json, once: (case, how the angle is given, ending=".wav") -> Outcome."""
    done: dict[tuple[str, ...], Any] = {}

    def judge(*what: str) -> Any:
        if what not in done:
            done[what] = acoustic(*call(*what), "--json")
        return done[what]

    return judge


def detected(document: Any) -> set[str]:
    return {finding["condition"] for finding in document["findings"] if finding["detected"]}


@pytest.mark.parametrize(("case", "by", "wanted", "unwanted"), JUDGED, ids=[row[0] for row in JUDGED])
def test_damage_is_found_and_named(case: str, by: str, wanted: set[str], unwanted: set[str], judged: Any) -> None:
    outcome = judged(case, by)
    assert (outcome.code, outcome.stderr) == (EXIT_DONE, "")
    heard = detected(outcome.document)
    assert wanted <= heard
    assert not heard & unwanted
    assert outcome.document["grade"]["level"] in {"watch", "service", "replace"}
    assert outcome.document["motion"]["source"] == SOURCE[by]


@pytest.mark.parametrize(("case", "by"), SOUND)
def test_a_sound_bearing_is_clean(case: str, by: str, judged: Any) -> None:
    document = judged(case, by).document
    assert detected(document) == set()
    assert document["grade"]["level"] == "clean"
    assert document["quality"]["problems"] == []


@pytest.mark.parametrize("ending", [".flac", ".m4a"])
@pytest.mark.parametrize("case", ["outer", "grit", "sound"])
def test_the_format_does_not_matter(case: str, ending: str, judged: Any) -> None:
    """FLAC holds the very samples of the WAV; AAC changes them, but not what is in them."""
    plain, other = judged(case, "marks").document, judged(case, "marks", ending).document
    assert detected(other) == detected(plain)
    assert other["grade"]["level"] == plain["grade"]["level"]
    if ending == ".flac":
        assert other["findings"] == plain["findings"]
    assert other["recording"]["sample_rate_hz"] == plain["recording"]["sample_rate_hz"]


def test_the_text_says_grade_then_why_then_next(acoustic: Run, call: Any) -> None:
    text = acoustic(*call("outer", "marks")).stdout
    lines = text.splitlines()
    assert lines[0].split()[0] in {"WATCH", "SERVICE", "REPLACE"}
    labels = [line.split()[0] for line in lines[1:] if line and not line.startswith(" ")]
    assert labels[:2] == ["why", "next"]
    assert "heard" in labels
    assert labels[-4:] == ["crank", "bearing", "recording", "take"]
    assert "outer ring" in text.partition("next")[0]


def test_the_text_of_a_sound_bearing(acoustic: Run, call: Any) -> None:
    text = acoustic(*call("sound", "marks")).stdout
    assert text.startswith("CLEAN  ")
    assert "ride on" in text.lower()
    assert "outer_raceway" not in text, "people see words, programs see codes"


def test_quiet_prints_grade_and_part_alone(acoustic: Run, call: Any) -> None:
    outcome = acoustic(*call("outer", "marks"), "--quiet")
    assert outcome.stdout.count("\n") == 1
    assert outcome.stdout.endswith("(6805): outer ring\n")
    assert outcome.stdout.split()[0] in {"WATCH", "SERVICE", "REPLACE"}
    assert outcome.stderr == ""


@pytest.mark.parametrize(
    ("case", "limit", "code"),
    [
        ("outer", "watch", EXIT_AT_OR_PAST_GRADE),
        ("outer", "replace", EXIT_AT_OR_PAST_GRADE),
        ("grit", "service", EXIT_AT_OR_PAST_GRADE),
        ("grit", "replace", EXIT_DONE),
        ("sound", "watch", EXIT_DONE),
    ],
)
def test_fail_on(case: str, limit: str, code: int, acoustic: Run, call: Any) -> None:
    """A deep pit calls for a new bearing, grit for service, and nothing for nothing."""
    outcome = acoustic(*call(case, "marks"), "--fail-on", limit, "--quiet")
    assert outcome.code == code
    assert outcome.stdout


def test_without_fail_on_a_bad_grade_is_no_error(acoustic: Run, call: Any) -> None:
    assert acoustic(*call("outer", "marks"), "--quiet").code == EXIT_DONE


def test_numbers_in_place_of_a_name(acoustic: Run, taken: Take) -> None:
    """The 6805's numbers by hand give what its name gives."""
    made = taken("outer")
    numbers = ["--balls", 16, "--ball-diameter", 3.5, "--pitch-diameter", 31]
    found = acoustic("check", made.path, *numbers, "--marks", made.marks, "--json").document
    assert detected(found) == {"outer_raceway"}
    assert (found["bearing"]["designation"], found["bearing"]["balls_source"]) == ("as given", "given")


def test_the_drivetrain_is_named_by_its_teeth(acoustic: Run, taken: Take) -> None:
    """By hand: 50 links a turn, 50/17 = 2.941 turns of the hub, 50/11 = 4.545 of a jockey wheel."""
    made = taken("jockey")
    call = ["check", made.path, "--bearing", "6805", "--marks", made.marks]
    teeth = ["--chainring", 50, "--sprocket", 17, "--jockey", 11]
    document = acoustic(*call, *teeth, "--json").document
    assert detected(document) == {"drivetrain"}
    assert document["grade"]["level"] == "watch"
    assert document["drivetrain"]["orders"] == pytest.approx(
        {"chain": 50.0, "hub": 2.941, "jockey": 4.545, "pedal": 1.0}, abs=5e-4
    )
    assert document["drivetrain"]["chainring"] == 50
    text = acoustic(*call, *teeth).stdout
    assert "jockey wheel turns 4.545" in text
    assert "chain off" in text.partition("next")[2]


def test_without_teeth_nothing_is_said_of_them(judged: Any, acoustic: Run, call: Any) -> None:
    document = judged("sound", "marks").document
    assert document["drivetrain"] is None
    assert "drivetrain" not in {finding["condition"] for finding in document["findings"]}
    assert "drivetrain" not in acoustic(*call("sound", "marks")).stdout


def test_the_ball_count_is_heard_where_makers_differ(acoustic: Run, taken: Take) -> None:
    """15 balls pass the outer ring 15 x (1 - 3.5/31)/2 = 6.65 times a turn, 16 balls 7.10 times."""
    made = taken("outer", geometry=BearingGeometry(balls=15, ball_diameter_mm=3.5, pitch_diameter_mm=31.0))
    found = acoustic("check", made.path, "--bearing", "6805", "--marks", made.marks, "--json").document
    assert "outer_raceway" in detected(found)
    assert (found["bearing"]["balls"], found["bearing"]["balls_source"]) == (15, "inferred")
    assert found["bearing"]["ball_counts_tried"] == [15, 16]
    assert found["bearing"]["balls_runner_up"]["balls"] == 16
    assert found["bearing"]["balls_runner_up"]["probability"] < 0.01


@pytest.mark.parametrize("balls", [13, 16])
def test_a_count_that_nobody_knows_is_inferred_or_left_open(balls: int, acoustic: Run, taken: Take) -> None:
    """7 to 27 balls fit the circle. An inner ring's strikes a turn apart from their sidebands leave one count."""
    made = taken("inner", geometry=BearingGeometry(balls=balls, ball_diameter_mm=3.5, pitch_diameter_mm=31.0))
    diameters = ("--ball-diameter", "3.5", "--pitch-diameter", "31")
    found = acoustic("check", made.path, *diameters, "--marks", made.marks, "--json").document
    bearing = found["bearing"]
    assert sorted(bearing["ball_counts_tried"]) == list(range(7, 28))
    assert (bearing["balls"], bearing["balls_source"]) == (balls, "inferred")
    assert bearing["balls_runner_up"]["balls"] != balls
    assert detected(found) & {"inner_raceway", "raceway"}
    text = acoustic("check", made.path, *diameters, "--marks", made.marks).stdout
    assert f"next likeliest: {bearing['balls_runner_up']['balls']}" in " ".join(text.split())


def test_a_ball_s_strikes_tell_no_count(acoustic: Run, taken: Take) -> None:
    """Their pace does not depend on how many balls there are."""
    made = taken("ball")
    found = acoustic("check", made.path, "--bearing", "6805", "--marks", made.marks, "--json").document
    assert "ball" in detected(found)
    assert (found["bearing"]["balls_source"], found["bearing"]["balls_runner_up"]) == ("catalogue", None)


def test_spin_is_what_the_user_says(acoustic: Run, call: Any, judged: Any) -> None:
    said = acoustic(*call("sound", "marks"), "--spin", "pedal", "--json").document
    found = judged("sound", "marks").document
    assert (said["motion"]["spin"], found["motion"]["spin"]) == ("pedal", "hand")


def test_few_turns_are_enough_to_find_damage_but_not_to_clear(judged: Any) -> None:
    """Five marked turns: strikes are strikes, but silence might be chance."""
    found, cleared = judged("short_outer", "marks"), judged("short", "marks")
    assert found.code == EXIT_DONE
    assert "outer_raceway" in detected(found.document)
    assert found.document["grade"]["level"] in {"watch", "replace"}
    assert cleared.code == EXIT_UNUSABLE
    assert cleared.document["grade"]["level"] == "undecided"


def test_a_phone_too_far_away_is_undecided(judged: Any) -> None:
    outcome = judged("far_away", "marks")
    assert outcome.code == EXIT_UNUSABLE
    assert [problem["code"] for problem in outcome.document["quality"]["problems"]] == ["faint"]
    assert outcome.document["grade"]["advice"]


@pytest.mark.parametrize("angle", ["speed", "marks"])
def test_a_fan_is_no_clean_bearing(angle: str, tmp_path: Path, acoustic: Run, taken: Take) -> None:
    """Twelve even seconds of noise hold nothing that shows a crank was heard at all."""
    path = tmp_path / "fan.wav"
    soundfile.write(path, 0.02 * np.random.default_rng(6).standard_normal(12 * 48_000), 48_000)
    by = ["--speed", "75"] if angle == "speed" else ["--marks", taken("sound").marks]
    outcome = acoustic("check", path, "--bearing", "6805", *by, "--json")
    assert outcome.code == EXIT_UNUSABLE
    assert outcome.document["grade"]["level"] == "undecided"


def test_damage_louder_than_the_bearing_is_heard_from_afar(acoustic: Run, taken: Take) -> None:
    """Nothing of its smooth running is heard, which voids 'clean' but not what strikes."""
    made = taken("far_away", defects=(("outer_raceway", 3.0),))
    outcome = acoustic("check", made.path, "--bearing", "6805", "--marks", made.marks, "--json")
    assert outcome.code == EXIT_DONE
    assert detected(outcome.document) == {"outer_raceway"}


@pytest.mark.parametrize("ending", [".png", ".svg"])
def test_plot(ending: str, tmp_path: Path, acoustic: Run, call: Any) -> None:
    picture = tmp_path / f"spin{ending}"
    outcome = acoustic(*call("outer", "marks"), "--plot", picture, "--json")
    assert outcome.code == EXIT_DONE
    assert outcome.document["schema"]
    assert str(picture) in outcome.stderr
    assert [path.name for path in tmp_path.iterdir()] == [picture.name], "nothing half-written stays behind"
    # Three panels with over a thousand columns of sound: an empty canvas takes some 20 kB as PNG.
    assert picture.stat().st_size > 40_000
    if ending == ".svg":
        text = picture.read_text(encoding="utf-8")
        for words in ("Recording", "turning, judged", "Crank speed, from the marks given", "events a crank turn"):
            assert words in text
        assert "outer ring" in text and "heard" in text


def test_plot_over_an_older_picture(tmp_path: Path, acoustic: Run, call: Any) -> None:
    picture = tmp_path / "spin.PNG"
    picture.write_bytes(b"older")
    assert acoustic(*call("sound", "marks"), "--plot", picture, "--quiet").code == EXIT_DONE
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_report(tmp_path: Path, acoustic: Run, call: Any) -> None:
    """The page stands beside what is printed, over an older one, whole and alone."""
    page = tmp_path / "spin.html"
    page.write_bytes(b"older")
    outcome = acoustic(*call("outer", "marks"), "--report", page, "--json")
    assert outcome.code == EXIT_DONE
    assert f"wrote {page}" in outcome.stderr
    assert [path.name for path in tmp_path.iterdir()] == [page.name]
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>") and text.rstrip().endswith("</html>")
    assert f"<bdi>{outcome.document['grade']['level'].capitalize()}: " in text


def test_an_unusable_recording_has_a_report(tmp_path: Path, acoustic: Run) -> None:
    silent, page = tmp_path / "silent.wav", tmp_path / "silent.html"
    soundfile.write(silent, np.zeros(48_000), 48_000)
    outcome = acoustic("check", silent, "--bearing", "6805", "--speed", 75, "--report", page)
    assert outcome.code == EXIT_UNUSABLE
    assert "Record it again, like so" in page.read_text(encoding="utf-8")


def test_a_report_that_cannot_be_written(
    tmp_path: Path, acoustic: Run, call: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, *arguments: Any, **options: Any) -> None:
        path.write_bytes(b"half a page")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    (tmp_path / "spin.html").write_bytes(b"older")
    outcome = acoustic(*call("outer", "marks"), "--report", tmp_path / "spin.html", "--quiet")
    assert outcome.code == EXIT_UNUSABLE
    assert "cannot be written (No space left on device)" in outcome.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["spin.html"]
    assert (tmp_path / "spin.html").read_bytes() == b"older"


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such a name themselves")
def test_a_report_of_a_file_whose_name_is_no_text(tmp_path: Path, acoustic: Run) -> None:
    """Bytes that are no UTF-8 in a name, as old cameras and archives leave them."""
    silent, page = Path(os.fsdecode(os.fsencode(tmp_path) + b"/a\xff.wav")), tmp_path / "page.html"
    with silent.open("wb") as file:
        soundfile.write(file, np.zeros(48_000), 48_000, format="WAV")
    outcome = acoustic("check", silent, "--bearing", "6805", "--speed", 75, "--report", page, "--quiet")
    assert outcome.code == EXIT_UNUSABLE, outcome.stderr
    assert "Undecided: a?.wav" in page.read_text(encoding="utf-8")


def test_the_recording_is_left_alone(tmp_path: Path, acoustic: Run, taken: Take) -> None:
    """A name with blanks and a letter beyond ASCII, in a folder with nothing else."""
    made = taken("sound")
    copy = tmp_path / "Kurbel für links.wav"
    shutil.copy(made.path, copy)
    before = copy.read_bytes()
    outcome = acoustic("check", copy, "--bearing", "6805", "--marks", made.marks, "--json")
    assert outcome.document["recording"]["path"] == str(copy)
    assert copy.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == [copy.name]


def test_an_error_of_ours_says_so(acoustic: Run, call: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*arguments: Any, **options: Any) -> None:
        raise ZeroDivisionError("nothing over nothing")

    monkeypatch.setattr("acoustic.check.pipeline.check_recording", broken)
    outcome = acoustic(*call("sound", "marks"))
    assert outcome.code == EXIT_OUR_BUG
    assert outcome.stdout == ""
    assert "not yours" in outcome.stderr
    assert "ZeroDivisionError: nothing over nothing" in outcome.stderr
    assert "--debug" in outcome.stderr
    assert "Traceback" not in outcome.stderr
    with pytest.raises(ZeroDivisionError):
        acoustic(*call("sound", "marks"), "--debug")


def test_a_system_error_shows_no_stack_trace(acoustic: Run, call: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk, say, is neither a closed pipe nor a reason for a traceback."""

    def broken(*arguments: Any, **options: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("acoustic.check.pipeline.check_recording", broken)
    outcome = acoustic(*call("sound", "marks"))
    assert outcome.code == EXIT_OUR_BUG
    assert "No space left on device" in outcome.stderr
    assert "Traceback" not in outcome.stderr


def test_debug_lets_a_refusal_through(acoustic: Run) -> None:
    from acoustic.errors import InputError

    with pytest.raises(InputError):
        acoustic("check", "--debug", "absent.wav", "--bearing", "6805", "--speed", "75")
