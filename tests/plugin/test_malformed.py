"""Conditions and findings that a plugin made wrongly: refused by name, when it is loaded or when it answers."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from acoustic.conditions import Condition, Rule
from acoustic.errors import PluginError
from acoustic.model import Finding
from acoustic.plugin import answers
from acoustic.plugin.conflicts import require_attributes

GOOD: dict[str, Any] = {"level": "service", "because": "it whines", "advice": "Grease it."}


def condition(**changes: Any) -> Condition:
    fields: dict[str, Any] = {"code": "whine.band", "name": "whine", "rules": (Rule(**GOOD),)}
    return Condition(**(fields | changes))


def test_one_that_is_well_made_is_taken() -> None:
    require_attributes(condition(), "acoustic_conditions")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": 7}, "Expected `str`, got `int` - at `\\$.name`"),
        ({"rules": ("service",)}, "at `\\$.rules"),
        ({"rules": (Rule(**(GOOD | {"because": None})),)}, "because"),
        ({"rules": (Rule(**(GOOD | {"level": "serious"})),)}, "serious"),
        ({"rules": (Rule(**(GOOD | {"level": "clean"})),)}, "a rule of the level 'clean'"),
        ({"roles": frozenset({"bogus"})}, "bogus"),
    ],
)
def test_one_that_is_not_is_refused(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(PluginError, match=said):
        require_attributes(condition(**changes), "acoustic_conditions")


def finding(chance: float) -> Finding:
    return Finding(
        condition="whine.band", detected=True, false_alarm_probability=chance, severity_db=1.0, detail="it whines"
    )


@pytest.mark.parametrize(
    ("answered", "said"),
    [
        ([finding(0.9)], "detected at a chance of 0.9; 0.002 or less is needed"),
        (None, "a list of Finding is needed, got NoneType"),
        ([], "no finding for whine.band, but for nothing"),
    ],
)
def test_a_finding_that_cannot_be(answered: Any, said: str) -> None:
    detector = SimpleNamespace(conditions=("whine.band",), detect=lambda features: answered)
    with pytest.raises((TypeError, ValueError), match=said):
        answers.findings(detector, None)  # type: ignore[arg-type]
