"""Outer raceway, inner raceway, ball and cage, from their lines in the order spectra."""

from __future__ import annotations

import math
from collections.abc import Sequence

from acoustic.api import (
    DETECTION_CHANCE,
    Evidence,
    Finding,
    Hearing,
    PartEvidence,
    chance_of_events,
    hookimpl,
)

ACOUSTIC_API = (1, 0)

WORDS = {
    "outer_raceway": "the outer ring's raceway",
    "inner_raceway": "the inner ring's raceway",
    "ball": "a ball",
    "cage": "the cage",
}
# The bearing's own share of the level is never taken below this: the room's level is only known so well.
LEAST_OWN_SHARE = 0.25
FAINTEST_DB = -40.0


class DefectLines:
    """Judges the lines of the four parts together, since they compete for the same evidence."""

    name = "defect-lines"
    summary = "regular strikes at the pace of the outer ring, inner ring, balls or cage"
    conditions = ("outer_raceway", "inner_raceway", "ball", "cage", "raceway")

    def detect(self, hearing: Hearing) -> Sequence[Finding]:
        """Judge every part; say 'raceway' where strikes are certain and their part is not."""
        findings = [_judge(hearing, part) for part in hearing.parts]
        undecided = [
            (finding, part)
            for finding, part in zip(findings, hearing.parts, strict=True)
            if part.rivals and _counts(finding)
        ]
        open_ring = _open_ring(hearing, *undecided[0]) if undecided else _named(findings)
        return [*findings, open_ring]


def _judge(hearing: Hearing, part: PartEvidence) -> Finding:
    severity_db = _severity_db(hearing, part)
    # The law of sound bearings holds for the events over the whole running level, room included.
    chance = max(part.chance, chance_of_events(part.part, part.event_db))
    match = part.match
    detected = chance <= DETECTION_CHANCE and not part.rivals
    if detected:
        detail = (
            f"strikes {match.order:.2f} times a turn, as damage on {WORDS[part.part]} would "
            f"({match.comb.order:.2f} computed)"
        )
    elif part.chance <= DETECTION_CHANCE:
        detail = f"a weak rhythm of {WORDS[part.part]}, no stronger than sound bearings show"
        if part.rivals:
            detail = (
                f"a rhythm that fits {WORDS[part.part]} and {' and '.join(WORDS[r] for r in part.rivals)} alike"
            )
    else:
        detail = f"no rhythm of {WORDS[part.part]}"
    return Finding(
        condition=part.part,
        detected=detected,
        false_alarm_probability=chance,
        severity_db=severity_db,
        detail=detail,
        evidence=Evidence.of_lines(part, hearing.bank),
    )


def _severity_db(hearing: Hearing, part: PartEvidence) -> float:
    """Event power over the bearing's own share of the running level."""
    own_share = 1.0
    if hearing.over is not None:
        first, last = part.wide_run
        excess_db = float(hearing.over.excess_db[first : last + 1].mean())
        own_share = max(LEAST_OWN_SHARE, 1 - 10 ** (-excess_db / 10))
    return max(FAINTEST_DB, 10 * math.log10(max(part.wide_ratio / own_share, 1e-9)))


def _counts(finding: Finding) -> bool:
    return finding.false_alarm_probability <= DETECTION_CHANCE


def _open_ring(hearing: Hearing, finding: Finding, part: PartEvidence) -> Finding:
    names = " or ".join(WORDS[name] for name in (part.part, *part.rivals))
    # Without a scale no number of strikes a turn is known either.
    rate = f"strikes {part.match.order:.2f} times a turn" if hearing.motion.scale_known else "steady strikes"
    return Finding(
        condition="raceway",
        detected=True,
        false_alarm_probability=finding.false_alarm_probability,
        severity_db=finding.severity_db,
        detail=f"{rate}: damage on {names}, which this recording can't part",
        evidence=finding.evidence,
    )


def _named(findings: Sequence[Finding]) -> Finding:
    rings = [f for f in findings if f.condition in ("outer_raceway", "inner_raceway")]
    strongest = min(rings, key=lambda finding: finding.false_alarm_probability)
    named = any(finding.detected for finding in rings)
    return Finding(
        condition="raceway",
        detected=False,
        false_alarm_probability=min(1.0, 2 * strongest.false_alarm_probability),
        severity_db=strongest.severity_db,
        detail="the ring is named above" if named else "no raceway damage heard",
        evidence=strongest.evidence,
    )


@hookimpl
def acoustic_detectors() -> Sequence[DefectLines]:
    """Offer the judge of the defect lines."""
    return [DefectLines()]
