"""A fresh install by ear: what the seat did to the bearing, and whether the finished crank runs clean.

Drag is read off the run-down at one turn a second: speed and push differ from spin to spin, the loss of speed
at a fixed speed does not. It is compared with the same bearing's fresh install alone, since seals and grease
make it and no table holds for a whole crank.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from acoustic.conditions import table

if TYPE_CHECKING:
    from acoustic.check.document import CheckDocument, FindingBlock

Outcome = Literal["as before", "rougher", "rough in the hand", "open"]

# Twice the power; half of it is what two spins of one bearing differ by (this project's own judgement).
ROUGHER_DB = 3.0
UNMEASURED_DB = -1000.0  # below any severity that is measured

FREE_IT = (
    "Pull the bearing and spin it in the hand: if it turns freely again, the seat squeezes it or it went in "
    "crooked. Measure the bore at several depths and directions (acoustic install fit) before it is pressed again."
)
SEND_BACK = "Do not fit it: it is already rough in the hand. Try another one."
GO_ON = "Go on: set the preload so that the play is just gone, then record the final spin."
BY_HAND = "Feel for play at the crank arms, and tighten to the maker's torques: the sound tells neither."
EASE_IT = (
    "Loosen the preload until you just feel play, tighten it until the play is just gone, and spin again. If it "
    "stays rough, pull the bearing and see whether it turns freely."
)


@dataclass(frozen=True, slots=True)
class Told:
    """What is said of an install.

    Attributes
    ----------
    outcome : str
    reasons, advice : tuple of str
    """

    outcome: str
    reasons: tuple[str, ...]
    advice: tuple[str, ...]


def what_the_seat_did(free: Sequence[CheckDocument], pressed: Sequence[CheckDocument]) -> Told:
    """Compare a bearing in the hand with the same one in its seat.

    Parameters
    ----------
    free, pressed : sequence of CheckDocument
        One or more each.

    Returns
    -------
    Told
        Its outcome is 'as before', 'rougher', 'rough in the hand' or 'open'.

    Notes
    -----
    Only what is measured against the bearing's own running noise is compared: in the hand and
    in a frame one and the same bearing is loud in other bands, and spins other masses.
    """
    before, after = _findings(free), _findings(pressed)
    by_the_seat, needed = table().having("by_the_seat"), table().having("needed_at_the_seat")
    rough = [_name(name) for name in by_the_seat if _found(before, name)]
    if rough:
        return Told("rough in the hand", (f"In the hand it already shows {', '.join(rough)}.",), (SEND_BACK,))
    reasons = [_worse(before[name], after[name]) for name in by_the_seat if name in before and name in after]
    reasons = [reason for reason in reasons if reason]
    new = [_name(name) for name in by_the_seat if _found(after, name) and name not in before]
    if new:
        reasons.append(f"In its seat it shows {', '.join(new)}, which could not be judged in the hand.")
    if reasons:
        return Told("rougher", tuple(reasons), (FREE_IT,))
    missing = [_name(name) for name in needed if name not in before or name not in after]
    if missing:
        again = "Record both again, each a spin of five turns or more with a still second before and after."
        return Told("open", (f"Not judged in both recordings: {', '.join(missing)}.",), (again,))
    return Told("as before", ("In its seat it runs as it did in the hand.",), (GO_ON,))


@dataclass(frozen=True, slots=True)
class Compared:
    """One condition in the hand and in its seat.

    Attributes
    ----------
    name : str
    before_db, after_db : float or None
        How strong it was [dB]; None where it was not judged.
    heard_before, heard_after : bool
        Below what is heard a strength is chance.
    """

    name: str
    before_db: float | None
    after_db: float | None
    heard_before: bool
    heard_after: bool


def compared(free: Sequence[CheckDocument], pressed: Sequence[CheckDocument]) -> tuple[Compared, ...]:
    """All that is compared of a bearing in the hand and in its seat."""
    before, after = _findings(free), _findings(pressed)
    return tuple(
        Compared(_name(name), _level(before, name), _level(after, name), _found(before, name), _found(after, name))
        for name in table().having("by_the_seat")
        if name in before or name in after
    )


def runs_clean(document: CheckDocument) -> Told:
    """Judge the final spin of an install.

    Parameters
    ----------
    document : CheckDocument

    Returns
    -------
    Told
        Its outcome is 'clean', 'not clean' or 'open'.
    """
    level, because = document.grade.level, document.grade.because
    found = _findings([document])
    if level == "undecided":
        return Told("open", because, document.grade.advice)
    if level != "clean":
        seat = any(_found(found, name) for name in table().having("eased_by_preload"))
        return Told("not clean", because, ((EASE_IT,) if seat else (FREE_IT,)))
    if "tight" not in found:
        return Told(
            "open", ("Whether it runs tight was not judged.",), ("Spin it by hand, chain off, once more.",)
        )
    drag = document.drag_hz_per_s
    reasons = ["It runs smoothly, without notches."]
    if drag is not None:
        reasons.append(f"At one turn per second it slows by {drag:.2f} turns/s every second.")
    return Told("clean", tuple(reasons), (BY_HAND,))


def drags_more(document: CheckDocument, fresh: CheckDocument) -> str | None:
    """Tell whether a crank slows more steeply than when it was fresh.

    Parameters
    ----------
    document, fresh : CheckDocument
        Of the same bearing in the same bike.

    Returns
    -------
    str or None
        A sentence if the drag is at least `DRAGS_MORE` times the fresh one; None if not, or if either is unknown.
    """
    now, then = document.drag_hz_per_s, fresh.drag_hz_per_s
    if not now or not then or now < table().drags_more * then:
        return None
    return (
        f"It slows {now / then:.1f} times as steeply as when it was fresh: it runs tight, its seals drag or its "
        "grease has stiffened."
    )


def _findings(documents: Sequence[CheckDocument]) -> dict[str, FindingBlock]:
    """Each condition's worst finding over several recordings."""
    worst: dict[str, FindingBlock] = {}
    for document in documents:
        for finding in document.findings:
            name = finding.condition
            if name not in worst or _rank(finding) > _rank(worst[name]):
                worst[name] = finding
    return worst


def _rank(finding: FindingBlock) -> tuple[bool, float]:
    return finding.detected, UNMEASURED_DB if finding.severity_db is None else finding.severity_db


def _level(findings: Mapping[str, FindingBlock], name: str) -> float | None:
    return findings[name].severity_db if name in findings else None


def _found(findings: Mapping[str, FindingBlock], name: str) -> bool:
    return name in findings and findings[name].detected


def _worse(before: FindingBlock, after: FindingBlock) -> str:
    """A sentence if a condition is new or clearly stronger, else nothing."""
    if not after.detected:
        return ""
    rise = _rank(after)[1] - _rank(before)[1]
    if rise < ROUGHER_DB:
        return ""
    by = f", {rise:.0f} dB more than in the hand" if before.severity_db is not None else ""
    return f"In its seat it shows {_name(after.condition)}{by}."


def _name(condition: str) -> str:
    return table().conditions[condition].noise
