"""`acoustic check` of two recordings and more: each judged, one refused does not stop the others."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.cli.schema import schema_of
from acoustic.errors import EXIT_AT_OR_PAST_GRADE, EXIT_DONE, EXIT_PLUGIN_FAILED, EXIT_UNUSABLE, PluginError

jsonschema = pytest.importorskip("jsonschema", reason="jsonschema validates here; it comes with the test extra")

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def folder(taken: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A healthy steady spin, a damaged one, and notes that are no sound."""
    home = tmp_path_factory.mktemp("several")
    for case, name in (("steady", "a.wav"), ("steady_outer", "b.wav")):
        shutil.copy(taken(case).path, home / name)
    (home / "notes.wav").write_text("bring the red bike", encoding="utf-8")
    return home


CALL = ("--bearing", "6805", "--speed", "75")


def test_each_is_judged_as_alone(folder: Path, acoustic: Run) -> None:
    both = acoustic("check", folder / "a.wav", folder / "b.wav", *CALL, "--json")
    alone = [acoustic("check", folder / name, *CALL, "--json").document for name in ("a.wav", "b.wav")]
    assert both.code == EXIT_DONE
    assert both.document == {"schema": "acoustic.checks/1", "checks": alone, "refused": []}
    assert [check["grade"]["level"] for check in both.document["checks"]] == ["clean", "replace"]
    made = schema_of("checks")
    jsonschema.Draft202012Validator.check_schema(made)
    jsonschema.Draft202012Validator(made).validate(both.document)


def test_a_pattern_that_the_shell_left_alone(folder: Path, acoustic: Run) -> None:
    """As on Windows, or in quotation marks; a file that fits twice is judged once."""
    outcome = acoustic("check", folder / "[ab].wav", folder / "b.wav", *CALL, "--quiet")
    assert outcome.stdout == "CLEAN  a.wav  (6805)\nREPLACE  b.wav  (6805): outer ring\n"
    none = acoustic("check", folder / "*.m4a", *CALL)
    assert (none.code, none.stdout) == (EXIT_UNUSABLE, "")
    assert "*.m4a" in none.stderr


def test_one_refused_does_not_stop_the_others(folder: Path, acoustic: Run) -> None:
    """It is named on stderr and in the document, never left out; the highest exit code counts."""
    outcome = acoustic("check", folder / "notes.wav", folder / "a.wav", *CALL, "--json")
    assert outcome.code == EXIT_UNUSABLE
    assert "notes.wav is not a sound file" in outcome.stderr
    assert [Path(check["recording"]["path"]).name for check in outcome.document["checks"]] == ["a.wav"]
    (refused,) = outcome.document["refused"]
    assert refused["path"] == str(folder / "notes.wav")
    assert "not a sound file" in refused["found"] and refused["hint"]
    text = acoustic("check", folder / "notes.wav", folder / "a.wav", folder / "b.wav", *CALL).stdout
    assert text.splitlines()[-1] == "3 recordings: 1 replace, 1 clean, 1 not judged (notes.wav)"
    quiet = acoustic("check", folder / "notes.wav", folder / "a.wav", *CALL, "--quiet")
    assert quiet.stdout == "NOT JUDGED  notes.wav\nCLEAN  a.wav  (6805)\n", "a line for every recording"


@pytest.mark.parametrize(
    ("limit", "names", "code"),
    [
        ("replace", ("a.wav", "b.wav"), EXIT_AT_OR_PAST_GRADE),
        ("replace", ("b.wav", "notes.wav"), EXIT_UNUSABLE),
        ("watch", ("a.wav", "a.wav"), EXIT_DONE),
    ],
)
def test_the_worst_exit_code(limit: str, names: tuple[str, ...], code: int, folder: Path, acoustic: Run) -> None:
    recordings = [folder / name for name in names]
    assert acoustic("check", *recordings, *CALL, "--quiet", "--fail-on", limit).code == code


def test_a_plugin_that_fails_in_one(folder: Path, acoustic: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from acoustic.check import pipeline

    whole = pipeline.check_recording

    def judge(path: Path, **options: Any) -> Any:
        if path.name == "b.wav":
            raise PluginError("the plugin grumpy failed", hint="Remove it.")
        return whole(path, **options)

    monkeypatch.setattr(pipeline, "check_recording", judge)
    outcome = acoustic("check", folder / "notes.wav", folder / "b.wav", folder / "a.wav", *CALL, "--json")
    assert outcome.code == EXIT_PLUGIN_FAILED
    assert len(outcome.document["checks"]) == 1 and len(outcome.document["refused"]) == 2


@pytest.mark.parametrize(
    ("more", "found"),
    [
        (("--report", "spin.html"), "--report writes the page of one recording, and 2 were given"),
        (("--plot", "spin.png"), "--plot writes the picture of one recording, and 2 were given"),
        (("--turns", "9,5"), "--turns belong to one recording, and 2 were given"),
        (("--marks", "turns.csv"), "belong to one recording, and 2 were given"),
        (("--gyro", "gyro.csv"), "belong to one recording, and 2 were given"),
    ],
)
def test_what_belongs_to_one(more: tuple[str, str], found: str, folder: Path, acoustic: Run) -> None:
    outcome = acoustic("check", folder / "a.wav", folder / "b.wav", "--bearing", "6805", *more)
    assert (outcome.code, outcome.stdout) == (EXIT_UNUSABLE, "")
    assert found in outcome.stderr and "in a call of its own" in outcome.stderr


def test_an_error_of_ours_is_not_a_verdict(folder: Path, acoustic: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*arguments: Any, **options: Any) -> None:
        raise ZeroDivisionError("nothing over nothing")

    monkeypatch.setattr("acoustic.check.pipeline.check_recording", broken)
    outcome = acoustic("check", folder / "a.wav", folder / "b.wav", *CALL, "--json")
    assert outcome.stdout == "" and "ZeroDivisionError" in outcome.stderr


def test_the_document_is_json_without_words_beside_it(folder: Path, acoustic: Run) -> None:
    outcome = acoustic("check", folder / "notes.wav", folder / "absent.wav", *CALL, "--json")
    assert outcome.code == EXIT_UNUSABLE
    assert json.loads(outcome.stdout)["checks"] == []
