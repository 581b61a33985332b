"""The rider's half of a check, without words of the trade.

What a grade means for the ride is this project's own judgement, as the grades are; that wear
grows, and that dirt causes it, is common practice (see also the sources in `acoustic.check.grade`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from acoustic.check.grade import CHAIN_OFF, FILM_IT, HEAR_AGAIN, KEEP_CLEAR, NEEDED_FOR_CLEAN, RIDE_ON, rules_for
from acoustic.model import Analysis, Level
from acoustic.report import facts, words
from acoustic.report.layout import sentence

HOW_TO_RECORD = (
    "Chain off, bike in the stand, brakes open; a quiet room.",
    "The phone's own recorder at its best quality, voice enhancement and noise suppression off.",
    "The microphone a hand's width from the bearing, on the side without sprockets, touching nothing.",
    "Start recording and keep still for two seconds. One firm push, let go, hands away: eight turns or more.",
    "Let it coast until it stands, and keep still for two seconds more.",
    KEEP_CLEAR,
)

WEAK = "The sign is weak. It may stay like this for a long time, or grow."
WORN = "A damaged bearing does not mend. It grows louder and rougher, and in the end it may drag or lock."
NEW_BEARING = "Have a new bearing fitted, and the place in the frame that holds it measured first."
TURN_BY_HAND = (
    "Before the next ride, turn the crank slowly by hand. If it catches, clicks or drags, do not ride on it: a "
    "bearing that breaks up can seize, wind the crank loose or damage the frame. Have the workshop look inside "
    "even if it turns freely."
)
FRESH_GREASE = "Have it cleaned and freshly greased, then listened to again: dirt may have hidden wear."


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a condition of a grade means for the ride, and what to do."""

    ride: str
    to_do: tuple[str, ...]


CAGE_BREAKS = "What keeps the balls apart may be breaking up, and then the bearing can lock."
BY_EAR_LEVELS: tuple[Level, ...] = ("watch", "service")

MEANINGS: dict[tuple[str, Level], Meaning] = {
    **{(part, "watch"): Meaning(WEAK, (HEAR_AGAIN,)) for part in words.STRUCK},
    **{(part, "replace"): Meaning(WORN, (NEW_BEARING,)) for part in (*words.STRUCK, "corrosion")},
    **{
        ("by ear", level): Meaning(
            "Something strikes as the crank turns. It may be the bearing, but by the sound alone a wheel or the "
            "chain cannot be ruled out.",
            (FILM_IT,),
        )
        for level in BY_EAR_LEVELS
    },
    ("cage", "replace"): Meaning(CAGE_BREAKS, (TURN_BY_HAND, NEW_BEARING)),
    ("cage", "service"): Meaning(CAGE_BREAKS, (TURN_BY_HAND,)),
    ("rumble", "service"): Meaning(
        "It runs rougher than it should: its grease may be dry or dirty, or wear has begun. One recording alone "
        "does not settle that.",
        ("Have it recorded a second time in a quiet room.", FRESH_GREASE),
    ),
    ("contamination", "service"): Meaning("Dirt wears a bearing down while it turns.", (FRESH_GREASE,)),
    ("creak", "service"): Meaning(
        "Something that carries the rider's weight moves where it should sit tight. That need not be the bearing.",
        ("Have the joints about the crank cleaned, greased and tightened by the maker's instructions.",),
    ),
    ("tight", "service"): Meaning(
        "It turns against more drag than it should, and so wears faster.",
        ("Have its adjustment set anew, and the bearing taken out and looked at if it stays tight.",),
    ),
    ("drivetrain", "watch"): Meaning(
        "The noise comes from the chain or what it runs over, not from the bearing.", (CHAIN_OFF,)
    ),
}
CLEAN = Meaning("Nothing in the sound speaks against riding on.", (RIDE_ON,))
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
    heard = _once(words.HEARD[finding.condition] for finding in detected)
    rules = rules_for(detected, scale_known=result.motion is None or result.motion.scale_known)
    if _program_failed(result):
        grave = any(TURN_BY_HAND in MEANINGS[rule.condition, rule.level].to_do for rule in rules)
        first = (TURN_BY_HAND, CHECK_AGAIN) if grave else (CHECK_AGAIN,)
        return Card(name, verdict.level, (UNFINISHED, *heard), (INCOMPLETE,), first)
    if verdict.level == "undecided":
        why = tuple(sentence(text) for text in verdict.because)
        return Card(name, verdict.level, why, (OPEN,), verdict.advice, HOW_TO_RECORD)
    if not detected:
        return Card(name, verdict.level, (words.NOTHING_HEARD,), (CLEAN.ride,), CLEAN.to_do)
    meanings = [MEANINGS[rule.condition, rule.level] for rule in rules if rule.level == verdict.level]
    steps = _once(step for meaning in meanings for step in meaning.to_do)
    to_do = tuple(sorted(steps, key=lambda step: step != TURN_BY_HAND))
    return Card(name, verdict.level, heard, _once(meaning.ride for meaning in meanings), to_do)


def _program_failed(result: Analysis) -> bool:
    """Whether the program, not the recording, is why the bearing stays undecided."""
    limited = any(problem.voids != "nothing" for problem in result.quality.problems)
    named = {finding.condition for finding in result.findings}
    unheard = not limited and not named >= set(NEEDED_FOR_CLEAN)
    return result.verdict.level == "undecided" and (bool(result.failures) or unheard)


def _once(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))
