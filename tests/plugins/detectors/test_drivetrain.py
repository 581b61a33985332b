"""Drivetrain and bearing in one sound: what the teeth strike is named, and never put down to the bearing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from acoustic_plugins.detectors.contamination import Contamination
from acoustic_plugins.detectors.defect_lines import DefectLines
from acoustic_plugins.detectors.drivetrain import DrivetrainLines
from acoustic_plugins.detectors.rumble import Rumble
from acoustic_plugins.quality.recording_quality import RecordingQuality

from acoustic.api import Finding
from acoustic.check.features import extract_features
from acoustic.dsp.geometry import BearingGeometry
from acoustic.model import Drivetrain

HearingOf = Callable[..., Any]
TEETH = Drivetrain(chainring=50, sprocket=17, jockey=11)


def found_in(features: Any) -> list[str]:
    judges = (DefectLines(), Contamination(), Rumble(), DrivetrainLines())
    return [finding.condition for judge in judges for finding in judge.detect(features) if finding.detected]


def drivetrain(features: Any) -> Finding:
    (finding,) = DrivetrainLines().detect(features)
    return finding


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("case", "order"), [("chain", 50.0), ("jockey", 50 / 11)])
def test_teeth_are_not_the_bearing(case: str, order: float, seed: int, features_of: HearingOf) -> None:
    """As strong as a defect. The angle between marks is known to a few thousandths, and no tooth slips."""
    features = features_of(case, seed=seed, drivetrain=TEETH)
    assert found_in(features) == ["drivetrain"]
    evidence = drivetrain(features).evidence
    assert evidence.expected_order == pytest.approx(order, rel=1e-12)
    assert evidence.order == pytest.approx(order, rel=0.003)
    assert evidence.balls is None


def test_both_at_once(features_of: HearingOf) -> None:
    features = features_of("pedalled", defects=(("chain", 5.0), ("jockey", 5.0)), drivetrain=TEETH)
    assert found_in(features) == ["drivetrain"]
    certain = {part.part for part in features.drivetrain.parts if part.chance < 1e-6}
    # The jockey wheel's eleventh harmonic is the chain's mesh, 11 x 50 / 11, so that one of them may own both.
    assert certain and certain <= {"chain", "jockey"}


def test_a_jockey_wheel_at_the_pace_of_a_part(features_of: HearingOf) -> None:
    """By hand: 45 and 10 teeth make 4.5; the second harmonic is 9.0, in reach of the inner ring's 8.903."""
    plan: dict[str, Any] = {"chainring": 45, "jockey": 10}
    features = features_of("jockey", drivetrain=Drivetrain(**plan), **plan)
    assert found_in(features) == ["drivetrain"]


@pytest.mark.parametrize("case", ["chain", "jockey"])
@pytest.mark.parametrize("part", ["outer_raceway", "inner_raceway"])
def test_damage_beside_them_is_found(part: str, case: str, features_of: HearingOf) -> None:
    both = ((part, 5.0), (case, 5.0))
    found = found_in(features_of("pedalled", defects=both, load_zone=0.8, waviness=0.0, drivetrain=TEETH))
    assert found == [part, "drivetrain"]


def test_a_sound_bearing_with_a_silent_chain(features_of: HearingOf) -> None:
    features = features_of("pedalled", drivetrain=TEETH)
    assert found_in(features) == []
    assert drivetrain(features).judged


def test_teeth_that_are_not_heard_leave_the_damage_alone(features_of: HearingOf) -> None:
    features = features_of("pedalled", defects=(("outer_raceway", 5.0),), drivetrain=TEETH)
    assert found_in(features) == ["outer_raceway"]


@pytest.mark.parametrize("gain", [0.1, 10.0])
def test_loudness_does_not_matter(gain: float, features_of: HearingOf) -> None:
    """Levels against levels: rounding alone, a hundredth of a decibel."""
    plain, turned = (drivetrain(features_of("chain", gain=g, drivetrain=TEETH)) for g in (1.0, gain))
    assert plain.detected and turned.detected
    assert turned.severity_db == pytest.approx(plain.severity_db, abs=0.01)
    assert turned.evidence.order == plain.evidence.order


def test_louder_is_more_severe(features_of: HearingOf) -> None:
    """6 dB more of the same strikes; loud frames are capped, so only 2 dB are asked for."""
    faint, loud = (
        drivetrain(features_of("pedalled", defects=(("jockey", db),), drivetrain=TEETH)) for db in (-2.0, 4.0)
    )
    assert faint.severity_db is not None and loud.severity_db is not None
    assert loud.severity_db > faint.severity_db + 2


# Without tooth counts.


@pytest.mark.parametrize("seed", [1, 2])
def test_a_strong_chain_is_heard_by_itself(seed: int, features_of: HearingOf) -> None:
    """Nobody said how many teeth: 50 is read off the sound."""
    features = features_of("chain", seed=seed)
    assert found_in(features) == ["drivetrain"]
    assert drivetrain(features).evidence.expected_order == 50.0
    assert "by ear" in drivetrain(features).detail


@pytest.mark.parametrize("defects", [(), (("outer_raceway", 5.0),), (("inner_raceway", 5.0),)])
def test_no_chain_is_heard_where_none_runs(defects: Any, features_of: HearingOf) -> None:
    assert "drivetrain" not in found_in(features_of("pedalled", defects=defects))


def test_a_hand_spun_crank_is_not_asked(features_of: HearingOf) -> None:
    found = drivetrain(features_of("sound"))
    assert not found.judged
    assert "spun by hand" in found.detail
    assert drivetrain(features_of("sound", drivetrain=TEETH)).judged, "unless its teeth were given"


# The chain on, and what then cannot be judged.


def test_a_running_chain_covers_dirt_and_roughness(features_of: HearingOf) -> None:
    features = features_of("chain", drivetrain=TEETH)
    for judge in (Contamination(), Rumble()):
        (finding,) = judge.detect(features)
        assert not finding.judged
        assert "running chain" in finding.detail
    quiet = features_of("pedalled", drivetrain=TEETH)
    assert all(finding.judged for judge in (Contamination(), Rumble()) for finding in judge.detect(quiet))


def test_by_ear_the_beat_may_be_the_chain_s(features_of: HearingOf) -> None:
    """The speed rests on an impact train, and the chain makes one too: no part is named, nothing is clean."""
    marked = features_of("outer")
    motion = replace(marked.motion, source="sound", scale_known=False)
    features = extract_features(marked.recording, motion, marked.bearing, TEETH)
    assert found_in(features) == []
    assert not drivetrain(features).judged
    problems = {problem.code: problem for problem in RecordingQuality().check(features.recording, features)}
    assert problems["chain_on"].voids == "clean"


def test_strikes_that_only_slip_parts_from_teeth(features_of: HearingOf) -> None:
    """By hand: 12 balls of 4 on 30 mm make 5.2 at the outer ring, as 52 teeth over 10 do; no one could tell."""
    same = BearingGeometry(balls=12, ball_diameter_mm=4.0, pitch_diameter_mm=30.0)
    plan: dict[str, Any] = {"chainring": 52, "jockey": 10, "geometry": same}
    heard = features_of("jockey", drivetrain=Drivetrain(chainring=52, jockey=10), **plan)
    bearing = replace(heard.bearing, candidates=(same,), count_nats=())
    assert found_in(extract_features(heard.recording, heard.motion, bearing, heard.drivetrain.given)) == [
        "drivetrain"
    ]
