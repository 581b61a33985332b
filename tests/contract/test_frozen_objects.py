"""What travels down the chain is read-only: no plugin can change what another one sees."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import FrozenInstanceError, fields, is_dataclass
from typing import Any

import numpy as np
import pytest

from acoustic.model import Finding, Motion, Problem, Sound, Step


def arrays(value: Any, at: str) -> Iterator[tuple[str, Any]]:
    """Every array within nested dataclasses and tuples, by its path."""
    if isinstance(value, np.ndarray):
        yield at, value
    elif is_dataclass(value):
        for field in fields(value):
            yield from arrays(getattr(value, field.name), f"{at}.{field.name}")
    elif isinstance(value, tuple | list):
        for place, item in enumerate(value):
            yield from arrays(item, f"{at}[{place}]")


def objects(value: Any) -> Iterator[Any]:
    if is_dataclass(value):
        yield value
        for field in fields(value):
            yield from objects(getattr(value, field.name))
    elif isinstance(value, tuple | list):
        for item in value:
            yield from objects(item)


def test_no_array_can_be_written(analysis_of: Callable[[str], Any]) -> None:
    found = dict(arrays(analysis_of("outer"), "analysis"))
    assert "analysis.recording.samples" in found
    assert "analysis.features.bank.power" in found
    assert [at for at, array in found.items() if array.flags.writeable] == []


def test_views_can_t_be_written_either(analysis_of: Callable[[str], Any]) -> None:
    result = analysis_of("outer")
    for view in (result.recording.heard, result.features.bank.power[0], result.motion.turns[1:]):
        with pytest.raises(ValueError, match="read-only"):
            view[0] = 0.0


def test_no_field_can_be_set(analysis_of: Callable[[str], Any]) -> None:
    kinds = {type(value): value for value in objects(analysis_of("outer"))}
    assert {"Analysis", "Features", "Motion", "Finding", "Bearing"} <= {kind.__name__ for kind in kinds}
    for value in kinds.values():
        with pytest.raises(FrozenInstanceError):
            setattr(value, fields(value)[0].name, None)


def test_the_marks_of_a_motion_are_read_only_too() -> None:
    motion = Motion(
        np.array([0.0, 1.0]),
        np.array([0.0, 1.0]),
        "ticks",
        "hand",
        0.01,
        True,
        own_clicks_s=np.array([0.5]),
    )
    with pytest.raises(ValueError, match="read-only"):
        motion.own_clicks_s[0] = 0.0


def test_a_sound_can_be_filled_by_its_reader() -> None:
    """Only what the chain hands on is closed; a reader still owns what it builds."""
    sound = Sound(np.zeros((10, 1)), 48_000.0, "made up")
    sound.samples[3] = 1.0
    assert sound.samples.sum() == 1.0


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"condition": "whistle"}, "condition must be one of"),
        ({"false_alarm_probability": -0.1}, "from 0 to 1"),
        ({"false_alarm_probability": 1.1}, "from 0 to 1"),
        ({"false_alarm_probability": float("nan")}, "from 0 to 1"),
        ({"severity_db": float("inf")}, "finite number or None"),
        ({"severity_db": float("nan")}, "finite number or None"),
    ],
)
def test_an_impossible_finding_is_refused(changes: dict[str, Any], message: str) -> None:
    possible: dict[str, Any] = {
        "condition": "creak",
        "detected": False,
        "false_alarm_probability": 0.5,
        "severity_db": 0.0,
        "detail": "no creak",
    }
    Finding(**possible)
    with pytest.raises(ValueError, match=message):
        Finding(**{**possible, **changes})


def test_a_recording_remembers_without_changing(recording_of: Callable[..., Any]) -> None:
    recording = recording_of("sound")
    later = recording.then(Step("cut", "a test"))
    assert (recording.steps, [step.name for step in later.steps]) == ((), ["cut"])
    assert later.samples is recording.samples


def test_a_motion_keeps_a_copy() -> None:
    """The caller's own array stays writable, and what is written to it changes no motion, by a view neither."""
    times_s = np.array([0.0, 1.0, 2.0, 9.0])
    motion = Motion(times_s[:3], np.arange(3), "marks", "hand", 0.01, True)
    times_s[1] = 1.5
    assert motion.times_s.tolist() == [0.0, 1.0, 2.0]
    assert motion.turns.dtype == np.float64


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"voids": "everything"}, "voids must be"),
        ({"detail": None}, "detail must be a text"),
        ({"code": 7}, "code must be a text"),
    ],
)
def test_an_impossible_problem_is_refused(changes: dict[str, Any], message: str) -> None:
    with pytest.raises((TypeError, ValueError), match=message):
        Problem(**{"code": "loud", "detail": "too loud", "advice": "Go away.", **changes})
