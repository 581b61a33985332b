"""Where results go: to stdout alone, also where nobody reads it, or where it is closed."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.cli import LegibleStream
from acoustic.errors import EXIT_DONE, EXIT_PIPE_CLOSED
from acoustic.model import Problem
from acoustic.plugin.registry import load_plugins

CALL = (sys.executable, "-m", "acoustic", "bearings")


@pytest.mark.skipif(os.name == "nt", reason="Windows has no broken pipe")
def test_a_reader_that_went_away() -> None:
    with subprocess.Popen(CALL, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(60) == EXIT_PIPE_CLOSED


def test_results_in_a_pipe_and_nothing_else() -> None:
    done = subprocess.run(
        [*CALL, "6805"], capture_output=True, text=True, encoding="utf-8", check=False, timeout=60
    )
    assert done.returncode == EXIT_DONE
    assert "6805" in done.stdout
    assert "6805" not in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="asked for as on Unix")
def test_a_closed_stdout_is_no_crash() -> None:
    done = subprocess.run(
        ["sh", "-c", '"$@" >&-', "sh", *CALL, "6805"], capture_output=True, text=True, check=False, timeout=60
    )
    assert (done.returncode, done.stdout) == (EXIT_DONE, "")
    assert "Traceback" not in done.stderr


RUDE = "\x08\u202e"  # goes a letter back, then turns the direction of writing
SHOWN = "\\u0008\\u202e"
ROW = """
[[bearing]]
designation = "HP-1"
pitch_diameter_mm = 20.0
ball_diameter_mm = 5.0
ball_counts = [8]
kind = "cup and cone"
source = "\\u0008\\u202e"
"""


def test_a_file_s_name_cannot_steer_the_terminal(acoustic: Callable[..., Any]) -> None:
    outcome = acoustic("check", f"spin{RUDE}.wav", "--bearing", "6805", "--turns", "9")
    assert f"spin{SHOWN}.wav" in outcome.stderr
    assert not set(RUDE) & set(outcome.stdout + outcome.stderr)


def test_nor_can_a_sequence_that_a_terminal_takes_as_an_order() -> None:
    """Where stdout is no terminal, click itself takes such sequences out before they come here."""
    there = io.StringIO()
    assert LegibleStream(there).write("a\x1b[2Jb\r\n") == 8
    assert there.getvalue() == "a\\u001b[2Jb\\u000d\n"


def test_a_catalogue_s_text_cannot_steer_the_terminal(acoustic: Callable[..., Any], tmp_path: Path) -> None:
    catalogue = tmp_path / "own.toml"
    catalogue.write_text(ROW, encoding="utf-8")
    table = acoustic("bearings", "HP-1", "--catalogue", catalogue).stdout
    assert SHOWN in table
    assert not set(RUDE) & set(table)
    outcome = acoustic("bearings", "HP-1", "--catalogue", catalogue, "--json")
    assert not set(RUDE) & set(outcome.stdout)
    assert RUDE in outcome.document["rows"][0].values(), "a program reads the text as it is"


def test_a_plugin_s_detail_cannot_steer_the_terminal(
    acoustic: Callable[..., Any],
    taken: Callable[..., Any],
    plugin: Callable[..., Any],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Rude:
        name, summary = "rude", "a check of the recording"

        def check(self, recording: Any, features: Any) -> Any:
            return [Problem("rude.one", f"rude {RUDE}", "Nothing.")]

    extra = (("rude", plugin("rude", acoustic_quality_checks=[Rude()])),)
    monkeypatch.setattr("acoustic.plugin.registry.load_plugins", lambda: load_plugins(extra=extra))
    made = taken("short")
    outcome = acoustic("check", made.path, "--marks", made.marks, "--bearing", "6805")
    assert SHOWN in outcome.stdout
    assert not set(RUDE) & set(outcome.stdout + outcome.stderr)
