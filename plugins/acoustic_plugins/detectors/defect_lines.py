"""Outer raceway, inner raceway, ball and cage, from their lines in the order spectra."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

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
    "outer_raceway": "the outer ring's raceway",
    "inner_raceway": "the inner ring's raceway",
    "ball": "a ball",
    "cage": "the cage",
}
OTHER_WORDS = {"chain": "the chain", "jockey": "a jockey wheel", "hub": "the rear hub"}
# The bearing's own share of the level is never taken below this: the room's level is only known so well.
LEAST_OWN_SHARE = 0.15
FAINTEST_DB = -40.0  # what is less is told as this: nothing so faint is measured
EXPLAINS = 0.1  # posterior below which something else makes the lines; judgement


class DefectLines:
    """Judges the lines of the four parts together, since they compete for the same evidence."""

    name = "defect-lines"
    summary = "regular strikes at the pace of the outer ring, inner ring, balls or cage"
    conditions = ("outer_raceway", "inner_raceway", "ball", "cage", "raceway")

    def detect(self, features: Features) -> Sequence[Finding]:
        """Judge every part; say 'raceway' where strikes are certain and their part is not."""
        findings = [_judge(features, part) for part in features.parts]
        undecided = [
            (finding, part)
            for finding, part in zip(findings, features.parts, strict=True)
            if not part.named and _stands(features, part)
        ]
        open_ring = _open_ring(features, *undecided[0]) if undecided else _named(findings)
        return [*findings, open_ring]


def _judge(features: Features, part: PartEvidence) -> Finding:
    detected = part.named and _stands(features, part)
    words = WORDS[part.part]
    if detected and part.with_cage and part.part == "ball":
        detail = f"strikes that come round with the cage, {part.order:.2f} times a turn, as a damaged ball's would"
    elif detected:
        detail = (
            f"strikes {part.order:.2f} times a turn, as damage on {words} would "
            f"({part.expected_order:.2f} computed)"
        )
    elif part.chance > DETECTION_CHANCE:
        detail = f"no rhythm of {words}"
    elif not part.named:
        others = " and ".join((WORDS | OTHER_WORDS)[rival] for rival in part.rivals)
        detail = f"a rhythm that fits {words} and {others or 'something else'} alike"
    else:
        detail = f"a weak rhythm of {words}, no stronger than healthy bearings show"
    return Finding(
        condition=part.part,
        detected=detected,
        false_alarm_probability=part.chance,
        severity_db=_severity_db(features, part),
        detail=detail,
        evidence=Evidence.of_lines(part, features.bank),
        posterior=part.posterior,
    )


def _stands(features: Features, part: PartEvidence) -> bool:
    """Whether strikes are there beyond doubt, stronger than healthy bearings show, and not explained by others."""
    strength_db = part.impact_db - _own_share_db(features, part.loudest_group)
    sure = part.chance <= DETECTION_CHANCE and part.posterior >= EXPLAINS
    return sure and strength_db >= healthy_db(part.paced_by)


def _own_share_db(features: Features, group: tuple[int, int]) -> float:
    """The bearing's own share of the level while it turns, in a group of bands [dB, 0 or less]."""
    if features.over is None:
        return 0.0
    excess_db = float(features.over.excess_db[group[0] : group[1] + 1].mean())
    return 10 * math.log10(max(LEAST_OWN_SHARE, 1 - 10 ** (-excess_db / 10)))


def _severity_db(features: Features, part: PartEvidence) -> float:
    """Event power over the bearing's own share of the background level, in all bands that strikes ring."""
    wide_db = 10 * math.log10(max(part.wide_ratio, 1e-9))
    return max(FAINTEST_DB, wide_db - _own_share_db(features, part.wide_group))


def _open_ring(features: Features, finding: Finding, part: PartEvidence) -> Finding:
    rivals = part.rivals or ("another source",)
    names = " or ".join((WORDS | OTHER_WORDS).get(name, name) for name in (part.part, *rivals))
    # Without a scale no number of strikes a turn is known either.
    rate = f"strikes {part.order:.2f} times a turn" if features.motion.scale_known else "steady strikes"
    return Finding(
        condition="raceway",
        detected=True,
        false_alarm_probability=finding.false_alarm_probability,
        severity_db=finding.severity_db,
        detail=f"{rate}: damage on {names}, which this recording cannot tell apart",
        evidence=replace(finding.evidence, may_be=(part.part, *(name for name in part.rivals if name in WORDS))),
    )


def _named(findings: Sequence[Finding]) -> Finding:
    rings = [f for f in findings if f.condition in ("outer_raceway", "inner_raceway")]
    strongest = min(rings, key=lambda finding: finding.false_alarm_probability)
    named = any(finding.detected for finding in rings)
    return Finding(
        condition="raceway",
        detected=False,
        # The better of two that are judged apart.
        false_alarm_probability=strongest.false_alarm_probability * (2 - strongest.false_alarm_probability),
        severity_db=strongest.severity_db,
        detail="the ring is named above" if named else "no raceway damage heard",
        evidence=strongest.evidence,
    )


@hookimpl
def acoustic_detectors() -> Sequence[DefectLines]:
    """Offer the judge of the defect lines."""
    return [DefectLines()]
