"""Other people's plugins, each its own distribution, built and installed by pip beside the real command."""

from __future__ import annotations

import ast
import json
import os
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.errors import EXIT_DONE, EXIT_PLUGIN_FAILED

HERE = Path(__file__).parents[1]
EXAMPLE = HERE / "example_plugin"
# Folder of the broken plugin, and what is said of it.
BROKEN = {
    "import_error": "No module named 'a_package_that_nobody_wrote'",
    "newer_api": "was written for plugin API 1.99; this is 1.0",
    "raising_hook": "FileNotFoundError: its table of weights is not there",
}
PIP = (sys.executable, "-m", "pip", "--disable-pip-version-check", "--no-input", "--quiet")


def call(*command: object, path: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run a command, with one more folder of installed packages if given."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("ACOUSTIC_")}
    if path is not None:
        environment["PYTHONPATH"] = str(path)
    return subprocess.run(
        [str(part) for part in command],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment,
        timeout=100,
        check=False,
    )


@pytest.fixture(scope="module")
def wheels(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build all four at once, from copies, so that nothing is left in the sources."""
    folder = tmp_path_factory.mktemp("wheels")
    copies = []
    for source in (EXAMPLE, *(HERE / "broken_plugins" / name for name in BROKEN)):
        copies.append(folder / "sources" / source.name)
        shutil.copytree(source, copies[-1], ignore=shutil.ignore_patterns("__pycache__"))
    built = call(*PIP, "wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", folder, *copies)
    assert built.returncode == 0, f"{built.stderr}\nhatchling is needed in this environment to build plugins"
    return folder


@pytest.fixture(scope="module")
def install(wheels: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Install one of them into a folder of its own: (name of its folder) -> Path."""
    done: dict[str, Path] = {}

    def into_folder(name: str) -> Path:
        if name not in done:
            (wheel,) = wheels.glob(
                f"acoustic_{'example_creak' if name == EXAMPLE.name else f'broken_{name}'}-*.whl"
            )
            target = tmp_path_factory.mktemp(name)
            installed = call(*PIP, "install", "--no-deps", "--no-index", "--target", target, wheel)
            assert installed.returncode == 0, installed.stderr
            done[name] = target
        return done[name]

    return into_folder


@pytest.fixture(scope="module")
def command() -> str:
    """The command as pip installed it."""
    found = shutil.which("acoustic", path=sysconfig.get_path("scripts"))
    assert found is not None, "acoustic is not installed in this environment"
    return found


@pytest.fixture(scope="module")
def check(command: str, taken: Any) -> Callable[..., subprocess.CompletedProcess[str]]:
    def run(case: str, path: Path | None) -> subprocess.CompletedProcess[str]:
        made = taken(case)
        return call(command, "check", made.path, "--bearing", "6805", "--marks", made.marks, "--json", path=path)

    return run


def findings(document: Any) -> dict[str, Any]:
    return {finding["condition"]: finding for finding in document["findings"]}


def test_the_example_is_listed(install: Any, command: str) -> None:
    listed = call(command, "plugins", "--check", "--json", path=install("example_plugin"))
    assert listed.returncode == EXIT_DONE, listed.stderr
    (row,) = [row for row in json.loads(listed.stdout)["plugins"] if row["name"] == "one-place"]
    assert row == {
        "name": "one-place",
        "version": "0.3.0",
        "distribution": "acoustic-example-creak",
        "module": "acoustic_example_creak",
        "hooks": ["acoustic_detectors"],
        "broken": None,
    }


def test_the_example_hears_a_creak(install: Any, check: Any) -> None:
    """Once a turn something clicks, and by the marks given nobody said that it is the marker."""
    done = check("ticking", install("example_plugin"))
    assert done.returncode == EXIT_DONE, done.stderr
    document = json.loads(done.stdout)
    creak = findings(document)["creak"]
    assert creak["detected"]
    assert creak["by"] == "one-place 0.3.0"
    assert creak["evidence"]["order"] == 1.0
    assert "same place of the crank" in creak["detail"]
    assert document["plugins"]["one-place"] == "0.3.0"
    assert document["grade"]["level"] == "service"


def test_the_example_keeps_quiet_about_grit(install: Any, check: Any) -> None:
    document = json.loads(check("grit", install("example_plugin")).stdout)
    assert findings(document)["creak"]["detected"] is False
    assert findings(document)["contamination"]["detected"] is True


def test_without_it_nobody_speaks_of_creaks(check: Any) -> None:
    """The other way round, so that the tests above can't pass by another's finding."""
    assert "creak" not in findings(json.loads(check("ticking", None).stdout))


def test_the_example_takes_the_public_road() -> None:
    tree = ast.parse((EXAMPLE / "acoustic_example_creak.py").read_text(encoding="utf-8"))
    imported = {
        str(node.module) if isinstance(node, ast.ImportFrom) else alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    }
    assert {name for name in imported if name.startswith("acoustic")} == {"acoustic.api"}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_one_is_named(name: str, install: Any, command: str) -> None:
    listed = call(command, "plugins", "--check", path=install(name))
    called = f"broken-{name.replace('_', '-')}"
    assert listed.returncode == EXIT_PLUGIN_FAILED, listed.stderr
    (line,) = [line for line in listed.stdout.splitlines() if line.startswith(called)]
    assert "BROKEN" in line and BROKEN[name] in line
    assert f"plugin {called} is set aside" in listed.stderr
    assert f"pip uninstall acoustic-{called}" in listed.stderr
    assert "Traceback" not in listed.stderr


@pytest.mark.parametrize("name", BROKEN)
def test_with_a_broken_one_a_check_is_undecided(name: str, install: Any, check: Any) -> None:
    done = check("short_outer", install(name))
    called = f"broken-{name.replace('_', '-')}"
    assert done.returncode == EXIT_PLUGIN_FAILED, done.stderr
    document = json.loads(done.stdout)
    assert document["grade"]["level"] == "undecided"
    assert [(f["stage"], f["plugin"]) for f in document["failures"]] == [("load", called)]
    assert BROKEN[name] in document["failures"][0]["error"]
    assert findings(document)["outer_raceway"]["detected"], "what the others found is still listed"
    # On a busy machine it also says what it does, each line after an ellipsis (written so without UTF-8).
    (line,) = [one for one in done.stderr.splitlines() if not one.startswith(("… ", "? ", "\\u2026 "))]
    assert called in line
