"""What one recording, or the rider's own ear, says to the questions of the rule table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from acoustic.conditions import table
from acoustic.model import Analysis, Failure, Finding, Side
from acoustic.triage.rules import Circumstance

Origin = Literal["measured", "told"]

IN_STEP = 0.06  # a creak this near to a whole number of times a turn keeps pace with the crank
TOO_VAGUE = 0.2  # the pace known no better than this many times a turn says nothing
# Judgement: of bolts and spider arms four or five; what comes more often is a part of its own.
MOST_A_TURN = 4


@dataclass(frozen=True, slots=True)
class Answer:
    """One question of the rule table, answered.

    Attributes
    ----------
    question, label : str
    yes : bool
    origin : {'measured', 'told'}
    said : str
        The answer in words.
    by : str
        The recording's name, or 'the rider'.
    side : {'drive', 'non-drive'} or None
        Where the phone was held.
    """

    question: str
    label: str
    yes: bool
    origin: Origin
    said: str
    by: str
    side: Side | None = None


@dataclass(frozen=True, slots=True)
class Heard:
    """One recording, boiled down to what the triage needs.

    Attributes
    ----------
    label : str
    side : {'drive', 'non-drive'} or None
    analysis : Analysis
        Without its features and samples, which take tens of megabytes a recording.
    answers : tuple of Answer
        None where the recording cannot be used.
    notes : tuple of str
        What was heard and not counted, or why nothing was.
    """

    label: str
    side: Side | None
    analysis: Analysis
    answers: tuple[Answer, ...]
    notes: tuple[str, ...]

    @property
    def failures(self) -> tuple[Failure, ...]:
        """The plugins that failed over it."""
        return self.analysis.failures

    @property
    def used(self) -> bool:
        """Whether it contributes anything."""
        return bool(self.answers)


def read_evidence(analysis: Analysis, circumstance: Circumstance, side: Side | None = None) -> Heard:
    """Answer the questions of a circumstance from one analysis.

    Parameters
    ----------
    analysis : Analysis
    circumstance : Circumstance
        How the bike was recorded.
    side : {'drive', 'non-drive'} or None
        Where the phone was held.

    Returns
    -------
    Heard
        An unusable recording answers nothing. Where a plugin failed, only what
        was found counts: what was not judged must not read as silence.
    """
    recording = analysis.recording
    emptied = np.zeros((0, recording.samples.shape[1]))
    lean = replace(analysis, features=None, recording=replace(recording, samples=emptied))
    if not analysis.quality.usable:
        why = [problem.detail for problem in analysis.quality.problems if problem.voids != "nothing"]
        return Heard(
            circumstance.code, side, lean, (), ("contributes nothing", *(why or analysis.verdict.because))
        )
    found = {finding.condition: finding for finding in analysis.findings if finding.judged}
    answers = [
        *_noise(analysis, found.get("creak"), circumstance),
        *_bearing(analysis, circumstance),
        *_chain(analysis, found.get("drivetrain"), circumstance),
    ]
    notes = _not_counted(analysis.findings, circumstance)
    if not answers:
        notes = ("contributes nothing: no question of this circumstance could be judged", *notes)
    return Heard(circumstance.code, side, lean, tuple(replace(answer, side=side) for answer in answers), notes)


def told(label: Circumstance, *, heard: bool) -> Answer:
    """Take the rider's word for whether the creak is heard in a circumstance."""
    return Answer("noise", label.code, heard, "told", "creak heard" if heard else "no creak", "the rider")


def blamed_in(circumstance: str) -> tuple[str, ...]:
    """Conditions that speak against the bearing in a circumstance: none but where a crank turns under no load.

    With the chain on, only strikes: chain and hub rattle and crackle too.
    """
    if circumstance == "hand":
        return table().having("blamed_by_hand")
    return table().having("blamed_pedalled") if circumstance == "pedal" else ()


def _answer(analysis: Analysis, label: Circumstance, question: str, yes: bool, said: str) -> Answer:
    return Answer(question, label.code, yes, "measured", said, analysis.recording.path.name)


def _noise(analysis: Analysis, creak: Finding | None, label: Circumstance) -> list[Answer]:
    """Whether it creaks, and at which pace."""
    if creak is None:
        return []
    if not creak.detected:
        # The detectors listen to the turning crank, so their silence over still cranks means nothing.
        silent = not analysis.failures and label.code != "coast"
        return [_answer(analysis, label, "noise", False, "no creak")] if silent else []
    return [_answer(analysis, label, "noise", True, "creak heard"), *_pace(analysis, creak, label)]


def _pace(analysis: Analysis, creak: Finding, label: Circumstance) -> list[Answer]:
    """Whether a creak keeps pace with the crank, where the crank's own pace is known well enough to tell."""
    order, motion = creak.evidence.order, analysis.motion
    if "locked" not in label.questions or order is None or motion is None or not motion.scale_known:
        return []
    vague = order * motion.relative_uncertainty
    if vague > TOO_VAGUE:
        return []
    times = round(order)
    locked = 1 <= times <= MOST_A_TURN and abs(order - times) <= max(IN_STEP, vague)
    if not locked:
        return [_answer(analysis, label, "locked", False, f"it comes {order:.2f} times a turn of the crank")]
    often = {1: "once", 2: "twice"}.get(times, f"{times} times")
    return [
        _answer(analysis, label, "locked", True, "it keeps pace with the crank"),
        _answer(analysis, label, "once", times == 1, f"it comes {often} a turn"),
    ]


def _bearing(analysis: Analysis, label: Circumstance) -> list[Answer]:
    """Whether the bearing itself is at fault; clean only where all was judged and nothing stands against it."""
    if "bearing" not in label.questions:
        return []
    faults = [f for f in analysis.findings if f.detected and f.condition in blamed_in(label.code)]
    if faults:
        said = ", ".join(f"{analysis.condition(f).noise}{_strength(f)}" for f in faults)
        return [_answer(analysis, label, "bearing", True, f"bearing at fault: {said}")]
    judged = {finding.condition for finding in analysis.findings if finding.judged}
    detected = {finding.condition for finding in analysis.findings if finding.detected} - {"creak", "drivetrain"}
    doubts = analysis.failures or detected or any(p.voids != "nothing" for p in analysis.quality.problems)
    if doubts or not judged >= set(table().having("needed_for_clean")):
        return []
    return [_answer(analysis, label, "bearing", False, "the bearing runs clean")]


def _strength(finding: Finding) -> str:
    return "" if finding.severity_db is None else f" ({finding.severity_db:+.0f} dB)"


def _chain(analysis: Analysis, line: Finding | None, label: Circumstance) -> list[Answer]:
    """Whether chain, sprockets or jockey wheels are heard at a pace of their own."""
    if "chain" not in label.questions or line is None or (analysis.failures and not line.detected):
        return []
    order = line.evidence.order
    pace = "" if order is None else f" ({order:.2f} times a turn)"
    said = f"a pace of the chain's is heard{pace}" if line.detected else "no pace of the chain's"
    return [_answer(analysis, label, "chain", line.detected, said)]


def _not_counted(findings: Sequence[Finding], label: Circumstance) -> tuple[str, ...]:
    """Say what was heard of the bearing where the circumstance does not let it count."""
    counted = blamed_in(label.code)
    of_the_bearing = set(table().having("blamed_by_hand")) - set(counted)
    names = [
        table().conditions[f.condition].noise for f in findings if f.detected and f.condition in of_the_bearing
    ]
    if not names:
        return ()
    why: Mapping[str, str] = {
        "coast": "the crank stands still, and a freewheel clicks",
        "pedal": "with the chain on, chain and hub sound so too",
    }
    reason = why.get(label.code, "road, tyres and chain sound so too")
    return (f"{', '.join(names)} heard but not counted: {reason}",)
