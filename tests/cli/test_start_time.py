"""What starting the program may load. By module names, not by a stopwatch: the same on every machine."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic import __version__

# Whatever else an editable install or a site customisation brings is loaded by a bare interpreter too.
BARE = "import sys; print(*sys.modules)"
CALL = """
import sys
from acoustic.cli import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    print(end.code, *sys.modules, file=sys.stderr)
"""
SLOW_SCIPY = ("scipy.signal", "scipy.stats")  # together about a second
SCIPY = "scipy"  # its shared base alone takes as long as a third of a check
FOR_REPORTS = {"librosa", "numba", "matplotlib"}
LIGHT = {"acoustic", "click", "colorama"}  # click needs colorama on Windows


def loaded_by(code: str, *arguments: object) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
        timeout=300,  # where numba compiles for the first time
    )
    return (done.stdout if code == BARE else done.stderr.splitlines()[-1]).split()


def packages(modules: list[str]) -> set[str]:
    return {module.partition(".")[0] for module in modules}


@pytest.fixture(scope="module")
def bare() -> set[str]:
    return packages(loaded_by(BARE))


@pytest.mark.parametrize("arguments", [["--help"], ["-h"], ["--version"], ["check", "--help"]], ids=" ".join)
def test_help_loads_nothing_heavy(arguments: list[str], bare: set[str]) -> None:
    code, *modules = loaded_by(CALL, *arguments)
    assert code == "0"
    options = {"acoustic_plugins", "acoustic_plugins.speed", "acoustic_plugins.speed.options"}
    beyond = packages([m for m in modules if m not in options]) - bare - set(sys.stdlib_module_names)
    assert "click" in beyond, "the test looks at the right process"
    assert beyond <= LIGHT, f"{' '.join(arguments)} loads {', '.join(sorted(beyond - LIGHT))}"


@pytest.mark.parametrize("arguments", [["--help"], ["--version"]], ids=" ".join)
def test_help_imports_no_command(arguments: list[str]) -> None:
    _, *modules = loaded_by(CALL, *arguments)
    ours = sorted(module for module in modules if module.startswith("acoustic."))
    assert ours == ["acoustic.cli", "acoustic.errors", "acoustic.text"]


def test_listing_plugins_imports_none_of_them() -> None:
    code, *modules = loaded_by(CALL, "plugins")
    assert code == "0"
    assert not [module for module in modules if module.startswith("acoustic_plugins")]
    assert not packages(modules) & {"soundfile", "librosa", "matplotlib", "av"}
    assert not [module for module in modules if module.startswith(SLOW_SCIPY)]


def test_a_check_loads_only_what_it_needs(taken: Callable[..., Any]) -> None:
    """A short WAV, no picture: scipy, the drawing and the film decoder stay out."""
    made = taken("short_outer")
    arguments = ("check", made.path, "--bearing", "6805", "--marks", made.marks, "--quiet")
    code, *modules = loaded_by(CALL, *arguments)
    assert code == "0"
    assert {"numpy", "soundfile"} <= packages(modules)
    assert not packages(modules) & {*FOR_REPORTS, "av", SCIPY}


def test_a_report_loads_what_a_check_does_not(taken: Callable[..., Any], tmp_path: Path) -> None:
    """Else the test above would look for names that are never there."""
    made = taken("short_outer")
    arguments = ("check", made.path, "--bearing", "6805", "--marks", made.marks, "--quiet")
    code, *modules = loaded_by(CALL, *arguments, "--report", tmp_path / "page.html")
    assert code == "0"
    assert packages(modules) >= FOR_REPORTS


def test_the_module_is_the_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "acoustic", "--version"],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )
    assert (done.returncode, done.stdout.strip()) == (0, f"acoustic, version {__version__}")
