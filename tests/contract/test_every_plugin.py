"""What holds for every bundled plugin module and every object one offers."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import pytest

from acoustic.plugin import hookspecs
from acoustic.plugin.entry import installed
from acoustic.plugin.registry import LoadedPlugin, load_plugins

REGISTRY = load_plugins()
BUNDLED = sorted(record.module for record in installed() if record.distribution == "acoustic-crank")
KINDS = {
    "reader": (REGISTRY.readers, hookspecs.Reader),
    "quality check": (REGISTRY.quality_checks, hookspecs.QualityCheck),
    "speed source": (REGISTRY.speed_sources, hookspecs.SpeedSource),
    "detector": (REGISTRY.detectors, hookspecs.Detector),
}
OFFERED = [(kind, part) for kind, (parts, _) in KINDS.items() for part in parts]
IDS = [f"{kind} {part.item.name}" for kind, part in OFFERED]
SLOW_TO_IMPORT = ("soundfile", "av", "scipy.signal", "scipy.stats", "librosa", "matplotlib")


def test_there_is_something_of_every_kind() -> None:
    assert BUNDLED
    assert all(parts for parts, _ in KINDS.values())


@pytest.mark.parametrize(("kind", "part"), OFFERED, ids=IDS)
def test_it_tells_of_itself(kind: str, part: LoadedPlugin[Any]) -> None:
    """A short name for programs and one line for people."""
    assert part.item.name == part.item.name.lower().strip()
    assert " " not in part.item.name and "_" not in part.item.name
    assert 10 < len(part.item.summary) < 110
    assert "\n" not in part.item.summary and not part.item.summary.endswith(".")
    assert part.record.version


@pytest.mark.parametrize("kind", KINDS)
def test_names_are_unique(kind: str) -> None:
    names = [part.item.name for part in KINDS[kind][0]]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(("kind", "part"), OFFERED, ids=IDS)
def test_it_keeps_its_protocol(kind: str, part: LoadedPlugin[Any]) -> None:
    """Everything the chain calls is there."""
    protocol = KINDS[kind][1]
    for name in (name for name in vars(protocol) if not name.startswith("_")):
        assert hasattr(part.item, name), name


@pytest.mark.parametrize(("kind", "part"), OFFERED, ids=IDS)
def test_it_explains_itself_to_readers_of_its_code(kind: str, part: LoadedPlugin[Any]) -> None:
    assert type(part.item).__doc__
    assert sys.modules[type(part.item).__module__].__doc__


def test_importing_the_plugins_is_cheap() -> None:
    """Listing and loading them all must not bring in what only their work needs."""
    code = f"import sys\nfor name in {BUNDLED!r}:\n    __import__(name)\nprint(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", check=True, timeout=60
    )
    modules = done.stdout.split()
    assert set(BUNDLED) <= set(modules)
    assert [module for module in modules if module.startswith(SLOW_TO_IMPORT)] == []
