"""What holds for every detector: complete, a true-looking probability, and deaf to the recording's gain."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from acoustic.model import CONDITIONS, Finding
from acoustic.plugin.registry import LoadedPlugin, load_plugins

HearingOf = Callable[..., Any]
DETECTORS = load_plugins().detectors
CASES = ("sound", "outer", "inner", "ball", "rumble", "grit", "far_away", "short")
TWENTY_DB = 10.0

every_detector = pytest.mark.parametrize("part", DETECTORS, ids=lambda part: part.item.name)


def judged(part: LoadedPlugin[Any], features: Any) -> dict[str, Finding]:
    findings = list(part.item.detect(features))
    assert len({finding.condition for finding in findings}) == len(findings), "one finding a condition"
    return {finding.condition: finding for finding in findings}


@every_detector
def test_its_conditions_are_known(part: LoadedPlugin[Any]) -> None:
    assert part.item.conditions
    assert set(part.item.conditions) <= set(CONDITIONS)


def test_no_condition_is_judged_twice() -> None:
    """Two verdicts on one thing could contradict each other."""
    conditions = [condition for part in DETECTORS for condition in part.item.conditions]
    assert len(set(conditions)) == len(conditions)


@every_detector
@pytest.mark.parametrize("case", CASES)
def test_findings(case: str, part: LoadedPlugin[Any], features_of: HearingOf) -> None:
    """Every condition it names, with a probability, a finite severity or none, and a plain sentence."""
    findings = judged(part, features_of(case))
    assert set(findings) == set(part.item.conditions)
    for finding in findings.values():
        assert 0 <= finding.false_alarm_probability <= 1
        assert not finding.detected or finding.false_alarm_probability < 0.05
        assert finding.severity_db is None or math.isfinite(finding.severity_db)
        assert finding.detail and not finding.detail.endswith(".")
        assert "_" not in finding.detail, "codes are for programs"
        assert finding.by == "", "the chain signs the findings"
        band_hz = finding.evidence.band_hz
        assert band_hz is None or 0 < band_hz[0] < band_hz[1]


@every_detector
@pytest.mark.parametrize("gain", [TWENTY_DB, 1 / TWENTY_DB], ids=["+20 dB", "-20 dB"])
@pytest.mark.parametrize("case", ["sound", "outer", "rumble", "grit"])
def test_loudness_does_not_matter(case: str, gain: float, part: LoadedPlugin[Any], features_of: HearingOf) -> None:
    """A tenth of a decibel is far below what anybody reads off, and far above rounding."""
    as_recorded, turned = judged(part, features_of(case)), judged(part, features_of(case, gain=gain))
    for condition, finding in as_recorded.items():
        other = turned[condition]
        assert other.detected == finding.detected
        assert (other.severity_db is None) == (finding.severity_db is None)
        if finding.severity_db is not None:
            assert other.severity_db == pytest.approx(finding.severity_db, abs=0.1)
        # A chance is compared on its own scale, which spans many powers of ten.
        assert math.log10(other.false_alarm_probability + 1e-12) == pytest.approx(
            math.log10(finding.false_alarm_probability + 1e-12), abs=0.1
        )


@every_detector
def test_asking_twice_gives_the_same(part: LoadedPlugin[Any], features_of: HearingOf) -> None:
    """No dice, no memory of the recording before."""
    first = judged(part, features_of("outer"))
    judged(part, features_of("grit"))
    assert judged(part, features_of("outer")) == first


@every_detector
@pytest.mark.parametrize("seed", range(3))
def test_a_sound_bearing_is_not_accused(seed: int, part: LoadedPlugin[Any], features_of: HearingOf) -> None:
    findings = judged(part, features_of("sound", seed=100 + seed))
    assert [finding.condition for finding in findings.values() if finding.detected] == []


@every_detector
@pytest.mark.parametrize("short_s", [0.0, 1e-9])
def test_without_still_parts_it_judges_all_the_same(
    short_s: float, part: LoadedPlugin[Any], features_of: HearingOf
) -> None:
    """A recording that starts and ends while the crank turns; the least a detector must bear."""
    from dataclasses import replace

    from acoustic.check.features import extract_features

    whole = features_of("outer")
    still = () if short_s == 0 else ((0.0, short_s),)
    features = extract_features(whole.recording, replace(whole.motion, still=still), whole.bearing)
    assert set(judged(part, features)) == set(part.item.conditions)


@every_detector
def test_it_leaves_the_hearing_alone(part: LoadedPlugin[Any], features_of: HearingOf) -> None:
    features = features_of("inner")
    before = [array.copy() for array in (features.bank.power, features.levels.compressed, features.spectra.power)]
    judged(part, features)
    after = (features.bank.power, features.levels.compressed, features.spectra.power)
    assert all(np.array_equal(one, other) for one, other in zip(before, after, strict=True))
