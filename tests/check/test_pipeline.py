"""The chain: what each step hands on, and that a plugin that fails at work never reads as a healthy bearing."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from acoustic.bearings.search import resolve_bearing
from acoustic.check import pipeline
from acoustic.check.grade import grade
from acoustic.conditions import table
from acoustic.errors import InputError
from acoustic.model import Evidence, Finding, Problem, SpeedRequest

Run = Callable[..., Any]
RATE_HZ = 48_000

NEEDED_FOR_CLEAN = table().having("needed_for_clean")


def finding(condition: str = "creak", *, detected: bool = False, balls: int | None = None) -> Finding:
    return Finding(
        condition=condition,
        detected=detected,
        false_alarm_probability=0.5,
        severity_db=None,
        detail=f"about {condition}",
        evidence=Evidence(balls=balls),
    )


# What each step hands on.


def test_the_recording_remembers_what_was_done(taken: Any, analysis_of: Any) -> None:
    recording = analysis_of("sound").recording
    assert recording.sha256 == hashlib.sha256(taken("sound").path.read_bytes()).hexdigest()
    assert [step.name for step in recording.steps] == ["read", "band bank"]
    assert all(step.by for step in recording.steps)


@pytest.mark.parametrize("loud", [0, 1, 2])
def test_the_loudest_channel_is_judged(loud: int, tmp_path: Path, registry: Any) -> None:
    noise = np.random.default_rng(3).standard_normal((RATE_HZ, 3)) * 0.001
    noise[:, loud] *= 10
    soundfile.write(tmp_path / "three.wav", noise, RATE_HZ)
    recording = pipeline.choose_channel(pipeline.read_recording(tmp_path / "three.wav", registry.readers, []))
    assert recording.channel == loud
    assert recording.samples.shape == (RATE_HZ, 3), "the other channels stay"
    assert recording.steps[-1].params == {"channel": loud + 1}


def test_the_judged_channel_decides(tmp_path: Path, taken: Any, acoustic: Run) -> None:
    """Beside a nearly silent left channel the verdict is that of the right one alone."""
    made = taken("outer")
    left = 1e-4 * np.random.default_rng(3).standard_normal(made.spin.samples.size)
    soundfile.write(tmp_path / "stereo.wav", np.column_stack([left, made.spin.samples]), RATE_HZ)
    call = ("--bearing", "6805", "--marks", made.marks, "--json")
    alone = acoustic("check", made.path, *call).document
    both = acoustic("check", tmp_path / "stereo.wav", *call).document
    assert (both["recording"]["channels"], both["recording"]["judged_channel"]) == (2, 2)
    assert both["findings"] == alone["findings"]
    assert both["grade"] == alone["grade"]


def test_the_steps_are_told(taken: Any, registry: Any) -> None:
    told: list[str] = []
    made = taken("sound")
    pipeline.check_recording(
        made.path,
        bearing=resolve_bearing(name="6805"),
        request=SpeedRequest(marks=made.marks),
        registry=registry,
        progress=told.append,
    )
    steps = ["reading", "finding the crank's speed", "listening", "judging", "trying what it would have shown"]
    assert told == steps


def test_what_voids_any_verdict_stops_the_chain(tmp_path: Path, registry: Any) -> None:
    """A silent file is not searched for the speed it can't have, even if none was given."""
    soundfile.write(tmp_path / "silent.wav", np.zeros(RATE_HZ), RATE_HZ)
    result = pipeline.check_recording(
        tmp_path / "silent.wav",
        bearing=resolve_bearing(name="6805"),
        request=SpeedRequest(),
        registry=registry,
    )
    assert (result.motion, result.features, result.findings) == (None, None, ())
    assert not result.quality.usable


@pytest.mark.parametrize(
    ("voids", "any_detected", "usable"),
    [
        ("nothing", False, True),
        ("nothing", True, True),
        ("clean", False, False),
        ("clean", True, True),
        ("any", False, False),
        ("any", True, False),
    ],
)
def test_a_problem_voids_what_it_says(voids: Any, any_detected: bool, usable: bool) -> None:
    problem = Problem("odd", "it is odd", "Mend it.", voids=voids)
    judged = [finding(condition=condition) for condition in NEEDED_FOR_CLEAN[1:]]
    quality = pipeline.settle_quality(
        [problem], [finding(condition=NEEDED_FOR_CLEAN[0], detected=any_detected), *judged]
    )
    assert quality.usable is usable
    assert quality.problems == (problem,)


def test_the_spin_said_by_the_user_goes_first(taken: Any, registry: Any) -> None:
    made = taken("sound")
    result = pipeline.check_recording(
        made.path,
        bearing=resolve_bearing(name="6805"),
        request=SpeedRequest(marks=made.marks, spin="pedal"),
        registry=registry,
    )
    assert result.motion is not None
    assert result.motion.spin == "pedal"
    assert result.features is not None
    assert result.features.motion.spin == "pedal", "detectors see the same"


def test_without_a_speed_the_message_says_how_to_give_one(recording_of: Any, registry: Any) -> None:
    asked_for = [part for part in registry.speed_sources if part.item.name in ("marks-file", "stated-speed")]
    with pytest.raises(InputError) as caught:
        pipeline.find_motion(recording_of(), SpeedRequest(), asked_for, [])
    for option in ("--marks", "--ticks", "--turns", "--film", "--speed"):
        assert option in caught.value.hint


def test_a_file_that_vanishes_is_a_refusal(tmp_path: Path, registry: Any) -> None:
    with pytest.raises(InputError, match="there is no file"):
        pipeline.read_recording(tmp_path / "gone.wav", registry.readers, [])


def test_clean_needs_every_condition_judged() -> None:
    """Neither a detector that is not installed nor one that could not judge may read as health."""
    judged = [finding(condition=condition) for condition in NEEDED_FOR_CLEAN]
    assert pipeline.settle_quality([], judged).usable
    for missing in range(len(judged)):
        rest = [f for k, f in enumerate(judged) if k != missing]
        quality = pipeline.settle_quality([], rest)
        assert not quality.usable
        assert grade(rest, quality, [], conditions=table().conditions).level == "undecided"
        open_one = [replace(f, judged=False) if k == missing else f for k, f in enumerate(judged)]
        assert not pipeline.settle_quality([], open_one).usable


def test_a_coast_under_a_stated_speed_is_found_out(taken: Any, registry: Any) -> None:
    result = pipeline.check_recording(
        taken("outer").path,
        bearing=resolve_bearing(name="6805"),
        request=SpeedRequest(speed_rpm=70.0),
        registry=registry,
    )
    assert result.verdict.level == "undecided"
    assert {"not_steady", "unknown_beat"} & {problem.code for problem in result.quality.problems}


@pytest.mark.parametrize("named", ["6806", "6807", "6805-AC"])
def test_a_wrong_designation_is_not_clean(named: str, taken: Any, registry: Any) -> None:
    """Loud strikes of a 6805's outer ring, judged as another bearing's."""
    made = taken("outer")
    result = pipeline.check_recording(
        made.path, bearing=resolve_bearing(name=named), request=SpeedRequest(marks=made.marks), registry=registry
    )
    assert result.verdict.level == "undecided"
    assert "unknown_beat" in {problem.code for problem in result.quality.problems}


@pytest.mark.parametrize("source", ["sound", "turns"])
@pytest.mark.parametrize("still", [(), ((0.0, 1.0),)])
def test_what_no_crank_need_have_made_is_left_open(source: Any, still: Any, features_of: Any) -> None:
    """By the level alone a saw and a voice turn as a crank does; crackling that stops with it is its own."""
    motion = replace(features_of("sound").motion, source=source, still=still, impact_train=None)
    found = [finding(name, detected=True) for name in ("rumble", "contamination", "tight", "creak", "ball")]
    kept = {one.condition for one in pipeline.confirmed_by_motion(found, motion) if one.judged}
    assert kept == {"ball", "contamination"} if still else kept == {"ball"}
    left = next(one for one in pipeline.confirmed_by_motion(found, motion) if one.condition == "rumble")
    assert not left.detected and "nothing shows that a crank makes it" in left.detail


def test_with_the_angle_known_all_is_borne_out(features_of: Any) -> None:
    found = (finding("rumble", detected=True), finding("ball"))
    assert pipeline.confirmed_by_motion(found, replace(features_of("sound").motion, still=())) == found
    quiet = (finding("rumble"), finding("contamination"))
    by_ear = replace(features_of("sound").motion, source="turns", impact_train=None)
    assert pipeline.confirmed_by_motion(quiet, by_ear) == quiet, "what is not heard needs no crank"
