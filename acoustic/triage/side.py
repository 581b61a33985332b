"""Which side of the crank bearing is worse, by how much, and whether that can be told.

Sides are compared by severity, not by level: a phone's distance changes levels, but hardly the ratio of impacts
to running noise.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from acoustic.dsp.arrays import NINE_IN_TEN
from acoustic.model import Finding, Side
from acoustic.triage.evidence import Heard, blamed_in

# Severity of one and the same defect in recordings made anew, as standard deviations [dB]. Simulated spins that
# differ in nothing but their draw (frame's ring, hiss, strikes) gave 0.8 to 1.4 dB for parts of 9 and 4 turns,
# 2.9 dB for rumble; a phone held by hand anew adds to that, by this project's judgement.
ANEW_DB = 1.5
# As ANEW_DB above.
ANEW_RUMBLE_DB = 3.0
# n strikes of exponentially distributed power have a mean with a relative spread of 1 / sqrt(n).
STRIKE_DB = 10 / math.log(10)
COMPARED = ("hand", "pedal")


@dataclass(frozen=True, slots=True)
class SideDifference:
    """One condition on both sides.

    Attributes
    ----------
    condition, label : str
    drive_db, other_db : float
        Severity at the drive side and at the other [dB].
    half_width_db : float
        Half width of the range that holds the true difference nine times in ten [dB].
    """

    condition: str
    label: str
    drive_db: float
    other_db: float
    half_width_db: float

    @property
    def difference_db(self) -> float:
        """How much worse the drive side is [dB]; below 0 the other is."""
        return self.drive_db - self.other_db

    @property
    def worse(self) -> Side | None:
        """The worse side; None where the difference is within what it may be off."""
        if abs(self.difference_db) <= self.half_width_db:
            return None
        return "drive" if self.difference_db > 0 else "non-drive"


@dataclass(frozen=True, slots=True)
class SideVerdict:
    """Which side is worse.

    Attributes
    ----------
    worse : {'drive', 'non-drive'} or None
        None where it can't be told.
    differences : tuple of SideDifference
        The clearest first.
    because : str
    """

    worse: Side | None
    differences: tuple[SideDifference, ...]
    because: str


def compare_sides(recordings: Iterable[Heard]) -> SideVerdict | None:
    """Compare recordings of the same bearing pair made at either side.

    Parameters
    ----------
    recordings : iterable of Heard
        Those of one circumstance are compared with one another. Unusable ones,
        and those without a side, are passed over.

    Returns
    -------
    SideVerdict or None
        None where no circumstance was recorded at both sides.

    Notes
    -----
    Only conditions found at both sides are compared. What one side alone shows
    may be there at the other too, below what that recording lets through.
    """
    usable = [heard for heard in recordings if heard.side is not None and heard.used and not heard.failures]
    pairs = {}
    for label in COMPARED:
        drive, other = (
            [heard for heard in usable if heard.label == label and heard.side == side]
            for side in ("drive", "non-drive")
        )
        if drive and other:
            pairs[label] = (drive, other)
    if not pairs:
        return None
    differences = [
        difference
        for label, (drive, other) in pairs.items()
        for condition in blamed_in(label)
        if (difference := _difference(condition, label, drive, other))
    ]
    differences.sort(key=lambda one: -abs(one.difference_db) / one.half_width_db)
    return _verdict(tuple(differences), [heard for both in pairs.values() for side in both for heard in side])


def _verdict(differences: tuple[SideDifference, ...], recordings: Sequence[Heard]) -> SideVerdict:
    if not differences:
        alone = {
            heard.side
            for heard in recordings
            if any(answer.question == "bearing" and answer.yes for answer in heard.answers)
        }
        if len(alone) == 1:
            side = next(iter(alone))
            because = (
                f"a fault is heard at the {side} side alone; no level can be compared, so this is a hint only"
            )
            return SideVerdict(None, (), because)
        return SideVerdict(None, (), "no fault is found at both sides, so there is nothing to compare")
    telling = {difference.worse for difference in differences} - {None}
    if len(telling) == 1:
        first = differences[0]
        by = f"{abs(first.difference_db):.1f} dB, give or take {first.half_width_db:.1f}"
        return SideVerdict(first.worse, differences, f"the {first.worse} side is worse by {by}")
    if telling:
        return SideVerdict(None, differences, "one condition is worse on one side, another on the other")
    first = differences[0]
    because = (
        f"cannot tell: the sides differ by {abs(first.difference_db):.1f} dB, "
        f"and such a difference is only known to {first.half_width_db:.1f} dB"
    )
    return SideVerdict(None, differences, because)


def _difference(
    condition: str, label: str, drive: Sequence[Heard], other: Sequence[Heard]
) -> SideDifference | None:
    here, there = _severity(condition, drive), _severity(condition, other)
    if here is None or there is None:
        return None
    half_width_db = NINE_IN_TEN * math.hypot(here[1], there[1])
    return SideDifference(condition, label, here[0], there[0], half_width_db)


def _severity(condition: str, recordings: Sequence[Heard]) -> tuple[float, float] | None:
    """Mean severity of a condition found in recordings of one side, and its standard deviation [dB]."""
    found = [
        (finding.severity_db, spread_db(finding, turns=heard.analysis.motion.total_turns))
        for heard in recordings
        if heard.analysis.motion is not None
        for finding in heard.analysis.findings
        if finding.condition == condition and finding.detected and finding.severity_db is not None
    ]
    if not found:
        return None
    mean_db = math.fsum(severity_db for severity_db, _ in found) / len(found)
    return mean_db, math.sqrt(math.fsum(spread**2 for _, spread in found)) / len(found)


def spread_db(finding: Finding, *, turns: float) -> float:
    """Standard deviation of a severity [dB] from the number of strikes that it rests on.

    Parameters
    ----------
    finding : Finding
    turns : float
        Turns judged, > 0.

    Returns
    -------
    float
        Where no pace is known, one strike a turn is taken for granted: too wide rather than too narrow.
    """
    strikes = max(1.0, turns * (finding.evidence.order or 1.0))
    anew_db = ANEW_RUMBLE_DB if finding.condition == "rumble" else ANEW_DB
    return math.hypot(anew_db, STRIKE_DB / math.sqrt(strikes))
