"""Plugins that fail at work: named, and never read as a healthy bearing."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.speed.options import MARKS, TICKS

from acoustic.check import pipeline
from acoustic.conditions import Condition, Rule
from acoustic.errors import EXIT_PLUGIN_FAILED, PluginError
from acoustic.model import Evidence, Finding, Motion, Sound, SpeedRequest
from acoustic.plugin.entry import PluginRecord
from acoustic.plugin.registry import LoadedPlugin

Run = Callable[..., Any]
Make = Callable[..., ModuleType]


def tool(name: str, **methods: Any) -> SimpleNamespace:
    """An object as a plugin offers it."""
    return SimpleNamespace(name=name, summary=f"made for a test of {name}", **methods)


def raises(error: BaseException) -> Callable[..., Any]:
    def call(*arguments: Any, **options: Any) -> Any:
        raise error

    return call


def finding(condition: str = "creak", *, detected: bool = False, balls: int | None = None) -> Finding:
    return Finding(
        condition=condition,
        detected=detected,
        false_alarm_probability=0.5,
        severity_db=None,
        detail=f"about {condition}",
        evidence=Evidence(balls=balls),
    )


def failures(outcome: Any) -> list[tuple[str, str]]:
    return [(failure["stage"], failure["plugin"]) for failure in outcome.document["failures"]]


def detected(outcome: Any) -> set[str]:
    return {found["condition"] for found in outcome.document["findings"] if found["detected"]}


OWN = ("squeal.band", "squeal.tone")


def detector(detect: Callable[..., Any], conditions: Any = OWN[:1]) -> SimpleNamespace:
    return tool("listener", conditions=conditions, detect=detect)


def listening(plugin: Make, offered: Any) -> tuple[str, ModuleType]:
    """A plugin with conditions of its own, and a detector that may judge them."""
    rules = (Rule(level="service", because="a band squeals", advice="Grease it."),)
    own = [Condition(code=code, name="squeal", rules=rules) for code in OWN]
    return "listener", plugin("listener", acoustic_conditions=own, acoustic_detectors=[offered])


def squeal(**changes: Any) -> Finding:
    return replace(finding(OWN[0]), **changes)


@pytest.mark.parametrize(
    ("offered", "said"),
    [
        (detector(raises(KeyError("gear"))), "KeyError"),
        (detector(lambda features: []), "no finding for squeal.band"),
        (detector(lambda features: [squeal()], OWN), "no finding for squeal.tone"),
        (detector(lambda features: None), "None"),
        (detector(lambda features: [SimpleNamespace(condition=OWN[0])]), ""),
        (detector(lambda features: [squeal(severity_db=float("nan"))]), "severity_db"),
        (detector(lambda features: [finding("whistle")]), "whistle"),
        (detector(lambda features: [squeal(), finding("outer_raceway", detected=True)]), "and no more"),
        (detector(lambda features: [squeal(severity_db=1 + 2j)]), "real number"),
        (detector(lambda features: [squeal(detected="yes")]), "True or False"),
        (detector(raises(SystemExit(0))), "SystemExit"),
        (detector(raises(KeyboardInterrupt())), "KeyboardInterrupt"),
        (detector(raises(GeneratorExit())), "GeneratorExit"),
    ],
    ids=[
        "raises",
        "empty",
        "half",
        "None",
        "no-Finding",
        "NaN",
        "unknown",
        "more",
        "complex",
        "text",
        "exits",
        "interrupts",
        "leaves",
    ],
)
def test_a_detector_that_fails(offered: Any, said: str, plugin: Make, check_with: Any) -> None:
    outcome = check_with(listening(plugin, offered))
    assert outcome.code == EXIT_PLUGIN_FAILED, outcome.stderr
    assert failures(outcome) == [("detect", "listener")]
    assert said in outcome.document["failures"][0]["error"]
    assert outcome.document["grade"]["level"] == "undecided"
    assert "outer_raceway" in detected(outcome)
    said_of_it = [line for line in outcome.stderr.splitlines() if not line.startswith("… ")]
    assert said_of_it and all("listener" in line for line in said_of_it)


def test_a_failure_is_told_once(plugin: Make, check_with: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal, where progress is shown at once, as well."""
    monkeypatch.setattr("acoustic.cli.progress.PATIENCE_S", -1.0)
    outcome = check_with(listening(plugin, detector(raises(KeyError("gear")))))
    assert outcome.stderr.count("listener") == 1


def test_what_a_detector_prints_stays_out_of_the_document(plugin: Make, check_with: Any) -> None:
    """And numpy's numbers and truths are taken for what they are."""

    def detect(features: Any) -> list[Finding]:
        print("listening hard")
        return [
            squeal(
                detected=np.bool_(True),
                false_alarm_probability=np.float32(0.001),
                severity_db=np.float64(3.0),
                evidence=Evidence(order=np.float32(2.5), harmonics=np.int64(3), band_hz=(np.int32(500), 1000)),
            )
        ]

    outcome = check_with(listening(plugin, detector(detect)))
    assert outcome.code == 0, outcome.stderr
    assert "listening hard" in outcome.stderr
    (found,) = [f for f in outcome.document["findings"] if f["condition"] == OWN[0]]
    assert (found["detected"], found["severity_db"]) == (True, 3.0)
    assert (found["evidence"]["order"], found["evidence"]["harmonics"]) == (2.5, 3)
    assert found["evidence"]["band_hz"] == [500.0, 1000.0]


def test_one_that_takes_long_is_named_while_it_is_waited_for(
    plugin: Make, check_with: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """2 s in earnest."""
    monkeypatch.setattr("acoustic.plugin.run.PATIENCE_S", 0.1)
    monkeypatch.setattr("acoustic.cli.progress.PATIENCE_S", 0.1)

    def detect(features: Any) -> list[Finding]:
        time.sleep(0.5)
        return [squeal()]

    outcome = check_with(listening(plugin, detector(detect)))
    assert outcome.code == 0
    assert "waiting for plugin listener" in outcome.stderr


@pytest.mark.parametrize(
    "look",
    [
        raises(ValueError("no eyes")),
        lambda recording, features: None,
        lambda recording, features: ["loud"],
        lambda recording, features: (int(word) for word in ["loud"]),
    ],
    ids=["raises", "None", "no Problem", "raises late"],
)
def test_a_quality_check_that_fails(look: Any, plugin: Make, check_with: Any) -> None:
    extra = plugin("looker", acoustic_quality_checks=[tool("looker", check=look)])
    outcome = check_with(("looker", extra))
    assert outcome.code == EXIT_PLUGIN_FAILED, outcome.stderr
    assert set(failures(outcome)) == {("quality", "looker")}
    assert outcome.document["grade"]["level"] == "undecided"


def reader(read: Callable[..., Any], claims: Callable[..., Any] = lambda head: True) -> SimpleNamespace:
    """Its name comes first, so it is asked before the bundled readers."""
    return tool("a-reader", claims=claims, read=read)


@pytest.mark.parametrize(
    "offered",
    [
        reader(raises(ValueError("no wheels"))),
        reader(raises(ValueError("not reached")), claims=raises(ValueError("no wheels"))),
        reader(lambda path: None),
        reader(lambda path: Sound(np.zeros(100), 48_000.0, "flat")),
        reader(lambda path: Sound(np.zeros((100, 1), dtype=complex), 48_000.0, "complex")),  # type: ignore[arg-type]
        reader(lambda path: Sound(np.zeros((100, 1)), float("inf"), "endless")),
        reader(raises(ValueError("not reached")), claims=lambda head: np.array([True, False])),
    ],
    ids=["read", "claims", "None", "one dimension", "complex", "endless", "two truths"],
)
def test_a_reader_that_crashes(offered: Any, plugin: Make, check_with: Any) -> None:
    """The next reader serves; the failure is listed all the same."""
    outcome = check_with(("a-reader", plugin("reader", acoustic_readers=[offered])))
    assert failures(outcome) == [("read", "a-reader")]
    assert outcome.code == EXIT_PLUGIN_FAILED
    assert outcome.document["recording"]["format"].startswith("WAV")
    assert "outer_raceway" in detected(outcome)


def test_no_other_reader_can_serve(plugin: Make, check_with: Any, acoustic: Run, tmp_path: Path) -> None:
    check_with(("a-reader", plugin("reader", acoustic_readers=[reader(raises(ValueError("no wheels")))])))
    path = tmp_path / "notes.txt"
    path.write_text("only that reader claims this", encoding="utf-8")
    outcome = acoustic("check", path, "--bearing", "6805", "--speed", "75", "--json")
    assert (outcome.code, outcome.stdout) == (EXIT_PLUGIN_FAILED, "")
    assert "notes.txt could not be read: plugin a-reader failed (ValueError: no wheels)" in outcome.stderr
    assert "acoustic plugins --check" in outcome.stderr


# A source of somebody else's that --marks asks for too.
BY_MARKS: dict[str, Any] = {"code": "a.speed", "label": "a speed", "rank": 0, "options": MARKS}


@pytest.mark.parametrize(
    "source",
    [
        tool(
            "a-speed",
            **BY_MARKS,
            present=lambda recording: True,
            estimate=raises(ValueError("no chain")),
        ),
        tool(
            "a-speed",
            **BY_MARKS,
            present=lambda recording: True,
            estimate=lambda recording, request: None,
        ),
    ],
    ids=["estimate", "None"],
)
def test_a_speed_source_that_crashes(source: Any, plugin: Make, check_with: Any) -> None:
    """The bundled source that was wanted too takes its place."""
    outcome = check_with(("a-speed", plugin("speed", acoustic_speed_sources=[source])))
    assert outcome.code == EXIT_PLUGIN_FAILED, outcome.stderr
    assert failures(outcome) == [("speed", "a-speed")]
    assert outcome.document["motion"]["source"] == "marks"


def test_no_other_speed_source_can_serve(plugin: Make, check_with: Any, acoustic: Run, taken: Any) -> None:
    """Both are asked for by --ticks; the bundled one finds none in this recording."""
    source = tool(
        "a-speed",
        **{**BY_MARKS, "options": TICKS},
        present=lambda recording: True,
        estimate=raises(ValueError("no chain")),
    )
    check_with(("a-speed", plugin("speed", acoustic_speed_sources=[source])))
    outcome = acoustic("check", taken("outer").path, "--bearing", "6805", "--ticks", "--json")
    assert (outcome.code, outcome.stdout) == (EXIT_PLUGIN_FAILED, "")
    assert "plugin a-speed failed (ValueError: no chain)" in outcome.stderr


TIMES_S = np.array([0.5, 6.5])
TURNS = np.array([0.0, 6.0])


@pytest.mark.parametrize(
    ("motion", "said"),
    [
        (lambda: None, "a Motion is needed"),
        (lambda: Motion(TIMES_S, TURNS, "gyro", "hand", 0.01, True), "whose source is 'a.speed'"),
        (lambda: Motion(TIMES_S + 5, TURNS, "a.speed", "hand", 0.01, True), "within the recording"),
        (lambda: Motion(TIMES_S, TURNS[:1], "a.speed", "hand", 0.01, True), "as many times as turns"),
        (lambda: Motion(TIMES_S, -TURNS, "a.speed", "hand", 0.01, True), "increase strictly"),
        (lambda: Motion(TIMES_S, TURNS * 1j, "a.speed", "hand", 0.01, True), "complex"),
        (lambda: Motion(TIMES_S, TURNS, "a.speed", "coasting", 0.01, True), "spin must be one of"),
        (lambda: Motion(TIMES_S, TURNS, "a.speed", "hand", float("nan"), True), "uncertainty"),
    ],
)
def test_motions_that_are_none(motion: Callable[[], Any], said: str, recording_of: Any) -> None:
    record = PluginRecord("a-speed", "module", "distribution", "1")
    part = LoadedPlugin(
        tool("a-speed", **BY_MARKS, present=bool, estimate=lambda recording, request: motion()), record
    )
    failed: list[Any] = []
    recording = recording_of("sound", duration_s=7.0, turns=6.5)
    with pytest.raises(PluginError, match="a-speed failed"):
        pipeline.find_motion(recording, SpeedRequest(marks=Path("x.csv")), [part], failed)
    assert said in failed[0].error
