"""What holds for every speed source: it comes when called, and its angle is the crank's at any gain."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest

from acoustic.bearings.search import resolve_bearing
from acoustic.errors import InputError
from acoustic.model import Recording, SpeedRequest, Spin
from acoustic.plugin.registry import LoadedPlugin, load_plugins

SOURCES = load_plugins().speed_sources
# How each is asked for, and a case it can serve. A new source needs a line here.
ASKED: dict[str, tuple[str, Callable[[Any], SpeedRequest]]] = {
    "stated-speed": ("steady", lambda made: SpeedRequest(speed_rpm=75.0)),
    "marks-file": ("sound", lambda made: SpeedRequest(marks=made.marks)),
    "gyro-file": ("sound", lambda made: SpeedRequest(gyro=made.gyro)),
    "counted-turns": (
        "outer",
        lambda made: SpeedRequest(counted_turns=11.5, bearing=resolve_bearing(name="6805")),
    ),
    "sound-alone": ("inner", lambda made: SpeedRequest(bearing=resolve_bearing(name="6805"))),
    "film": ("sound", lambda made: SpeedRequest(film=True)),
    "heard-ticks": ("ticking", lambda made: SpeedRequest(ticks=True)),
    "mark-channel": ("marked", lambda made: SpeedRequest(mark_channel=2)),
}


def made_for(name: str, taken: Any, recording_of: Any, gain: float = 1.0) -> tuple[Any, Recording]:
    """The case on disk, as a film where one is needed, and its recording."""
    case = ASKED[name][0]
    made = taken(case, ".mp4" if name == "film" else ".wav")
    return made, replace(recording_of(case, gain=gain), path=made.path)


every_source = pytest.mark.parametrize("part", SOURCES, ids=lambda part: part.item.name)


def test_every_source_is_listed_here() -> None:
    assert {part.item.name for part in SOURCES} == set(ASKED)


@every_source
def test_it_comes_when_called_and_only_then(part: LoadedPlugin[Any], taken: Any) -> None:
    for name, (case, request) in ASKED.items():
        # The sound is always there: it serves unasked and is never asked for.
        said = request(taken(case))
        asked = any(said.value(option.key) is not None for option in part.item.options)
        assert asked is (name == part.item.name != "sound-alone")


@every_source
@pytest.mark.parametrize("gain", [1.0, 10.0, 0.1], ids=["as recorded", "+20 dB", "-20 dB"])
def test_its_angle_is_the_crank_s(gain: float, part: LoadedPlugin[Any], taken: Any, recording_of: Any) -> None:
    """Turns between its own start and stop against the simulator's, within what it admits and no more."""
    made, recording = made_for(part.item.name, taken, recording_of, gain)
    motion = part.item.estimate(recording, ASKED[part.item.name][1](made))
    assert motion.times_s.shape == motion.turns.shape
    assert np.all(np.diff(motion.times_s) > 0) and np.all(np.diff(motion.turns) > 0)
    assert 0 <= motion.start_s < motion.stop_s <= 12.0
    assert motion.source == part.item.code and motion.spin in get_args(Spin)
    assert 0 < motion.relative_uncertainty < 0.1
    true_turns = np.diff(np.interp([motion.start_s, motion.stop_s], made.spin.times_s, made.spin.turns))[0]
    assert abs(motion.total_turns - true_turns) <= motion.relative_uncertainty * true_turns
    for start_s, stop_s in motion.still:
        assert 0 <= start_s < stop_s <= 12.0
        assert stop_s <= motion.start_s or start_s >= motion.stop_s


@every_source
@pytest.mark.parametrize("noise", [np.zeros(48_000), 0.01 * np.random.default_rng(3).standard_normal(4800)])
def test_what_it_can_t_use_it_refuses(noise: Any, part: LoadedPlugin[Any], taken: Any, tmp_path: Path) -> None:
    """A silent second and a tenth of one: an angle or a refusal, no error of its own."""
    made = taken(ASKED[part.item.name][0], ".mp4" if part.item.name == "film" else ".wav")
    # A film's picture does not depend on the sound, but none of it may last longer.
    path = made.path if part.item.name == "film" else tmp_path / "x.wav"
    channels = 2 if part.item.name == "mark-channel" else 1
    recording = Recording(path, "", np.tile(noise[:, np.newaxis], channels), 48_000.0, "in memory")
    try:
        motion = part.item.estimate(recording, ASKED[part.item.name][1](made))
    except InputError as refusal:
        assert refusal.found and refusal.hint
    else:
        assert 0 <= motion.start_s < motion.stop_s <= recording.duration_s + 0.01
