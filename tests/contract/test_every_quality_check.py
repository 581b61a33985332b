"""What holds for every quality check: complete problems, none for a good recording, deaf to the gain."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args, get_type_hints

import numpy as np
import pytest

from acoustic.model import Problem, Recording
from acoustic.plugin.registry import LoadedPlugin, load_plugins

CHECKS = load_plugins().quality_checks
RATE_HZ = 48_000
VOIDS = get_args(get_type_hints(Problem)["voids"])
NOISE = 0.02 * np.random.default_rng(4).standard_normal((2 * RATE_HZ, 1))
# Odd recordings that must lead to problems or none, never to an error.
ODD = {
    "one sample": NOISE[:1],
    "a few samples": NOISE[:20],
    "NaN": np.full((RATE_HZ, 1), np.nan),
    "one infinity": np.where(np.arange(RATE_HZ)[:, np.newaxis] == 9, np.inf, NOISE[:RATE_HZ]),
    "zeros": np.zeros((RATE_HZ, 2)),
    "a constant": np.full((RATE_HZ, 1), -0.5),
    "a square wave": np.sign(np.sin(np.arange(RATE_HZ) / 20.0))[:, np.newaxis],
    "noise": NOISE,
    "far over full scale": 1e6 * NOISE,
}

every_check = pytest.mark.parametrize("part", CHECKS, ids=lambda part: part.item.name)


def complete(problem: Any) -> bool:
    assert isinstance(problem, Problem)
    assert problem.code.isidentifier() and problem.code == problem.code.lower()
    assert problem.detail and problem.advice
    assert problem.voids in VOIDS
    return True


@every_check
@pytest.mark.parametrize("samples", ODD.values(), ids=ODD)
@pytest.mark.parametrize("rate_hz", [8000.0, 48_000.0, 192_000.0])
def test_odd_recordings_are_problems_not_errors(samples: Any, rate_hz: float, part: LoadedPlugin[Any]) -> None:
    recording = Recording(Path("odd.wav"), "", samples.copy(), rate_hz, "in memory")
    assert all(complete(problem) for problem in part.item.check(recording, None))


@every_check
@pytest.mark.parametrize("case", ["sound", "outer", "rumble", "grit"])
def test_a_good_recording_has_no_problem(
    case: str, part: LoadedPlugin[Any], recording_of: Callable[..., Any], features_of: Callable[..., Any]
) -> None:
    features = features_of(case)
    assert list(part.item.check(recording_of(case), None)) == []
    assert list(part.item.check(features.recording, features)) == []


@every_check
@pytest.mark.parametrize("gain", [10.0, 0.1], ids=["+20 dB", "-20 dB"])
@pytest.mark.parametrize("case", ["sound", "far_away", "short"])
def test_loudness_does_not_matter(
    case: str, gain: float, part: LoadedPlugin[Any], features_of: Callable[..., Any]
) -> None:
    as_recorded, turned = features_of(case), features_of(case, gain=gain)
    for heard in (False, True):
        before = part.item.check(as_recorded.recording, as_recorded if heard else None)
        after = part.item.check(turned.recording, turned if heard else None)
        assert [(p.code, p.voids) for p in after] == [(p.code, p.voids) for p in before]
    assert all(complete(problem) for problem in part.item.check(turned.recording, turned))
