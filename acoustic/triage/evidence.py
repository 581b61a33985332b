"""What one recording, or the rider's own ear, says to the questions of the rule table."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from acoustic.check.grade import rules_for
from acoustic.conditions import ORDER, Level, table
from acoustic.model import Analysis, Failure, Finding, Side
from acoustic.text import once
from acoustic.triage.rules import ANYWHERE, Circumstance, Question, Rules

Origin = Literal["measured", "told"]

IN_STEP = 0.06  # a creak this near to a whole number of times a turn keeps pace with the crank
TOO_VAGUE = 0.2  # the pace known no better than this many times a turn says nothing
# Judgement: legs, bolts and spider arms come up to five times a turn; what comes more often is a part of its own.
MOST_A_TURN = 4.5
# Times a crank turn: a chain of 100 to 120 links on 36 to 53 teeth comes round 0.3 to 0.53 times, the cage of a
# thin bearing 0.38 to 0.47 times (by its geometry).
TWO_TURNS = (0.28, 0.55)
GRADED = {
    "watch": "a faint trace of wear in the bearing",
    "service": "the bearing asks for service",
    "replace": "the bearing asks to be replaced",
}
_DEGREES = ("no", "clean", "yes", "watch", "service", "replace", "loud")


@dataclass(frozen=True, slots=True)
class Answer:
    """One question of the rule table, answered.

    Attributes
    ----------
    question : str
    label : str
        The situation; `ANYWHERE` where the rider says it of the creak itself.
    value : str
        One of the question's answers.
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
    value: str
    origin: Origin
    said: str
    by: str
    side: Side | None = None

    @property
    def yes(self) -> bool:
        """Whether something is there: a creak, a fault, a pace."""
        return self.value not in ("no", "clean")

    @property
    def degree(self) -> int:
        """How much of a creak, a fault or a pace is there, to compare two sides."""
        return _DEGREES.index(self.value) if self.value in _DEGREES else 0


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
    advice : tuple of str
        How to hear it better, in this very situation; none where the recording served.
    """

    label: str
    side: Side | None
    analysis: Analysis
    answers: tuple[Answer, ...]
    notes: tuple[str, ...]
    advice: tuple[str, ...] = ()

    @property
    def failures(self) -> tuple[Failure, ...]:
        """The plugins that failed over it."""
        return self.analysis.failures

    @property
    def used(self) -> bool:
        """Whether it contributes anything."""
        return bool(self.answers)


def read_evidence(analysis: Analysis, label: str, rules: Rules, side: Side | None = None) -> Heard:
    """Answer the questions of a situation from one analysis.

    Parameters
    ----------
    analysis : Analysis
    label : str
        How the bike was recorded.
    rules : Rules
    side : {'drive', 'non-drive'} or None
        Where the phone was held.

    Returns
    -------
    Heard
        An unusable recording answers nothing. Where a plugin failed, only what
        was found counts: what was not judged must not read as silence.
    """
    recording, situation = analysis.recording, rules.labels[label]
    emptied = np.zeros((0, recording.samples.shape[1]))
    lean = replace(analysis, features=None, recording=replace(recording, samples=emptied))
    advice = _advice(analysis, situation, rules)
    if not analysis.quality.usable:
        why = [problem.detail for problem in analysis.quality.problems if problem.voids != "nothing"]
        return Heard(label, side, lean, (), ("contributes nothing", *(why or analysis.verdict.because)), advice)
    found = {finding.condition: finding for finding in analysis.findings if finding.judged}
    answers = [
        *_noise(analysis, found.get("creak"), situation),
        *_bearing(analysis, situation, rules),
        *_chain(analysis, found.get("drivetrain"), situation),
    ]
    notes = _not_counted(analysis.findings, situation)
    if not answers:
        nothing = "contributes nothing: no question of this situation could be judged"
        return Heard(label, side, lean, (), (nothing, *notes), advice)
    return Heard(label, side, lean, tuple(replace(answer, side=side) for answer in answers), notes)


def told(label: Circumstance, *, heard: bool) -> Answer:
    """Take the rider's word for whether the creak is heard in a situation."""
    said = "creak heard" if heard else "no creak"
    return Answer("noise", label.code, "yes" if heard else "no", "told", said, "the rider")


def answered(question: Question, value: str) -> Answer:
    """Take the rider's answer to a question about the creak itself."""
    return Answer(question.code, ANYWHERE, value, "told", question.values[value], "the rider")


def _advice(analysis: Analysis, situation: Circumstance, rules: Rules) -> tuple[str, ...]:
    """What can be done in this situation: the check's own advice is meant for a spin by hand."""
    problems = [problem for problem in analysis.quality.problems if problem.voids != "nothing"]
    fitting = [problem.advice for problem in problems if problem.code in rules.advised_anywhere]
    return once(fitting) if fitting and not situation.by_ear else (situation.again,)


def blamed_in(circumstance: str) -> tuple[str, ...]:
    """Conditions that speak against the bearing in a circumstance: none but where a crank turns under no load.

    With the chain on, only strikes: chain and hub rattle and crackle too.
    """
    if circumstance == "hand":
        return table().having("blamed_by_hand")
    return table().having("blamed_pedalled") if circumstance == "pedal" else ()


def _answer(analysis: Analysis, label: Circumstance, question: str, value: str, said: str) -> Answer:
    return Answer(question, label.code, value, "measured", said, analysis.recording.path.name)


def _noise(analysis: Analysis, creak: Finding | None, label: Circumstance) -> list[Answer]:
    """Whether it creaks, and at which pace."""
    if creak is None:
        return []
    if not creak.detected:
        # The detectors listen to the turning crank, so their silence over still cranks means nothing.
        silent = not analysis.failures and label.code != "coast"
        return [_answer(analysis, label, "noise", "no", "no creak")] if silent else []
    return [_answer(analysis, label, "noise", "yes", "creak heard"), *_pace(analysis, creak, label)]


def _pace(analysis: Analysis, creak: Finding, label: Circumstance) -> list[Answer]:
    """In which beat a creak comes, where the crank's own pace is known well enough to tell."""
    order, motion = creak.evidence.order, analysis.motion
    if "rhythm" not in label.questions or order is None or motion is None or not motion.scale_known:
        return []
    beat = _beat(order, max(IN_STEP, order * motion.relative_uncertainty))
    if beat is None:
        return []
    return [_answer(analysis, label, "rhythm", beat, f"it comes {order:.2f} times a crank turn")]


def _beat(order: float, off: float) -> str | None:
    """The beat of so many creaks a crank turn; None where it is too vague, or none that a part of a bike keeps."""
    times = round(order)
    if order - off > MOST_A_TURN:
        return "many"
    if off > TOO_VAGUE:
        return None
    if abs(order - times) <= off and 1 <= times <= MOST_A_TURN:
        return "each-turn" if times == 1 else "strokes"
    if TWO_TURNS[0] <= order <= TWO_TURNS[1]:
        return "two-turns"
    return "wheel" if order > 1 else None


def _bearing(analysis: Analysis, label: Circumstance, rules: Rules) -> list[Answer]:
    """How the bearing itself is graded; clean only where all was judged and nothing stands against it."""
    if "bearing" not in label.questions:
        return []
    faults = [f for f in analysis.findings if f.detected and f.condition in blamed_in(label.code)]
    if faults:
        level = _level(analysis, faults)
        heard = ", ".join(f"{analysis.condition(f).noise}{_strength(f)}" for f in faults)
        loudest_db = max((f.severity_db for f in faults if f.severity_db is not None), default=-math.inf)
        loud_from_db = rules.questions["bearing"].loud_from_db
        loud = level == "replace" and loud_from_db is not None and loudest_db >= loud_from_db
        return [_answer(analysis, label, "bearing", "loud" if loud else level, f"{GRADED[level]}: {heard}")]
    judged = {finding.condition for finding in analysis.findings if finding.judged}
    detected = {finding.condition for finding in analysis.findings if finding.detected} - {"creak", "drivetrain"}
    doubts = analysis.failures or detected or any(p.voids != "nothing" for p in analysis.quality.problems)
    if doubts or not judged >= set(table().having("needed_for_clean")):
        return []
    return [_answer(analysis, label, "bearing", "clean", "the bearing runs clean")]


def _level(analysis: Analysis, faults: Sequence[Finding]) -> Level:
    """The grade that the bearing's own faults ask for."""
    scale_known = analysis.motion is None or analysis.motion.scale_known
    found = rules_for(faults, conditions=table().conditions, scale_known=scale_known)
    return max((rule.level for rule in found), key=ORDER.index)


def _strength(finding: Finding) -> str:
    if finding.severity_db is None:
        return ""
    side = "over" if finding.severity_db >= 0 else "under"
    return f" ({abs(finding.severity_db):.0f} dB {side} its running noise)"


def _chain(analysis: Analysis, line: Finding | None, label: Circumstance) -> list[Answer]:
    """Whether chain, sprockets or jockey wheels are heard at a pace of their own."""
    if "chain" not in label.questions or line is None or (analysis.failures and not line.detected):
        return []
    order = line.evidence.order
    pace = "" if order is None else f" ({order:.2f} times a crank turn)"
    said = f"a pace of the chain's is heard{pace}" if line.detected else "no pace of the chain's"
    return [_answer(analysis, label, "chain", "yes" if line.detected else "no", said)]


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
