"""Other people's plugins beside the real command: the walkthroughs of DEVELOPERS.md as they stand, and bad ones.

Each lies in a folder as pip would leave it, modules beside their metadata, and the folder on the path.
"""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from acoustic.errors import EXIT_DONE, EXIT_PLUGIN_FAILED, EXIT_UNUSABLE

TESTS = Path(__file__).parents[1]
DEVELOPERS = (TESTS.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
# A file's name in backticks at the start of a line, then a block of code: what a reader copies.
WALKTHROUGHS = dict(re.findall(r"^`([\w.]+)`[^\n]*\n\n```\w+\n(.*?)^```", DEVELOPERS, flags=re.M | re.S))
MODULES = ("workshop_encoder.py", "workshop_logger.py", "workshop_squeal.py")
# Folder of the broken plugin, and what is said of it.
BROKEN = {
    "import_error": "No module named 'a_package_that_nobody_wrote'",
    "newer_api": "was written for plugin API 1.99; this is 1.0",
    "raising_hook": "FileNotFoundError: its table of weights is not there",
}
SQUEAL_HZ, TEETH = 3100.0, 24

Call = Callable[..., "subprocess.CompletedProcess[str]"]


def place(folder: Path, files: dict[str, str]) -> Path:
    """Leave modules and their metadata as pip does, from their pyproject.toml."""
    project = tomllib.loads(files["pyproject.toml"])["project"]
    info = folder / f"{project['name'].replace('-', '_')}-{project['version']}.dist-info"
    info.mkdir(parents=True)
    metadata = f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n"
    (info / "METADATA").write_text(metadata, encoding="utf-8")
    points = [
        line
        for group, entries in project["entry-points"].items()
        for line in (f"[{group}]", *(f"{name} = {value}" for name, value in entries.items()))
    ]
    (info / "entry_points.txt").write_text("\n".join(points), encoding="utf-8")
    for name, text in files.items():
        if name.endswith(".py"):
            (folder / name).write_text(text, encoding="utf-8")
    return folder


def command(folder: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    """Run the real command with one more folder of installed packages."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("ACOUSTIC_")}
    environment["PYTHONPATH"] = os.pathsep.join(filter(None, [str(folder), environment.get("PYTHONPATH")]))
    return subprocess.run(
        [sys.executable, "-m", "acoustic", *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment,
        timeout=100,
        check=False,
    )


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return place(tmp_path_factory.mktemp("workshop"), WALKTHROUGHS)


@pytest.fixture(scope="module")
def squealing(taken: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A healthy bearing that squeals while it turns, its marks, and the pulses of an encoder on its spindle."""
    folder, made = tmp_path_factory.mktemp("squealing"), taken("sound")
    spin = made.spin
    times_s = np.arange(spin.samples.size) / spin.sample_rate_hz
    turning = (times_s > spin.marks_s[0]) & (times_s < spin.marks_s[-1])
    tone = 0.7 * spin.samples.std() * np.sin(2 * np.pi * SQUEAL_HZ * times_s) * turning
    soundfile.write(folder / "squeal.wav", spin.samples + tone, spin.sample_rate_hz, subtype="PCM_16")
    inside = (spin.times_s >= spin.marks_s[0]) & (spin.times_s <= spin.marks_s[-1])
    turns = spin.turns[inside]
    pulses = np.interp(np.arange(turns[0], turns[-1], 1 / TEETH), turns, spin.times_s[inside])
    np.savetxt(folder / "pulses.txt", pulses, fmt="%.5f")
    (folder / "marks.csv").write_text(made.marks.read_text(encoding="utf-8"), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def by_encoder(workshop: Path, squealing: Path) -> subprocess.CompletedProcess[str]:
    speed = ("--encoder", squealing / "pulses.txt", "--encoder-teeth", TEETH)
    files = ("--plot", squealing / "a.svg", "--report", squealing / "a.html")
    return command(workshop, "check", squealing / "squeal.wav", "--bearing", "6805", *speed, *files, "--json")


def findings(document: Any) -> dict[str, Any]:
    return {finding["condition"]: finding for finding in document["findings"]}


def test_the_walkthroughs_are_all_there() -> None:
    assert sorted(WALKTHROUGHS) == ["pyproject.toml", *MODULES]


@pytest.mark.parametrize("name", MODULES)
def test_a_walkthrough_takes_the_public_road(name: str) -> None:
    imported = {
        str(node.module) if isinstance(node, ast.ImportFrom) else alias.name
        for node in ast.walk(ast.parse(WALKTHROUGHS[name]))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    }
    assert {module for module in imported if module.startswith("acoustic")} == {"acoustic.api"}


def test_they_are_listed(workshop: Path) -> None:
    listed = command(workshop, "plugins", "--check", "--json")
    assert listed.returncode == EXIT_DONE, listed.stderr
    rows = {row["name"]: row for row in json.loads(listed.stdout)["plugins"]}
    ours = {name: row["hooks"] for name, row in rows.items() if row["distribution"] == "acoustic-workshop"}
    assert ours == {
        "encoder": ["acoustic_speed_sources"],
        "logger-text": ["acoustic_readers"],
        "squeal": ["acoustic_conditions", "acoustic_detectors"],
    }
    assert [row["broken"] for row in rows.values() if row["broken"]] == []


def test_the_option_is_in_the_help(workshop: Path) -> None:
    shown = command(workshop, "check", "--help").stdout
    assert re.search(r"--encoder FILE\.txt\s+Times \[s\] of an encoder's pulses", shown)
    assert re.search(r"--encoder-teeth .*Pulses of the encoder", shown)
    assert "--encoder" in command(workshop, "visit", "add", "--help").stdout
    assert "--film" in shown


def test_the_squeal_is_found_by_the_encoder_s_angle(by_encoder: Any, squealing: Path) -> None:
    """Code, words and grade of the plugin's own condition and source, all through the document."""
    assert by_encoder.returncode == EXIT_DONE, by_encoder.stderr
    document = json.loads(by_encoder.stdout)
    squeal = findings(document)["squeal.band"]
    assert squeal["detected"] and squeal["by"] == "squeal 0.1"
    low_hz, high_hz = squeal["evidence"]["band_hz"]
    assert low_hz < SQUEAL_HZ < high_hz
    assert [f["condition"] for f in document["findings"] if f["detected"]] == ["squeal.band"]
    assert document["conditions"]["squeal.band"] == "squealing seal"
    assert document["grade"]["level"] == "service"
    assert document["grade"]["because"] == ["a narrow tone is heard while it turns, as a dry seal makes it"]
    assert document["motion"]["source"] == "workshop.encoder"
    pulses = np.loadtxt(squealing / "pulses.txt")
    assert document["motion"]["turns"] == pytest.approx((pulses.size - 1) / TEETH, abs=1e-9)
    assert document["plugins"]["encoder"] == "0.1"


def test_picture_and_page_say_it_in_words(by_encoder: Any, squealing: Path) -> None:
    assert "from the encoder" in (squealing / "a.svg").read_text(encoding="utf-8")
    page = (squealing / "a.html").read_text(encoding="utf-8")
    assert "squealing seal" in page and "Something squeals while it turns." in page and "the encoder" in page
    assert "squeal.band" not in page and "workshop.encoder" not in page


def test_the_text_says_it_in_words(workshop: Path, squealing: Path) -> None:
    speed = ("--encoder", squealing / "pulses.txt", "--encoder-teeth", TEETH)
    done = command(workshop, "check", squealing / "squeal.wav", "--bearing", "6805", *speed)
    assert done.returncode == EXIT_DONE, done.stderr
    assert done.stdout.startswith("SERVICE")
    assert "squealing seal: one band stands" in done.stdout
    assert "speed from the encoder" in " ".join(done.stdout.split())


def test_a_wrong_call_of_the_plugin_s_option_is_refused(workshop: Path, squealing: Path) -> None:
    done = command(workshop, "check", squealing / "squeal.wav", "--bearing", "6805", "--encoder-teeth", "24")
    assert (done.returncode, done.stdout) == (EXIT_UNUSABLE, "")
    assert "--encoder-teeth was given without pulses" in done.stderr


def test_the_logger_s_file_is_read_and_a_healthy_bearing_does_not_squeal(
    workshop: Path, taken: Any, tmp_path: Path
) -> None:
    made = taken("sound")
    samples, rate_hz = soundfile.read(made.path)
    path = tmp_path / "spin.txt"
    path.write_text("\n".join([f"# logger {rate_hz} Hz", *map(str, samples)]), encoding="utf-8")
    done = command(workshop, "check", path, "--bearing", "6805", "--marks", made.marks, "--json")
    assert done.returncode == EXIT_DONE, done.stderr
    document = json.loads(done.stdout)
    assert document["recording"]["format"] == "logger text"
    assert findings(document)["squeal.band"]["detected"] is False
    assert document["grade"]["level"] == "clean"


LOUD = """
import ctypes, os
from acoustic.api import Finding, hookimpl
from workshop_squeal import SQUEAL
ACOUSTIC_API = (1, 0)
libc = ctypes.CDLL(None)
def shout(where):
    print("print", where)
    os.write(1, f"write {where}\\n".encode())
    os.system(f"echo child {where}")
    libc.puts(f"puts {where}".encode())  # waits in a buffer of C's until the program ends
shout("at import")
class Loud:
    name, summary, conditions = "loud", "shouts", (SQUEAL.code,)
    def detect(self, features):
        shout("at work")
        return [Finding.unjudged(SQUEAL.code, "too loud")]
@hookimpl
def acoustic_conditions():
    return [SQUEAL]
@hookimpl
def acoustic_detectors():
    return [Loud()]
"""
LOUD_PROJECT = """
[project]
name = "acoustic-loud"
version = "0.1"
[project.entry-points."acoustic.plugins"]
loud = "loud"
"""


@pytest.mark.skipif(os.name == "nt", reason="C's own output is asked for as on Unix")
def test_what_a_plugin_writes_never_reaches_stdout(taken: Any, tmp_path: Path) -> None:
    files = {"pyproject.toml": LOUD_PROJECT, "loud.py": LOUD, MODULES[2]: WALKTHROUGHS[MODULES[2]]}
    made = taken("short_outer")
    folder = place(tmp_path, files)
    done = command(folder, "check", made.path, "--bearing", "6805", "--marks", made.marks, "--json")
    assert done.returncode == EXIT_DONE, done.stderr
    assert json.loads(done.stdout)["plugins"]["loud"] == "0.1"
    for way in ("print", "write", "child", "puts"):
        for where in ("at import", "at work"):
            assert f"{way} {where}" in done.stderr


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All of them in one folder."""
    folder = tmp_path_factory.mktemp("broken")
    for name in BROKEN:
        sources = [
            *(TESTS / "broken_plugins" / name).glob("*.py"),
            TESTS / "broken_plugins" / name / "pyproject.toml",
        ]
        place(folder, {source.name: source.read_text(encoding="utf-8") for source in sources})
    return folder


def called(name: str) -> str:
    return f"broken-{name.replace('_', '-')}"


def test_broken_ones_are_named(broken: Path) -> None:
    listed = command(broken, "plugins", "--check")
    assert listed.returncode == EXIT_PLUGIN_FAILED, listed.stderr
    for name, said in BROKEN.items():
        (line,) = [line for line in listed.stdout.splitlines() if line.startswith(called(name))]
        assert "BROKEN" in line and said in line
        assert f"plugin {called(name)} is set aside" in listed.stderr
        assert f"pip uninstall acoustic-{called(name)}" in listed.stderr
    assert "Traceback" not in listed.stderr


def test_with_broken_ones_a_check_is_undecided(broken: Path, taken: Any) -> None:
    made = taken("short_outer")
    done = command(broken, "check", made.path, "--bearing", "6805", "--marks", made.marks, "--json")
    assert done.returncode == EXIT_PLUGIN_FAILED, done.stderr
    document = json.loads(done.stdout)
    assert document["grade"]["level"] == "undecided"
    failed = {failure["plugin"]: failure for failure in document["failures"]}
    assert sorted(failed) == sorted(map(called, BROKEN))
    for name, said in BROKEN.items():
        assert failed[called(name)]["stage"] == "load" and said in failed[called(name)]["error"]
        assert called(name) in done.stderr
    assert findings(document)["outer_raceway"]["detected"], "what the others found is still listed"
