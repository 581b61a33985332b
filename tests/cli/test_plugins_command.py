"""`acoustic plugins`: what is installed, from where, and what is broken."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

from acoustic.errors import EXIT_DONE, EXIT_PLUGIN_FAILED
from acoustic.plugin.registry import hook_names, load_plugins

Run = Callable[..., Any]
BUNDLED = ("container-sound", "contamination", "defect-lines", "heard-ticks", "marks-file", "rumble")


@pytest.fixture
def with_broken(plugin: Callable[..., ModuleType], monkeypatch: pytest.MonkeyPatch) -> None:
    extra = [("grumpy", plugin("grumpy_module", api=(9, 0), acoustic_detectors=[]))]
    monkeypatch.setattr("acoustic.plugin.registry.load_plugins", lambda: load_plugins(extra=extra))


def test_list(acoustic: Run) -> None:
    """One line each: name, version, package, module; nothing is loaded, so nothing can be broken."""
    outcome = acoustic("plugins")
    assert (outcome.code, outcome.stderr) == (EXIT_DONE, "")
    lines = {line.split()[0]: line.split()[1:] for line in outcome.stdout.splitlines()}
    assert set(BUNDLED) <= set(lines)
    version, package, module = lines["defect-lines"]
    assert (package, module) == ("acoustic-crank", "acoustic_plugins.detectors.defect_lines")
    assert version[0].isdigit()


def test_check_shows_hooks(acoustic: Run) -> None:
    outcome = acoustic("plugins", "--check")
    assert (outcome.code, outcome.stderr) == (EXIT_DONE, "")
    line = next(line for line in outcome.stdout.splitlines() if line.startswith("rumble "))
    assert line.split()[2:] == ["acoustic-crank", "detectors"]


@pytest.mark.parametrize("check", [False, True])
def test_json(check: bool, acoustic: Run) -> None:
    outcome = acoustic("plugins", "--json", *(["--check"] if check else []))
    document = outcome.document
    assert document["schema"] == "acoustic.plugins/1"
    rows = {row["name"]: row for row in document["plugins"]}
    assert set(BUNDLED) <= set(rows)
    for row in rows.values():
        assert set(row) >= {"name", "version", "distribution", "module", "hooks", "broken"}
        assert row["broken"] is None
        if check:
            assert row["hooks"] and set(row["hooks"]) <= set(hook_names())
        else:
            assert row["hooks"] is None, "what was not looked at is not said to be empty"


def test_check_names_what_is_broken(acoustic: Run, with_broken: None) -> None:
    outcome = acoustic("plugins", "--check")
    assert outcome.code == EXIT_PLUGIN_FAILED
    line = next(line for line in outcome.stdout.splitlines() if line.startswith("grumpy"))
    assert "BROKEN" in line
    assert "plugin API 9.0" in line
    assert "plugin grumpy is set aside" in outcome.stderr
    assert "pip uninstall" in outcome.stderr
    assert any(line.startswith("defect-lines") for line in outcome.stdout.splitlines()), "the others are listed"


def test_check_json_names_what_is_broken(acoustic: Run, with_broken: None) -> None:
    outcome = acoustic("plugins", "--check", "--json")
    assert outcome.code == EXIT_PLUGIN_FAILED
    broken = {row["name"]: row["broken"] for row in outcome.document["plugins"] if row["broken"]}
    assert list(broken) == ["grumpy"]
    assert "plugin API 9.0" in broken["grumpy"]


def test_strict_raises(acoustic: Run, with_broken: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """For authors of plugins: the error itself, with --debug even with its trace."""
    from acoustic.errors import PluginError

    monkeypatch.setenv("ACOUSTIC_STRICT_PLUGINS", "1")
    outcome = acoustic("plugins", "--check")
    assert outcome.code == EXIT_PLUGIN_FAILED
    assert "plugin API 9.0" in outcome.stderr
    with pytest.raises(PluginError):
        acoustic("plugins", "--check", "--debug")
