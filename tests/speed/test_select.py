"""Which source decides, and what is said of the others."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from acoustic.errors import InputError, MotionError
from acoustic.model import Motion, Recording, SpeedRequest
from acoustic.plugin.registry import LoadedPlugin, PluginRecord
from acoustic.speed.select import find_motion

RECORDING = Recording(Path("x.wav"), "", np.zeros((480_000, 1)), 48_000.0, "in memory")


def turning(turns: float, source: Any = "marks", **changes: Any) -> Motion:
    times_s = np.linspace(1.0, 9.0, 81)
    said: dict[str, Any] = {"relative_uncertainty": 0.01, "scale_known": True, **changes}
    return Motion(times_s, turns * (times_s - 1) / 8, source, "hand", **said)


ASKED = (SimpleNamespace(key="asked"),)
LABELS = {"marks": "the marks given", "ticks": "the ticks heard"}


def source(rank: int, answer: Motion | Exception, *, asked: bool = False, present: bool = False) -> Any:
    code = answer.source if isinstance(answer, Motion) else "marks"

    def estimate(recording: Recording, request: SpeedRequest) -> Motion:
        if isinstance(answer, Exception):
            raise answer
        return answer

    offered = SimpleNamespace(
        name=f"source-{rank}",
        summary="",
        rank=rank,
        code=code,
        label=LABELS.get(code, code),
        options=ASKED if asked else (),
        present=lambda recording: present,
        estimate=estimate,
    )
    return LoadedPlugin(offered, PluginRecord(f"source-{rank}", "module", "distribution", "1"))


def found(*sources: Any) -> Any:
    return find_motion(RECORDING, SpeedRequest(asked=True), sources, [])


def test_the_best_of_those_asked_for_decides() -> None:
    motion, problems = found(
        source(40, turning(9.0, "ticks"), asked=True),
        source(20, turning(9.0), asked=True),
        source(10, turning(9.0, "film"), present=True),
    )
    assert motion.source == "marks"
    assert problems == []


def test_two_that_disagree_are_told_and_not_averaged() -> None:
    motion, (problem,) = found(
        source(20, turning(9.0), asked=True), source(40, turning(10.0, "ticks"), asked=True)
    )
    assert motion.total_turns == 9.0
    assert (problem.code, problem.voids) == ("sources_disagree", "clean")
    assert "9.0 turns by the marks given, 10.0 by the ticks heard" in problem.detail


def test_what_a_source_admits_is_no_disagreement() -> None:
    rough = turning(9.6, "turns", relative_uncertainty=0.08)
    assert found(source(20, turning(9.0), asked=True), source(50, rough, asked=True))[1] == []


def test_an_open_scale_contradicts_nobody() -> None:
    open_scale = turning(12.0, "sound", scale_known=False, relative_uncertainty=0.3)
    assert found(source(20, turning(9.0), asked=True), source(90, open_scale, asked=True))[1] == []


def test_unasked_the_best_one_present_decides() -> None:
    tried = (
        source(10, MotionError("no arm", hint="Tape it."), present=True),
        source(90, turning(9.0), present=True),
    )
    assert found(*tried)[0].total_turns == 9.0


def test_one_asked_for_that_finds_nothing_is_told() -> None:
    motion, (problem,) = found(
        source(20, MotionError("no ticks", hint="Louder."), asked=True),
        source(50, turning(9.0, "turns"), asked=True),
    )
    assert motion.source == "turns"
    assert (problem.code, problem.detail, problem.advice) == ("source_not_found", "no ticks", "Louder.")


@pytest.mark.parametrize("error", [InputError("wrong file", hint="h"), MotionError("no motion", hint="h")])
def test_what_nobody_can_find_is_refused(error: InputError) -> None:
    with pytest.raises(type(error), match=error.found):
        found(source(20, error, asked=True))


def test_wrong_input_is_refused_though_another_source_would_do() -> None:
    with pytest.raises(InputError, match="wrong file"):
        found(source(20, turning(9.0), asked=True), source(30, InputError("wrong file", hint="h"), asked=True))


def test_the_command_tells_what_contradicts(taken: Any, acoustic: Callable[..., Any]) -> None:
    """The marks of the recording beside a count that is three turns off."""
    made = taken("outer")
    call = ("check", made.path, "--bearing", "6805", "--marks", made.marks, "--turns", "8", "--json")
    document = acoustic(*call).document
    assert document["motion"]["source"] == "marks"
    assert "sources_disagree" in {problem["code"] for problem in document["quality"]["problems"]}


def test_without_any_option_the_sound_serves(taken: Any, acoustic: Callable[..., Any]) -> None:
    """Damage is called; the scale is not claimed, and a healthy bearing is not called clean."""
    damaged = acoustic("check", taken("outer").path, "--bearing", "6805", "--json").document
    assert (damaged["motion"]["source"], damaged["motion"]["scale_known"]) == ("sound", False)
    assert {f["condition"] for f in damaged["findings"] if f["detected"]} == {"raceway"}
    # By ear alone a wheel or a chain may be what strikes.
    assert damaged["grade"]["level"] == "service"
    sound = acoustic("check", taken("sound").path, "--bearing", "6805", "--json").document
    assert sound["grade"]["level"] == "undecided"


def test_counted_turns_name_the_ring(taken: Any, acoustic: Callable[..., Any]) -> None:
    made = taken("outer")
    call = ("check", made.path, "--bearing", "6805", "--balls", "16", "--turns", "11", "--json")
    document = acoustic(*call).document
    assert document["motion"]["source"] == "turns"
    assert "outer_raceway" in {f["condition"] for f in document["findings"] if f["detected"]}
