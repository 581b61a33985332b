"""What a recording would have shown: a good one much, a short one nothing; without that none is called clean."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from acoustic.check import pipeline, sensitivity
from acoustic.check.sensitivity import TRIED_DB, would_have_found

HEARD_FROM_DB = -14.0


def test_a_good_recording_would_have_shown_it(features_of: Any, analysis_of: Any) -> None:
    """Eleven turns, clearly heard; the grade and its reason say so."""
    assert would_have_found(features_of("sound")) in TRIED_DB
    verdict = analysis_of("sound").verdict
    found_db = verdict.would_have_found_db
    assert verdict.level == "clean" and found_db in TRIED_DB
    assert any(f"{-found_db:.0f} dB under" in reason for reason in verdict.because)


def test_what_is_too_weak_is_not_found(features_of: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Thirty dB under the noise; and of several severities the weakest that is found is told."""
    monkeypatch.setattr(sensitivity, "TRIED_DB", (-30.0,))
    assert would_have_found(features_of("sound")) is None
    monkeypatch.setattr(sensitivity, "TRIED_DB", (-30.0, -10.0, -5.0))
    assert would_have_found(features_of("sound")) == -10.0


def test_by_ear_the_search_for_the_motion_has_to_find_it(features_of: Any) -> None:
    """With the turns counted and nothing heard that keeps time; strikes as loud as the noise do."""
    features = features_of("sound")
    counted = replace(features, motion=replace(features.motion, source="turns", impact_train=None))
    assert would_have_found(counted) == HEARD_FROM_DB


@pytest.mark.parametrize(
    ("would_have_shown", "level"), [(-16.0, "clean"), (HEARD_FROM_DB, "clean"), (None, "undecided")]
)
def test_clean_needs_it(
    would_have_shown: float | None, level: str, taken: Any, registry: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from acoustic.bearings.search import resolve_bearing
    from acoustic.model import SpeedRequest

    monkeypatch.setattr(pipeline, "would_have_found", lambda features: would_have_shown)
    file = taken("sound")
    result = pipeline.check_recording(
        file.path,
        bearing=resolve_bearing(name="6805"),
        request=SpeedRequest(marks=file.marks),
        registry=registry,
    )
    assert result.verdict.level == level
    assert result.verdict.would_have_found_db == (would_have_shown if level == "clean" else None)
    assert [p.code for p in result.quality.problems] == ([] if level == "clean" else ["insensitive"])


def test_where_damage_is_found_nothing_is_tried(analysis_of: Any) -> None:
    assert analysis_of("outer").verdict.would_have_found_db is None


def test_the_limit_is_among_those_tried() -> None:
    """None weaker than the limit is needed, and each tried is worth its time."""
    assert max(TRIED_DB) == HEARD_FROM_DB
    assert list(TRIED_DB) == sorted(TRIED_DB)
