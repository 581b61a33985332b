"""The rider's half of a check, without words of the trade.

What a grade means for the ride stands in the table of conditions, with its source.
"""

from __future__ import annotations

from dataclasses import dataclass

from acoustic.check.grade import KEEP_CLEAR, rules_for
from acoustic.conditions import Level, table
from acoustic.model import Analysis
from acoustic.report import facts
from acoustic.report.layout import sentence
from acoustic.text import once

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


def card_of(result: Analysis) -> Card:
    """Say a check in plain words.

    Parameters
    ----------
    result : Analysis

    Returns
    -------
    Card
        With the verdict's own grade.
    """
    verdict, name = result.verdict, result.recording.path.name
    detected = [finding for finding in facts.shown(result) if finding.detected]
    heard = once(
        result.condition(finding).rider or sentence(f"it makes {result.condition(finding).name}")
        for finding in detected
    )
    scale_known = result.motion is None or result.motion.scale_known
    rules = rules_for(detected, conditions=result.conditions, scale_known=scale_known)
    turn_by_hand = table().turn_by_hand
    if _program_failed(result):
        grave = any(turn_by_hand in rule.to_do for rule in rules)
        first = (turn_by_hand, CHECK_AGAIN) if grave else (CHECK_AGAIN,)
        return Card(name, verdict.level, (UNFINISHED, *heard), (INCOMPLETE,), first)
    if verdict.level == "undecided":
        why = tuple(sentence(text) for text in verdict.because)
        return Card(name, verdict.level, why, (OPEN,), verdict.advice, HOW_TO_RECORD)
    if not detected:
        clean = table().clean
        return Card(name, verdict.level, (clean.rider,), (clean.means,), (clean.advice,))
    worst = [rule for rule in rules if rule.level == verdict.level]
    steps = once(step for rule in worst for step in rule.to_do or (rule.advice,))
    to_do = tuple(sorted(steps, key=lambda step: step != turn_by_hand))
    return Card(name, verdict.level, heard, once(rule.means or sentence(rule.because) for rule in worst), to_do)


def _program_failed(result: Analysis) -> bool:
    """Whether the program, not the recording, is why the bearing stays undecided."""
    limited = any(problem.voids != "nothing" for problem in result.quality.problems)
    named = {finding.condition for finding in result.findings}
    unheard = not limited and not named >= set(table().having("needed_for_clean"))
    return result.verdict.level == "undecided" and (bool(result.failures) or unheard)
