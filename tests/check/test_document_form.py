"""The document as it is written today, to the letter; and what older and newer versions wrote."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from checked import plain_check

from acoustic import __version__
from acoustic.check.document import CheckDocument, decode, document_of
from acoustic.check.grade import CAUTIONS
from acoustic.dsp.geometry import BearingGeometry
from acoustic.dsp.orders.evidence import BallCount
from acoustic.errors import InputError
from acoustic.model import (
    Analysis,
    Bearing,
    Evidence,
    Failure,
    Finding,
    Motion,
    Problem,
    Quality,
    Recording,
    Step,
    Verdict,
)
from acoustic.structures import encode

# One turn a second for ten seconds; a 6805 with 16 balls of 3.5 mm on 31 mm, its orders those of geometry.py.
GEOMETRY = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
RESULT = Analysis(
    recording=Recording(
        Path("Süd.wav"),
        "ab" * 32,
        np.zeros((96_000, 2)),
        8000.0,
        "WAV, signed 16 bit PCM",
        channel=1,
        side="drive",
        steps=(Step("read", "plain-sound 0.1.0", {"sample_rate_hz": 8000.0}),),
    ),
    bearing=Bearing("6805", (GEOMETRY,), "inferred", "printed", runner_up=BallCount(15, 0.25)),
    quality=Quality((Problem("faint", "it is faint", "go nearer"),)),
    motion=Motion(np.array([1.0, 6.0, 11.0]), np.array([0.0, 5.0, 10.0]), "marks", "steady", 0.01, True),
    features=None,
    findings=(
        Finding(
            condition="outer_raceway",
            detected=True,
            false_alarm_probability=1e-6,
            severity_db=-4.5,
            detail="strikes at 7.10 a turn",
            evidence=Evidence(
                order=7.1, expected_order=7.097, harmonics=6, band_hz=(2100.0, 4800.0), balls=16, may_be=("ball",)
            ),
            by="defect-lines 0.1.0",
            posterior=0.98,
        ),
        Finding.unjudged("tight", "too few turns"),
    ),
    verdict=Verdict("replace", ("the outer ring strikes",), ("Replace it.",), confidence=0.98),
    failures=(Failure("detect", "grumpy", "OSError: no licence"),),
    plugin_versions={"defect-lines": "0.1.0"},
)
# Typed by hand. What was not judged is not listed.
WRITTEN: dict[str, Any] = {
    "schema": "acoustic.check/1",
    "recording": {
        "path": "Süd.wav",
        "sha256": "ab" * 32,
        "duration_s": 12.0,
        "sample_rate_hz": 8000.0,
        "channels": 2,
        "judged_channel": 2,
        "format": "WAV, signed 16 bit PCM",
        "side": "drive",
        "steps": [{"name": "read", "by": "plain-sound 0.1.0", "params": {"sample_rate_hz": 8000.0}}],
    },
    "bearing": {
        "designation": "6805",
        "balls": 16,
        "balls_source": "inferred",
        "balls_runner_up": {"balls": 15, "probability": 0.25},
        "ball_counts_tried": [16],
        "ball_diameter_mm": 3.5,
        "pitch_diameter_mm": 31.0,
        "contact_angle_deg": 0.0,
        "turning": "inner",
        "rows": 1,
        "source": "printed",
        "orders": {
            "cage": 0.4435483870967742,
            "outer_raceway": 7.096774193548387,
            "inner_raceway": 8.903225806451612,
            "ball": 8.744239631336406,
        },
    },
    "quality": {"usable": True, "problems": [{"code": "faint", "detail": "it is faint", "advice": "go nearer"}]},
    "drivetrain": None,
    "motion": {
        "source": "marks",
        "source_label": "marks",
        "spin": "steady",
        "turns": 10.0,
        "peak_rpm": 60.0,
        "mean_rpm": 60.0,
        "relative_uncertainty": 0.01,
        "scale_known": True,
        "start_s": 1.0,
        "stop_s": 11.0,
        "drag_hz_per_s": None,
    },
    "findings": [
        {
            "condition": "outer_raceway",
            "detected": True,
            "false_alarm_probability": 1e-06,
            "severity_db": -4.5,
            "posterior": 0.98,
            "detail": "strikes at 7.10 a turn",
            "by": "defect-lines 0.1.0",
            "evidence": {
                "order": 7.1,
                "expected_order": 7.097,
                "harmonics": 6,
                "band_hz": [2100.0, 4800.0],
                "balls": 16,
                "may_be": ["ball"],
            },
        }
    ],
    "conditions": {"outer_raceway": "outer ring"},
    "grade": {
        "level": "replace",
        "because": ["the outer ring strikes"],
        "advice": ["Replace it."],
        "confidence": 0.98,
        "would_have_found": None,
    },
    "failures": [{"stage": "detect", "plugin": "grumpy", "error": "OSError: no licence"}],
    "cautions": list(CAUTIONS),
    "plugins": {"defect-lines": "0.1.0"},
    "program": f"acoustic {__version__}",
}


def test_every_key_in_its_place_and_every_value() -> None:
    written = encode(document_of(RESULT))
    assert list(json.loads(written)) == list(WRITTEN)
    for key, value in WRITTEN.items():
        assert json.loads(written)[key] == value, key
    assert written == json.dumps(WRITTEN, ensure_ascii=False, indent=2)


def test_it_reads_back_as_it_was() -> None:
    document = document_of(RESULT)
    assert decode(encode(document)) == document
    assert decode(encode(document).encode()) == decode(WRITTEN) == document
    assert document.detected == document.findings


def test_the_first_version_s_documents_still_read() -> None:
    """What later versions added is absent: it reads as not known."""
    document = decode(plain_check(ball=-12.0))
    assert (document.grade.confidence, document.grade.would_have_found) == (None, None)
    assert (document.conditions, document.findings[0].posterior, document.recording.steps) == ({}, None, ())
    bare = plain_check()
    del bare["motion"]["drag_hz_per_s"], bare["recording"]["side"]
    assert decode(bare).drag_hz_per_s is None
    assert decode(plain_check(spin=None)).drag_hz_per_s is None


def test_what_a_newer_version_adds_is_passed_over() -> None:
    newer = plain_check(ball=-4.0)
    newer["weather"] = "wet"
    newer["findings"][0]["evidence"]["kurtosis"] = 3.0
    assert decode(newer) == decode(plain_check(ball=-4.0))


def without(*path: Any) -> dict[str, Any]:
    """A document that lacks one field."""
    document: Any = plain_check(ball=-4.0)
    inner = document
    for step in path[:-1]:
        inner = inner[step]
    del inner[path[-1]]
    return dict(document)


@pytest.mark.parametrize(
    ("written", "found", "advice"),
    [
        ("{", "a JSON document is needed", "check --json"),
        ("[1]", "has no schema; acoustic.check/1 is needed", "Update the program"),
        (without("schema"), "has no schema; acoustic.check/1 is needed", "Update the program"),
        ({**plain_check(), "schema": "acoustic.check/2"}, "has the schema acoustic.check/2", "Update the program"),
        (without("grade"), "`grade`", "visit recheck"),
        (without("findings", 0, "detected"), "`detected` - at `$.findings[0]`", "visit recheck"),
        (
            {**plain_check(), "findings": "none"},
            "Expected `array`, got `str` - at `$.findings`",
            "visit recheck",
        ),
        ({**plain_check(), "grade": {"level": "superb", "because": [], "advice": []}}, "superb", "visit recheck"),
    ],
)
def test_what_is_no_such_document_is_refused(written: Any, found: str, advice: str) -> None:
    with pytest.raises(InputError) as caught:
        decode(written)
    assert found in caught.value.found
    assert advice in caught.value.hint


def test_nothing_can_be_changed() -> None:
    with pytest.raises(AttributeError):
        document_of(RESULT).grade.level = "clean"  # type: ignore[misc]
    assert isinstance(msgspec.json.schema(CheckDocument), dict)
