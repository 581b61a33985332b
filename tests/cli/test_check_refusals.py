"""Whatever `acoustic check` cannot use, it refuses: what was found, what is needed, what to do next; exit 2."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from acoustic.errors import EXIT_UNUSABLE

Run = Callable[..., Any]

RATE_HZ = 48_000
NAMED = ("--bearing", "6805")
AT_75 = ("--speed", "75")
GIVEN = ("--balls", "16", "--ball-diameter", "3.5", "--pitch-diameter", "31")

MARKS = {
    "words.csv": "time_s\nfirst\nsecond\n",
    "header.csv": "time_s\n",
    "blank.csv": "",
    "order.csv": "1\n2\n1.5\n3\n4\n",
    "twice.csv": "1\n2\n2\n3\n4\n",
    "few.csv": "1\n2\n3\n",
    "missed.csv": "1\n2\n4\n5\n6\n7\n",
    "late.csv": "1\n2\n3\n4\n99\n",
    "early.csv": "-1\n0\n1\n2\n3\n",
    "nan.csv": "1\n2\nnan\n4\n5\n",
    "crowded.csv": "1\n1.001\n1.002\n1.003\n1.004\n",
}

# The file, and words for what was found, what is needed, what to do.
FILES = [
    ("absent.wav", "there is no file", "absent.wav", "Check the path"),
    ("folder", "is a folder", "not a recording", "Give the sound file itself"),
    ("text.wav", "text.wav is not a sound file", "WAV, FLAC", "share the recording from the phone as a file"),
    ("cut.wav", "only 6.00 s of the 12.00 s", "it should hold", "Copy the file from the phone again"),
    ("header.wav", "header.wav", "can't be decoded", "Copy the file from the phone again"),
    ("empty.wav", "is empty", "0 bytes", "Copy the recording from the phone again"),
    ("eight.wav", "8 channels", "1 to 4 can be read", "Record in mono or stereo"),
    ("one_hz.wav", "1 samples a second", "at least 8000 are needed", "Record again at 44100 or 48000 Hz"),
    ("384_khz.wav", "384000 samples a second", "at most 192000", "Export the recording at 48000"),
]
WRONG_MARKS = [
    ("words.csv", "line 2: 'first'", "not a time in seconds", "Write the time of each crank turn in seconds"),
    ("header.csv", "0 marks", "4 or more are needed", "Mark every turn of the spin once"),
    ("blank.csv", "0 marks", "4 or more are needed", "Mark every turn of the spin once"),
    ("order.csv", "mark 3 at 1.500 s", "does not come after the one before it", "in order of time"),
    ("twice.csv", "mark 3 at 2.000 s", "does not come after the one before it", "each once"),
    ("few.csv", "3 marks", "4 or more are needed", "Mark every turn of the spin once"),
    ("missed.csv", "from 2.000 to 4.000 s", "its neighbours", "missing"),
    ("late.csv", "1 of 5 marks", "outside the recording, which lasts 12.0 s", "from the start of this recording"),
    ("early.csv", "1 of 5 marks", "outside the recording", "from the start of this recording"),
    ("nan.csv", "line 3: 'nan'", "not a time in seconds", "Write the time of each crank turn in seconds"),
    ("absent.csv", "no file of marks", "absent.csv", "Check the path given with --marks"),
    ("folder", "folder is a folder", "", ""),
    ("bytes.csv", "bytes.csv is not text", "", "Write the time of each crank turn in seconds"),
]
CALLS = [
    ((*NAMED, "--turns", "0"), "--turns is 0;", "more than 0", "Count the crank's turns"),
    ((*NAMED, "--turns", "nan"), "'--turns'", "nan is not a number", "write digits, as 9.5 or 9,5"),
    ((*NAMED, "--mark-channel", "2"), "--mark-channel 2", "has 1 channel", "two channels of one file"),
    ((*NAMED, "--film"), "", "", "film"),
    ((*NAMED, "--gyro", "absent.csv"), "absent.csv", "", ""),
    ((*AT_75,), "no bearing was given", "", "Name it with --bearing"),
    ((*NAMED, *AT_75, "--spin", "hand"), "steady, --spin hand says it is not", "", "Leave --spin out"),
    ((*NAMED, *AT_75, "--spin", "pedal"), "steady, --spin pedal says it is not", "", "Leave --spin out"),
    ((*NAMED, "--speed", "0"), "--speed is 0 ", "more than 0", "count its turns"),
    ((*NAMED, "--speed", "-75"), "--speed is -75 ", "more than 0", "count its turns"),
    ((*NAMED, "--speed", "1.234,5"), "'--speed'", "more than one point or comma", "write one"),
    ((*NAMED, "--speed", "1e9"), "--speed is 1e+09 ", "at most", "count its turns"),
    ((*NAMED, "--speed", "fast"), "'--speed'", "fast is not a number", "write digits"),
    ((*NAMED, *AT_75, "--spin", "back"), "'back'", "'hand', 'pedal', 'steady'", "check --help"),
    ((*NAMED, *AT_75, "--chainring", "19"), "--chainring is 19 teeth", "20 to 70 are needed", "Count the teeth"),
    ((*NAMED, *AT_75, "--chainring", "71"), "--chainring is 71 teeth", "20 to 70 are needed", "Count the teeth"),
    ((*NAMED, *AT_75, "--chainring", "many"), "'--chainring'", "'many' is not a valid int", "check --help"),
    (
        (*NAMED, *AT_75, "--chainring", "50", "--sprocket", "7"),
        "--sprocket is 7",
        "8 to 60 are needed",
        "Count the",
    ),
    (
        (*NAMED, *AT_75, "--chainring", "50", "--jockey", "21"),
        "--jockey is 21",
        "8 to 20 are needed",
        "Count the",
    ),
    ((*NAMED, *AT_75, "--jockey", "11"), "--chainring is missing beside --jockey 11", "", "chainring's teeth too"),
    (
        (*NAMED, *AT_75, "--jockey", "11", "--sprocket", "17"),
        "--sprocket 17 and --jockey 11",
        "",
        "chainring's teeth too",
    ),
    ((*NAMED, *AT_75, "--fail-on", "clean"), "'clean'", "'watch', 'service', 'replace'", "check --help"),
    (("--bearing", "6850", *AT_75), "matches '6850'", "nearest names are", "acoustic bearings"),
    (("--bearing", "ladder", *AT_75), "matches 'ladder'", "", "acoustic bearings"),
    (("--bearing", "68", *AT_75), "'68' names no single bearing", "6805", "designation in full"),
    (("--balls", "16", *AT_75), "missing: --ball-diameter and --pitch-diameter", "are needed", "Add"),
    (
        (*GIVEN[:-1], "3.4", *AT_75),
        "got ball 3.5 mm and pitch 3.4 mm",
        "ball must be smaller",
        "Check the numbers",
    ),
    (("--balls", "2", *GIVEN[2:], *AT_75), "got 2", "from 3 to 99", "Check the numbers"),
    (("--balls", "40", *GIVEN[2:], *AT_75), "40 balls of 3.5 mm do not fit", "at most", "Check the numbers"),
    ((*GIVEN[:-1], "nan", *AT_75), "'--pitch-diameter'", "nan is not a number", "write digits"),
    ((*GIVEN[:-1], "-31", *AT_75), "pitch -31", "above 0 mm", "Check the numbers"),
    ((*GIVEN, "--contact-angle", "90", *AT_75), "got 90", "below 90 degrees", "Check the numbers"),
    ((*GIVEN, "--rows", "3", *AT_75), "3 is not in the range", "1<=x<=2", "check --help"),
    ((*NAMED, *AT_75, "--catalogue", "absent.toml"), "absent.toml", "cannot be read", "Check --catalogue"),
    ((*NAMED, *AT_75, "--catalogue", "folder"), "folder", "cannot be read", "Check --catalogue"),
    ((*NAMED, *AT_75, "--catalogue", "text.wav"), "text.wav", "a TOML file is needed", "[[bearing]]"),
    ((*NAMED, *AT_75, "--plot", "spin.pdf"), "ending .pdf", "not a known picture format", "Use .png or .svg"),
    ((*NAMED, *AT_75, "--plot", "spin"), "ending (none)", "not a known picture format", "Use .png or .svg"),
    ((*NAMED, *AT_75, "--plot", "absent/spin.png"), "there is no folder absent", "", "Create the folder first"),
    ((*NAMED, *AT_75, "--plot", "folder.png"), "folder.png", "folder", "file"),
    ((*NAMED, *AT_75, "--report", "spin.pdf"), "ending .pdf", "not a known page format", "Use .html"),
    ((*NAMED, *AT_75, "--report", "spin"), "ending (none)", "not a known page format", "Use .html"),
    ((*NAMED, *AT_75, "--report", "absent/spin.html"), "there is no folder absent", "", "Create the folder first"),
    ((*NAMED, *AT_75, "--report", "folder.html"), "--report: folder.html is a folder", "", "name of a file"),
]
# What can be opened but not judged still gets its document: code of the problem, words for found and to do.
UNUSABLE = [
    ("nan.wav", "non_finite", "1 sample is not a number", "copy it from the phone again"),
    ("infinite.wav", "non_finite", "1 sample is not a number", "copy it from the phone again"),
    ("zeros.wav", "silent", "no sound, only a constant level", "not covered or switched off"),
    ("constant.wav", "silent", "no sound, only a constant level", "not covered or switched off"),
    ("blink.wav", "too_short", "0.05 s", "Record one spin"),
    ("moment.wav", "too_short", "0.5", "Record one spin"),
]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, taken: Callable[..., Any]) -> Path:
    """A folder with one good recording and everything that can be wrong with one."""
    folder = tmp_path_factory.mktemp("shop")
    good = taken("outer")
    whole = good.path.read_bytes()
    (folder / "good.wav").write_bytes(whole)
    (folder / "good.csv").write_bytes(good.marks.read_bytes())
    (folder / "cut.wav").write_bytes(whole[: len(whole) // 2])
    (folder / "header.wav").write_bytes(whole[:30])
    (folder / "empty.wav").write_bytes(b"")
    (folder / "text.wav").write_text("Dear diary, today the crank creaked.\n" * 40, encoding="utf-8")
    (folder / "bytes.csv").write_bytes(bytes(range(256)))
    (folder / "folder").mkdir()
    (folder / "folder.png").mkdir()
    (folder / "folder.html").mkdir()
    for name, text in MARKS.items():
        (folder / name).write_text(text, encoding="utf-8")
    noise = 0.01 * np.random.default_rng(5).standard_normal(RATE_HZ)
    soundfile.write(folder / "eight.wav", np.tile(noise[:, np.newaxis], (1, 8)), RATE_HZ)
    soundfile.write(folder / "one_hz.wav", noise[:60], 1)
    soundfile.write(folder / "384_khz.wav", noise, 384_000)
    soundfile.write(folder / "zeros.wav", 0 * noise, RATE_HZ)
    soundfile.write(folder / "constant.wav", 0 * noise + 0.25, RATE_HZ)
    soundfile.write(folder / "blink.wav", noise[: RATE_HZ // 20], RATE_HZ)
    soundfile.write(folder / "moment.wav", noise[: RATE_HZ // 2], RATE_HZ)
    for name, value in (("nan.wav", np.nan), ("infinite.wav", np.inf)):
        broken = noise.copy()
        broken[1234] = value
        soundfile.write(folder / name, broken, RATE_HZ, subtype="FLOAT")
    return folder


@pytest.fixture
def check(acoustic: Run, shop: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Call `check` within the shop; whatever it says, it must not write there."""
    monkeypatch.chdir(shop)

    def call(*arguments: str) -> Any:
        before = _listing(shop)
        outcome = acoustic("check", *arguments)
        assert _listing(shop) == before
        assert "Traceback" not in outcome.stderr
        return outcome

    return call


def _listing(folder: Path) -> dict[str, int]:
    return {str(path): path.stat().st_size for path in sorted(folder.rglob("*"))}


def assert_refused(outcome: Any, *words: str) -> None:
    assert outcome.code == EXIT_UNUSABLE, outcome.stderr
    assert outcome.stdout == ""
    for said in words:
        assert said in outcome.stderr
    if not outcome.stderr.startswith("Usage: "):
        found, _, advice = outcome.stderr.partition("\n")
        assert found.startswith("acoustic: ") and found.endswith(".")
        assert advice.startswith("  "), "the advice stands beneath what was found"
        assert len(advice.split()) >= 3


@pytest.mark.parametrize(("name", "found", "needed", "advice"), FILES, ids=[row[0] for row in FILES])
def test_files(name: str, found: str, needed: str, advice: str, check: Run) -> None:
    assert_refused(check(name, *NAMED, *AT_75), found, needed, advice)


@pytest.mark.parametrize("name", ["absent.wav", "text.wav", "eight.wav"])
def test_a_refusal_is_no_document(name: str, check: Run) -> None:
    """What could not be opened has no length, rate or sum to put into one."""
    assert_refused(check(name, *NAMED, *AT_75, "--json"), name)


@pytest.mark.parametrize(("name", "found", "needed", "advice"), WRONG_MARKS, ids=[row[0] for row in WRONG_MARKS])
def test_marks(name: str, found: str, needed: str, advice: str, check: Run) -> None:
    assert_refused(check("good.wav", *NAMED, "--marks", name), found, needed, advice)


@pytest.mark.parametrize(
    ("arguments", "found", "needed", "advice"), CALLS, ids=[" ".join(row[0]) for row in CALLS]
)
def test_calls(arguments: tuple[str, ...], found: str, needed: str, advice: str, check: Run) -> None:
    assert_refused(check("good.wav", *arguments), found, needed, advice)


@pytest.mark.parametrize("arguments", [(), ("good.wav", "--wheel")])
def test_click_refuses_with_the_same_code(arguments: tuple[str, ...], check: Run) -> None:
    assert_refused(check(*arguments), "Usage: acoustic check", "Error: ")


@pytest.mark.parametrize("rpm", ["0.001", "0.1", "1", "20"])
def test_too_slow_for_the_recording(rpm: str, check: Run) -> None:
    """At 20 rpm 12 s hold three turns or so; at a thousandth none that could be told from standing."""
    outcome = check("good.wav", *NAMED, "--speed", rpm)
    assert outcome.code == EXIT_UNUSABLE, outcome.stderr
    assert outcome.stdout.startswith("UNDECIDED")
    assert re.search(r"he crank makes \d\.\d turns", outcome.stdout)


def test_marks_too_close_for_any_crank(check: Run) -> None:
    """A turn a millisecond."""
    assert check("good.wav", *NAMED, "--marks", "crowded.csv").code == EXIT_UNUSABLE


@pytest.mark.parametrize(("name", "code", "found", "advice"), UNUSABLE, ids=[row[0] for row in UNUSABLE])
def test_unusable_recordings_print_the_document(name: str, code: str, found: str, advice: str, check: Run) -> None:
    outcome = check(name, *NAMED, *AT_75, "--json")
    assert outcome.code == EXIT_UNUSABLE, outcome.stderr
    document = outcome.document
    assert document["quality"]["usable"] is False
    assert document["grade"]["level"] == "undecided"
    assert document["findings"] == []
    problem = document["quality"]["problems"][0]
    assert problem["code"] == code
    assert found in problem["detail"] and found in outcome.stderr
    assert advice in problem["advice"] and advice in outcome.stderr
    assert document["grade"]["because"] and document["grade"]["advice"]


def test_no_motion_can_be_found(check: Run) -> None:
    """The call is right, but there are no ticks in the recording."""
    outcome = check("good.wav", *NAMED, "--ticks", "--json")
    assert outcome.code == EXIT_UNUSABLE
    (problem,) = outcome.document["quality"]["problems"]
    assert "no regular ticks" in problem["detail"]
    assert "Fix a strip of card" in problem["advice"]
    assert problem["detail"] in outcome.stderr and problem["advice"] in outcome.stderr
    assert (outcome.document["motion"], outcome.document["findings"]) == (None, [])


def test_unusable_recordings_in_words(check: Run) -> None:
    """The report says so itself, an unusable recording is not drawn, and --fail-on has nothing to compare."""
    outcome = check("zeros.wav", *NAMED, *AT_75, "--plot", "zeros.png", "--fail-on", "watch")
    assert outcome.code == EXIT_UNUSABLE
    assert outcome.stdout.startswith("UNDECIDED  zeros.wav")
    assert "zeros.png was not drawn" in outcome.stderr
    quiet = check("zeros.wav", *NAMED, *AT_75, "--quiet")
    assert quiet.stdout.count("\n") == 1
    assert quiet.stdout.startswith("UNDECIDED")


@pytest.mark.parametrize(("option", "name"), [("--plot", "spin.jpg"), ("--report", "spin.pdf")])
def test_a_file_is_refused_before_the_work(
    option: str, name: str, check: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def work(*arguments: Any, **options: Any) -> None:
        raise AssertionError("the recording was judged first")

    monkeypatch.setattr("acoustic.check.pipeline.check_recording", work)
    assert_refused(check("good.wav", *NAMED, *AT_75, option, name), name)


def test_a_catalogue_named_by_the_environment(check: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ACOUSTIC_CATALOGUE", "absent.toml")
    assert_refused(check("good.wav", *NAMED, *AT_75), "absent.toml", "ACOUSTIC_CATALOGUE")


def test_a_misspelt_command_is_answered_with_the_nearest(acoustic: Run) -> None:
    done = acoustic("chekc", "spin.wav")
    assert done.code == 2
    assert "Did you mean check?" in done.stderr
    assert "Did you mean" not in acoustic("xyzzy").stderr
