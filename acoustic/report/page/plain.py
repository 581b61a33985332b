"""The rider's half of a check, without words of the trade, in the rider's language.

What a grade means for the ride stands in the table of conditions, with its source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from acoustic.check.document import CheckDocument, FindingBlock, GradeBlock
from acoustic.check.grade import INSTALL_AGAIN, KEEP_CLEAR, rules_for
from acoustic.conditions import Condition, Level, Rule, table
from acoustic.languages import ENGLISH, translator
from acoustic.model import Analysis, Finding, Verdict
from acoustic.report.layout import sentence
from acoustic.text import once

Checked = Analysis | CheckDocument
Say = Callable[[str], str]
as_it_is = translator(ENGLISH)

HOW_TO_RECORD = (
    "Chain off, bike in the stand, brakes open; a quiet room.",
    "The phone's own recorder at its best quality, voice enhancement and noise suppression off.",
    "The microphone a hand's width from the bearing, on the side without sprockets, touching nothing.",
    "Start recording and keep still for two seconds. One firm push, let go, hands away: eight turns or more.",
    "Let it coast until it stops, and keep still for two more seconds.",
    KEEP_CLEAR,
)

OPEN = (
    "The recording says nothing for or against the bearing. Until there is a better one, go by hands and eyes: "
    "play, drag, roughness."
)
UNFINISHED = "The check could not be finished: a part of the program is missing or failed."
INCOMPLETE = "Only a part of the judgement is there: what was heard counts, and there may be more."
CHECK_AGAIN = "Have it checked again once the program is mended."


@dataclass(frozen=True, slots=True)
class Card:
    """One check for the rider.

    Attributes
    ----------
    name : str
        The file's.
    level : Level
    heard, ride, to_do : tuple of str
        What was heard, what it means for the ride, what to do.
    record_again : tuple of str
        How to make a better recording, step by step; empty where none is needed.
    """

    name: str
    level: Level
    heard: tuple[str, ...]
    ride: tuple[str, ...]
    to_do: tuple[str, ...]
    record_again: tuple[str, ...] = ()


def card_of(result: Checked, say: Say = as_it_is) -> Card:
    """Say a check in plain words.

    Parameters
    ----------
    result : Analysis or CheckDocument
        Just judged, or as it was written down.
    say : callable
        Says an English text in the rider's language, as `acoustic.languages.translator` makes one.

    Returns
    -------
    Card
        With the verdict's own grade.
    """
    graded, detected = _graded(result), _detected(result)
    name, level = Path(result.recording.path).name, graded.level
    heard = once(_heard(result, finding, say) for finding in detected)
    rules = _rules(result, detected)
    turn_by_hand = table().turn_by_hand
    if level == "undecided" and (result.failures or INSTALL_AGAIN in graded.advice):
        grave = any(turn_by_hand in rule.to_do for rule in rules)
        first = (turn_by_hand, CHECK_AGAIN) if grave else (CHECK_AGAIN,)
        return Card(name, level, (say(UNFINISHED), *heard), (say(INCOMPLETE),), _said(first, say))
    if level == "undecided":
        why, steps = tuple(sentence(say(text)) for text in graded.because), _said(graded.advice, say)
        return Card(name, level, why, (say(OPEN),), steps, _said(HOW_TO_RECORD, say))
    if not detected:
        clean = table().clean
        return Card(name, level, (say(clean.rider),), (say(clean.means),), (say(clean.advice),))
    ride, steps = _worst(result, detected, rules)
    to_do = sorted(steps, key=lambda step: step != turn_by_hand)
    return Card(name, level, heard, tuple(sentence(say(text)) for text in ride), _said(to_do, say))


def _worst(
    result: Checked, detected: Sequence[Finding | FindingBlock], rules: Sequence[Rule]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What the findings behind the grade mean, and what is to be done of them."""
    graded, known = _graded(result), _conditions(result)
    every = [rule for one in detected if one.condition in known for rule in known[one.condition].rules]
    # A limit may have moved since the document was written; its grade stands, and so does what that asks for.
    worst = [one for one in rules if one.level == graded.level] or [o for o in every if o.level == graded.level]
    ride = once(rule.means or rule.because for rule in worst)
    steps = once(step for rule in worst for step in rule.to_do or (rule.advice,))
    if all(one.condition in known for one in detected):
        return ride, steps
    # Of a plugin's own condition a document holds its reason and advice, but no words for riders.
    told = {text for rule in rules for text in (rule.because, rule.advice)}
    others = (tuple(text for text in texts if text not in told) for texts in (graded.because, graded.advice))
    more_ride, more_steps = others
    return (*ride, *more_ride), (*steps, *more_steps)


def _graded(result: Checked) -> Verdict | GradeBlock:
    return result.verdict if isinstance(result, Analysis) else result.grade


def _conditions(result: Checked) -> Mapping[str, Condition]:
    """Conditions of which more is known than a name."""
    return result.conditions if isinstance(result, Analysis) else table().conditions


def _rules(result: Checked, detected: Sequence[Finding | FindingBlock]) -> list[Rule]:
    known = _conditions(result)
    scale_known = result.motion is None or result.motion.scale_known
    named = [finding for finding in detected if finding.condition in known]
    return rules_for(named, conditions=known, scale_known=scale_known)


def _detected(result: Checked) -> list[Finding | FindingBlock]:
    """What was found, the surest first; nothing where the recording cannot be used."""
    found = [finding for finding in result.findings if finding.detected and result.quality.usable]
    return sorted(found, key=lambda finding: finding.false_alarm_probability)


def _heard(result: Checked, finding: Finding | FindingBlock, say: Say) -> str:
    """A finding's sentence to the rider; a plugin's own condition is known by its name at least."""
    row = _conditions(result).get(finding.condition)
    if row is not None and row.rider:
        return say(row.rider)
    named = result.conditions.get(finding.condition, finding.condition)
    return sentence(say(f"it makes {named if isinstance(named, str) else named.name}"))


def _said(texts: Sequence[str], say: Say) -> tuple[str, ...]:
    return tuple(map(say, texts))
