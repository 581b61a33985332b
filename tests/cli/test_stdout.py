"""Where results go: to stdout alone, also where nobody reads it, or where it is closed."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from acoustic.errors import EXIT_DONE, EXIT_PIPE_CLOSED

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
