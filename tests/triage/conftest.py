"""Analyses made by hand, so that every finding a detector may give can be put before the triage."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acoustic.bearings.search import resolve_bearing
from acoustic.check.grade import grade
from acoustic.conditions import table
from acoustic.model import (
    Analysis,
    Evidence,
    Failure,
    Finding,
    Motion,
    Problem,
    Recording,
)

JUDGED = (*table().having("needed_for_clean"), "raceway")


@pytest.fixture(scope="session")
def rules() -> Any:
    from acoustic.triage.rules import load_rules

    return load_rules()


@pytest.fixture(scope="session")
def finding_of() -> Callable[..., Finding]:
    """Make a detected finding: (condition, order=None, detected=True, severity_db=3.0) -> Finding."""

    def finding(
        condition: str, order: float | None = None, *, detected: bool = True, severity_db: float | None = 3.0
    ) -> Finding:
        return Finding(
            condition=condition,
            detected=detected,
            false_alarm_probability=1e-6 if detected else 0.5,
            severity_db=severity_db,
            detail=condition,
            evidence=Evidence(order=order),
        )

    return finding


@pytest.fixture(scope="session")
def made(finding_of: Callable[..., Finding]) -> Callable[..., Analysis]:
    """Make an analysis: (finding, ..., problems=(), failures=(), turns=9.0, speed_off=0.01, name=...) -> Analysis.

    What is not given is judged and not found, as the bundled detectors would say; a creak only if asked for.
    """
    from acoustic.check.pipeline import settle_quality

    def analysis(
        *found: Finding,
        problems: tuple[Problem, ...] = (),
        failures: tuple[Failure, ...] = (),
        turns: float = 9.0,
        speed_off: float = 0.01,
        scale_known: bool = True,
        name: str = "spin.wav",
    ) -> Analysis:
        given = {finding.condition for finding in found}
        rest = [finding_of(condition, detected=False) for condition in JUDGED if condition not in given]
        findings = (*found, *rest)
        quality = settle_quality(problems, findings)
        return Analysis(
            recording=Recording(Path(name), "ab" * 32, np.zeros((480, 1)), 48000.0, "in memory"),
            bearing=resolve_bearing(name="6805"),
            quality=quality,
            motion=Motion(np.array([1.0, 9.0]), np.array([0.0, turns]), "marks", "hand", speed_off, scale_known),
            features=None,
            findings=findings,
            verdict=grade(findings, quality, failures, conditions=table().conditions),
            failures=failures,
            plugin_versions={"defect-lines": "1"},
        )

    return analysis


@pytest.fixture(scope="session")
def said(rules: Any) -> Callable[..., list[Any]]:
    """Answers in short: ("+ride-seated", "-coast", "bearing=replace@hand", "leg=left") -> told, or measured."""
    from acoustic.triage.evidence import Answer, answered, told

    def answers(*texts: str) -> list[Any]:
        made = []
        for text in texts:
            question, sign, value = text.partition("=")
            value, _, label = value.partition("@")
            if not sign:
                made.append(told(rules.labels[text[1:]], heard=text[0] == "+"))
            elif label:
                made.append(Answer(question, label, value, "measured", f"{question}: {value}", "x.wav"))
            else:
                made.append(answered(rules.questions[question], value))
        return made

    return answers
