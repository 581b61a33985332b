"""`acoustic demo`: the main job over recordings whose truth is known."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from acoustic.cli.demo import NEEDED, demo_folder
from acoustic.errors import EXIT_AT_OR_PAST_GRADE, EXIT_DONE, EXIT_PLUGIN_FAILED, EXIT_UNUSABLE
from acoustic.plugin.registry import load_plugins

Run = Callable[..., Any]
ENTRY = """
[[recording]]
file = "{file}"
bearing = "6805"
marks = "{marks}"
grade = "{grade}"
detected = [{detected}]
"""


@pytest.fixture
def folder(tmp_path: Path, taken: Any) -> Callable[..., Path]:
    """A demo folder of one or two recordings: ((case, expected grade, expected conditions), ...) -> Path."""

    def make(*expected: tuple[str, str, str]) -> Path:
        entries = []
        for case, grade, conditions in expected:
            made = taken(case)
            shutil.copy(made.path, tmp_path / f"{case}.wav")
            shutil.copy(made.marks, tmp_path / f"{case}.csv")
            detected = f'"{conditions}"' if conditions else ""
            entries.append(ENTRY.format(file=f"{case}.wav", marks=f"{case}.csv", grade=grade, detected=detected))
        (tmp_path / "manifest.toml").write_text("".join(entries), encoding="utf-8")
        return tmp_path

    return make


def test_the_demo_recordings_give_what_they_promise(acoustic: Run) -> None:
    """Every line of the bundled demo, without a word on stderr but progress."""
    outcome = acoustic("demo")
    assert outcome.code == EXIT_DONE, outcome.stdout
    lines = outcome.stdout.splitlines()
    assert "differs" not in outcome.stdout
    number = len(lines) - 2
    assert lines[-1] == f"{number} of {number} as expected."
    assert lines[0].split() == ["recording", "expected", "found"]
    assert all(line.startswith("… ") for line in outcome.stderr.splitlines())


def test_the_demo_shows_every_grade() -> None:
    """Whoever tries the program sees each thing it can say."""
    import tomllib

    table = tomllib.loads((demo_folder() / "manifest.toml").read_text(encoding="utf-8"))
    entries = table["recording"]
    assert {entry["grade"] for entry in entries} == {"clean", "watch", "service", "replace", "undecided"}
    for entry in entries:
        assert set(NEEDED) <= set(entry)
        assert (demo_folder() / entry["file"]).is_file()
        assert sum(key in entry for key in ("marks", "ticks", "speed_rpm")) == 1
        assert (entry["grade"] in ("clean", "undecided")) == (entry["detected"] == [])


def test_a_folder_of_one_s_own(folder: Any, acoustic: Run) -> None:
    outcome = acoustic("demo", folder(("sound", "clean", ""), ("grit", "service", "contamination")))
    assert outcome.code == EXIT_DONE
    assert outcome.stdout.splitlines()[1].split() == ["sound", "clean", "clean"]
    assert outcome.stdout.splitlines()[2].split() == ["grit", "service:", "dirt", "service:", "dirt"]
    assert outcome.stdout.splitlines()[3] == "2 of 2 as expected."


@pytest.mark.parametrize(
    "expected",
    [
        ("sound", "watch", "outer_raceway"),
        ("outer", "clean", ""),
        ("outer", "replace", "inner_raceway"),
        ("grit", "replace", "contamination"),
    ],
)
def test_a_difference_shows(expected: tuple[str, str, str], folder: Any, acoustic: Run) -> None:
    outcome = acoustic("demo", folder(expected))
    assert outcome.code == EXIT_AT_OR_PAST_GRADE
    assert outcome.stdout.splitlines()[1].endswith("<- differs")
    assert outcome.stdout.splitlines()[-1] == "0 of 1 as expected."


def test_a_broken_plugin_shows(
    folder: Any, acoustic: Run, plugin: Callable[..., ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    extra = [("grumpy", plugin("grumpy", api=(9, 0), acoustic_detectors=[]))]
    monkeypatch.setattr("acoustic.plugin.registry.load_plugins", lambda: load_plugins(extra=extra))
    outcome = acoustic("demo", folder(("sound", "clean", "")))
    assert outcome.code == EXIT_PLUGIN_FAILED
    assert "undecided" in outcome.stdout


@pytest.mark.parametrize(
    ("text", "found", "advice"),
    [
        (None, "there is no manifest.toml", "Give the folder that holds it"),
        ("[[recording\n", "cannot be read as TOML", "Mend the file"),
        ("", "lists no recording", "Add a [[recording]] table"),
        ('[[recording]]\nfile = "a.wav"\n', "recording 1 lacks bearing, grade, detected", "Add it"),
        (
            ENTRY.format(file="absent.wav", marks="a.csv", grade="clean", detected=""),
            "absent.wav",
            "Check the path",
        ),
    ],
)
def test_refusals(text: str | None, found: str, advice: str, tmp_path: Path, acoustic: Run) -> None:
    if text is not None:
        (tmp_path / "manifest.toml").write_text(text, encoding="utf-8")
    outcome = acoustic("demo", tmp_path)
    assert outcome.code == EXIT_UNUSABLE
    assert found in outcome.stderr
    assert advice in outcome.stderr


def test_a_folder_that_is_not_there(tmp_path: Path, acoustic: Run) -> None:
    outcome = acoustic("demo", tmp_path / "absent")
    assert (outcome.code, outcome.stdout) == (EXIT_UNUSABLE, "")
