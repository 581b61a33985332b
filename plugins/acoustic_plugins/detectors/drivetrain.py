"""Drivetrain: chain, jockey wheel and hub, from their lines in the order spectra."""

from __future__ import annotations

import math
from collections.abc import Sequence

from acoustic.api import (
    DETECTION_CHANCE,
    Evidence,
    Features,
    Finding,
    PartEvidence,
    healthy_db,
    hookimpl,
)

ACOUSTIC_API = (1, 0)

WORDS = {
    "chain": "the chain's links on the chainring",
    "jockey": "a jockey wheel",
    "hub": "the rear hub",
}
# Floor of the scale only: what is detected lies tens of dB above.
FAINTEST_DB = -40.0


class DrivetrainLines:
    """Judges what strikes at the pace of the teeth: no part of the bearing."""

    name = "drivetrain"
    summary = "regular strikes at the pace of chain, jockey wheel or rear hub"
    conditions = ("drivetrain",)

    def detect(self, features: Features) -> Sequence[Finding]:
        """Judge the part of the drivetrain that stands out most."""
        heard = features.drivetrain
        if heard.open_because:
            return [_not_judged(heard.open_because)]
        tried = len(heard.parts)
        judged = [(min(1.0, tried * part.chance), -part.impact_ratio, part) for part in heard.parts]
        chance, _, part = min(judged, key=lambda one: one[:2])
        detected = chance <= DETECTION_CHANCE and part.impact_db >= healthy_db(part.part)
        return [
            Finding(
                condition="drivetrain",
                detected=detected,
                false_alarm_probability=chance,
                severity_db=max(FAINTEST_DB, 10 * math.log10(max(part.wide_ratio, 1e-9))),
                detail=_detail(detected, part, by_ear=heard.given is None),
                evidence=Evidence.of_lines(part, features.bank),
            )
        ]


def _detail(detected: bool, part: PartEvidence, *, by_ear: bool) -> str:
    if not detected:
        return "no rhythm of chain, jockey wheel or hub"
    counted = " (teeth counted by ear)" if by_ear else ""
    return f"strikes {part.expected_order:.4g} times a turn, as {WORDS[part.part]} would{counted}: not the bearing"


def _not_judged(why: str) -> Finding:
    return Finding.unjudged("drivetrain", f"chain, jockey wheel and hub were not listened for: {why}")


@hookimpl
def acoustic_detectors() -> Sequence[DrivetrainLines]:
    """Offer the judge of the drivetrain."""
    return [DrivetrainLines()]
