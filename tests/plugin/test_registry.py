"""Plugins: every hook, every way to be broken, and that a broken one never reads as a healthy bearing."""

from __future__ import annotations

import importlib.metadata
import inspect
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.speed.options import MARKS

from acoustic.conditions import Condition, Rule
from acoustic.errors import EXIT_PLUGIN_FAILED, PluginError
from acoustic.model import Evidence, Finding, Motion, Problem, Sound
from acoustic.plugin import hookspecs
from acoustic.plugin.entry import GROUP, installed
from acoustic.plugin.registry import hook_names, load_plugins

Run = Callable[..., Any]
Make = Callable[..., ModuleType]


def tool(name: str = "tool", **methods: Any) -> SimpleNamespace:
    """An object as a plugin offers it."""
    return SimpleNamespace(name=name, summary=f"made for a test of {name}", **methods)


def raises(error: BaseException) -> Callable[..., Any]:
    def call(*arguments: Any, **options: Any) -> Any:
        raise error

    return call


def a_condition(code: str = "squeal.band", **changes: Any) -> Condition:
    rule = Rule(level="service", because="a band squeals", advice="Grease it.")
    return Condition(**{"code": code, "name": "squeal", "rules": (rule,), **changes})


def listening(*codes: str, name: str = "listener") -> dict[str, Any]:
    """A detector of its own conditions, and the hook that offers them."""

    def detect(features: Any) -> list[Finding]:
        return [nothing_heard(code) for code in codes]

    return {
        "acoustic_conditions": [a_condition(code) for code in codes],
        "acoustic_detectors": [tool(name, conditions=codes, detect=detect)],
    }


def nothing_heard(condition: str = "squeal.band") -> Finding:
    return Finding(
        condition=condition,
        detected=False,
        false_alarm_probability=0.5,
        severity_db=None,
        detail=f"no {condition}",
        evidence=Evidence(),
    )


def failures(outcome: Any) -> list[tuple[str, str]]:
    return [(failure["stage"], failure["plugin"]) for failure in outcome.document["failures"]]


# The hooks. Each has a test named after it.


def test_hook_acoustic_readers(plugin: Make, check_with: Any, tmp_path: Path, acoustic: Run) -> None:
    """A reader for a format of its own: the sound's text in a file that begins with a word."""

    def read(path: Path) -> Sound:
        values = path.read_text(encoding="utf-8").split()[1:]
        return Sound(np.array(values, dtype=float)[:, np.newaxis], 48_000.0, "numbers in a text")

    reader = tool("numbers", claims=lambda head: head.startswith(b"numbers"), read=read)
    check_with(("numbers", plugin("numbers", acoustic_readers=[reader])))
    path = tmp_path / "numbers.txt"
    path.write_text("numbers " + "0.0 " * 48_000, encoding="utf-8")
    outcome = acoustic("check", path, "--bearing", "6805", "--speed", "75", "--json")
    assert outcome.document["recording"]["format"] == "numbers in a text"
    assert outcome.document["quality"]["problems"][0]["code"] == "silent"


def test_hook_acoustic_quality_checks(plugin: Make, check_with: Any) -> None:
    """Asked twice: of the samples before the motion is known, and with the features after."""
    asked: list[bool] = []

    def looks(recording: Any, features: Any) -> list[Problem]:
        asked.append(features is None)
        return [Problem("too_yellow", "the bike is yellow", "Paint it.", voids="any")] if features else []

    extra = plugin("colour", acoustic_quality_checks=[tool("colour", check=looks)])
    outcome = check_with(("colour", extra), case="outer")
    assert asked == [True, False]
    assert [p["code"] for p in outcome.document["quality"]["problems"]] == ["too_yellow"]
    assert outcome.document["quality"]["usable"] is False


def test_hook_acoustic_speed_sources(plugin: Make, check_with: Any) -> None:
    """Its rank comes before that of the bundled source, so it decides."""
    times_s = np.array([0.5, 6.5])

    def estimate(recording: Any, request: Any) -> Motion:
        return Motion(times_s, np.array([0.0, 6.0]), "hall.switch", "steady", 0.01, True)

    source = tool(
        "a-switch",
        code="hall.switch",
        label="the switch",
        rank=0,
        options=MARKS,
        present=lambda recording: False,
        estimate=estimate,
    )
    outcome = check_with(("a-switch", plugin("switch", acoustic_speed_sources=[source])))
    assert outcome.document["motion"]["source"] == "hall.switch"
    assert outcome.document["motion"]["turns"] == 6.0


def test_hook_acoustic_conditions(plugin: Make, check_with: Any) -> None:
    """Its detector finds it; document, report and grade call it by the plugin's own name and rule."""
    found = replace(nothing_heard(), detected=True, false_alarm_probability=0.001, severity_db=3.0)
    listener = tool("listener", conditions=("squeal.band",), detect=lambda features: [found])
    extra = plugin("m", acoustic_conditions=[a_condition()], acoustic_detectors=[listener])
    outcome = check_with(("listener", extra))
    assert outcome.document["conditions"]["squeal.band"] == "squeal"
    assert outcome.document["conditions"]["outer_raceway"] == "outer ring"
    assert set(outcome.document["conditions"]) == {f["condition"] for f in outcome.document["findings"]}
    assert "a band squeals" in outcome.document["grade"]["because"]
    assert "squeal: no squeal.band" in check_with(("listener", extra), json=False).stdout


def test_hook_acoustic_detectors(plugin: Make, check_with: Any) -> None:
    outcome = check_with(("listener", plugin("listener", **listening("squeal.band"))))
    (found,) = [f for f in outcome.document["findings"] if f["condition"] == "squeal.band"]
    assert found["by"] == "listener 0"
    assert outcome.document["plugins"]["listener"] == "0"
    assert outcome.document["failures"] == []


def test_every_hook_is_specified_and_tested() -> None:
    tested = {name.removeprefix("test_hook_") for name in globals() if name.startswith("test_hook_")}
    assert tested == set(hook_names())
    for name in hook_names():
        spec = getattr(hookspecs, name)
        assert hasattr(spec, "acoustic_spec"), f"{name} is no hookspec"
        assert inspect.getdoc(spec)
        assert list(inspect.signature(spec).parameters) == [], "a hook offers objects and is given none"


def test_bundled_plugins_are_whole(registry: Any) -> None:
    bundled = [record for record in registry.records if record.module.startswith("acoustic_plugins")]
    assert [record.broken for record in bundled] == [None] * len(bundled)
    # Their conditions stand in the program's own table.
    assert {hook for record in bundled for hook in record.hooks} == set(hook_names()) - {"acoustic_conditions"}
    assert {record.distribution for record in bundled} == {"acoustic-crank"}


def test_offers_come_in_order_of_name(plugin: Make) -> None:
    late, early = tool("zebra", conditions=(), detect=list), tool("aardvark", conditions=(), detect=list)
    registry = load_plugins(extra=[("two", plugin("two", acoustic_detectors=[late, early]))])
    names = [part.item.name for part in registry.detectors]
    assert names == sorted(names)
    assert {"aardvark", "zebra"} <= set(names)


def test_listing_reads_metadata_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.metadata.EntryPoint, "load", raises(AssertionError("was imported")))
    names = [record.name for record in installed()]
    assert names == sorted(names)
    assert "defect-lines" in names


# Ways to be broken when loading.


class Entry:
    """An entry point of a distribution that is not there."""

    dist = None

    def __init__(self, name: str, load: Callable[[], Any]) -> None:
        self.name, self.value, self.load = name, f"{name}_module", load


@pytest.fixture
def with_entry(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Add an entry point to those installed: (name, load) -> None."""
    real = importlib.metadata.entry_points

    def add(name: str, load: Callable[[], Any]) -> None:
        def entry_points(**query: Any) -> Any:
            found = list(real(**query))
            return [Entry(name, load), *found] if query == {"group": GROUP} else found

        monkeypatch.setattr(importlib.metadata, "entry_points", entry_points)

    return add


def misspelt(plugin: Make) -> ModuleType:
    return plugin("misspelt", acoustic_detectors=[], acoustic_dectectors=[])


BROKEN: dict[str, tuple[Callable[[Make], ModuleType], str]] = {
    "newer API": (lambda plugin: plugin("m", api=(1, 99), acoustic_detectors=[]), "plugin API 1.99; this is 1.0"),
    "other API": (lambda plugin: plugin("m", api=(2, 0), acoustic_detectors=[]), "plugin API 2.0"),
    "no API": (lambda plugin: plugin("m", api=None, acoustic_detectors=[]), "does not say which plugin API"),
    "odd API": (lambda plugin: plugin("m", api="1.0", acoustic_detectors=[]), "does not say which plugin API"),
    "misspelt hook": (misspelt, "acoustic_dectectors"),
    "no hook": (lambda plugin: plugin("m"), "offers nothing"),
    "unknown argument": (
        lambda plugin: plugin("m", acoustic_detectors=lambda bicycle: []),
        "bicycle",
    ),
    "hook raises": (
        lambda plugin: plugin("m", acoustic_detectors=raises(RuntimeError("no licence found"))),
        "RuntimeError: no licence found",
    ),
    "hook gives None": (lambda plugin: plugin("m", acoustic_detectors=lambda: None), "None"),
    "no name": (
        lambda plugin: plugin("m", acoustic_detectors=[SimpleNamespace(summary="nameless")]),
        "has no name",
    ),
    "no summary": (lambda plugin: plugin("m", acoustic_readers=[SimpleNamespace(name="curt")]), "has no summary"),
}


@pytest.mark.parametrize("how", BROKEN)
def test_a_broken_plugin_is_set_aside(how: str, plugin: Make, registry: Any) -> None:
    """By name and with the reason; what the others offer stays, those after it included."""
    make, reason = BROKEN[how]
    after = plugin("after", **listening("squeal.band"))
    loaded = load_plugins(extra=[("grumpy", make(plugin)), ("listener", after)])
    (record,) = [record for record in loaded.records if record.broken is not None]
    assert record.name == "grumpy"
    assert reason in record.broken
    assert [(f.stage, f.plugin) for f in loaded.failures] == [("load", "grumpy")]
    assert "grumpy" not in loaded.versions
    assert len(loaded.detectors) == len(registry.detectors) + 1
    assert [part.item.name for part in loaded.readers] == [part.item.name for part in registry.readers]


def test_an_import_error_is_set_aside(with_entry: Any, registry: Any) -> None:
    with_entry("absent", raises(ModuleNotFoundError("No module named 'gearbox'")))
    loaded = load_plugins()
    assert [(f.plugin, f.error) for f in loaded.failures] == [
        ("absent", "ModuleNotFoundError: No module named 'gearbox'")
    ]
    assert len(loaded.detectors) == len(registry.detectors)


@pytest.mark.parametrize("end", [SystemExit, KeyboardInterrupt, GeneratorExit])
def test_a_plugin_that_ends_the_program_is_set_aside(end: type[BaseException], with_entry: Any) -> None:
    """Some modules call sys.exit() when something they need is missing."""
    with_entry("rude", raises(end("gearbox is needed")))
    told = [(failure.plugin, failure.error) for failure in load_plugins().failures]
    assert told == [("rude", f"{end.__name__}: gearbox is needed")]


def test_the_same_name_twice(plugin: Make, registry: Any) -> None:
    """The second is set aside, the first stays."""
    one, other = (plugin(name, **listening(f"squeal.{name}")) for name in ("one", "other"))
    loaded = load_plugins(extra=[("twin", one), ("twin", other)])
    assert [record.module for record in loaded.records if record.broken is not None] == ["other"]
    assert len(loaded.detectors) == len(registry.detectors) + 1


@pytest.mark.parametrize("how", ["newer API", "misspelt hook", "hook raises", "no name"])
def test_strict_raises(how: str, plugin: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ACOUSTIC_STRICT_PLUGINS", "1")
    with pytest.raises(Exception, match=BROKEN[how][1].rpartition("Error: ")[2]):
        load_plugins(extra=[("grumpy", BROKEN[how][0](plugin))])
    monkeypatch.setenv("ACOUSTIC_STRICT_PLUGINS", "0")
    assert load_plugins(extra=[("grumpy", BROKEN[how][0](plugin))]).failures


def test_check_with_a_broken_plugin_is_undecided(plugin: Make, check_with: Any) -> None:
    """Found all the same, but nobody can say what the broken one would have found."""
    extra = ("grumpy", BROKEN["hook raises"][0](plugin))
    outcome = check_with(extra)
    assert outcome.code == EXIT_PLUGIN_FAILED
    document = outcome.document
    assert document["grade"]["level"] == "undecided"
    assert failures(outcome) == [("load", "grumpy")]
    assert "outer_raceway" in {f["condition"] for f in document["findings"] if f["detected"]}
    assert any("outer ring" in reason for reason in document["grade"]["because"])
    (line,) = outcome.stderr.splitlines()
    assert "grumpy" in line and "no licence found" in line
    text = check_with(extra, json=False)
    assert text.code == EXIT_PLUGIN_FAILED
    assert text.stdout.startswith("UNDECIDED")
    assert "grumpy" in text.stdout


def test_a_sound_bearing_with_a_broken_plugin_is_not_clean(plugin: Make, check_with: Any) -> None:
    outcome = check_with(("grumpy", BROKEN["newer API"][0](plugin)), case="sound")
    assert outcome.code == EXIT_PLUGIN_FAILED
    assert outcome.document["grade"]["level"] == "undecided"


def test_the_reason_of_a_refusal_is_kept_whole(plugin: Make) -> None:
    error = PluginError("something is odd", hint="Mend it.")
    loaded = load_plugins(extra=[("odd", plugin("odd", acoustic_detectors=raises(error)))])
    assert loaded.failures[0].error == "PluginError: something is odd. Mend it."
