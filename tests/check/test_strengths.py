"""Bearings 3 dB under and over what divides healthy from damaged, and damage that is watched from a new bearing.

A law or a limit that is off by 5 dB, either way, turns one of each pair over.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from acoustic_plugins.detectors.defect_lines import DefectLines

from acoustic.check.grade import grade
from acoustic.conditions import table
from acoustic.model import Quality

# Long enough that the strikes are certain wherever their strength is in question.
LONG: dict[str, Any] = {"turns": 20.0, "duration_s": 20.0}


@pytest.mark.parametrize(
    ("part", "case", "limit_db"),
    [("outer_raceway", "outer", -17.5), ("inner_raceway", "inner", -17.5), ("ball", "ball", -17.5)],
)
@pytest.mark.parametrize("over_db", [-3.0, 3.0])
def test_strikes_as_weak_as_healthy_bearings_make_are_no_damage(
    part: str, case: str, limit_db: float, over_db: float, features_of: Callable[..., Any]
) -> None:
    """Strikes that are there beyond doubt, said to be so strong over the bearing's own running noise; judgement on
    real healthy bearings: acoustic/dsp/orders/healthy.py."""
    features = features_of(case)
    if features.over is not None:  # all of the level is the bearing's own
        over = replace(features.over, excess_db=features.over.excess_db * 0 + 60.0)
        features = replace(features, over=over)
    ratio = 10 ** ((limit_db + over_db) / 10)
    parts = tuple(replace(one, impact_ratio=ratio) if one.part == part else one for one in features.parts)
    found = {one.condition: one for one in DefectLines().detect(replace(features, parts=parts))}
    assert found[part].false_alarm_probability < 1e-6
    assert found[part].detected is (over_db > 0)


@pytest.mark.parametrize(
    ("level_db", "severity_db", "level"),
    # Truly so far over the running noise, which the simulator lays at 4 dB; severity is read to within half a dB.
    [(-9.0, -13.0, "watch"), (-3.0, -7.0, "replace")],
)
def test_simulated_damage_3_db_from_the_limit(
    level_db: float, severity_db: float, level: str, features_of: Callable[..., Any]
) -> None:
    """The limit of -10 dB is judgement: acoustic/conditions.toml."""
    features = features_of("sound", defects=(("outer_raceway", level_db),), **LONG)
    findings = DefectLines().detect(features)
    found = next(one for one in findings if one.condition == "outer_raceway")
    assert found.severity_db is not None and math.isclose(found.severity_db, severity_db, abs_tol=0.5)
    verdict = grade(findings, Quality(), [], conditions=table().conditions)
    assert verdict.level == level
