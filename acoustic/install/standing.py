"""Where an install stands: the last thing that was done or heard decides what comes next.

A grade is of wear. What a bearing that was just pressed in shows is first of all its seat's doing, and what an
old one showed no longer counts once it is out: in both cases the grade's own next step would mislead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Literal

from acoustic.install.spins import FREE_IT, GO_ON, SEND_BACK, Told, runs_clean, what_the_seat_did

if TYPE_CHECKING:
    from acoustic.check.document import CheckDocument

RECORD_FINAL = (
    "Record a final spin of the new bearing, chain off, once its adjustment is set: "
    "acoustic visit add --kind final."
)
MEASURE = "Measure the seat (acoustic install fit), press it in squarely, and record it again: --kind pressed."


@dataclass(frozen=True, slots=True)
class Heard:
    """A visit with a recording.

    Attributes
    ----------
    on : date
    kind : {'check', 'free', 'pressed', 'final'}
        As the book has it.
    replaced : bool
        A new bearing went in after it was heard.
    checks : tuple of CheckDocument
        One or more.
    """

    on: date
    kind: Literal["check", "free", "pressed", "final"]
    replaced: bool
    checks: tuple[CheckDocument, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """What comes before any grade.

    Attributes
    ----------
    told : Told
        Outcome, reasons, and the bench's next steps.
    for_rider : str
        What it means, without words of the trade.
    rider_does : str
        What the rider is told to do.
    before_grade : bool
        The grade's own advice does not hold, and must not stand beside it.
    old : bool
        What was heard is of a bearing that is out.
    """

    told: Told
    for_rider: str
    rider_does: str
    before_grade: bool
    old: bool = False


def where_it_stands(heard: Sequence[Heard], fitted: Sequence[date]) -> Standing | None:
    """Say what comes next where it is not the last grade.

    Parameters
    ----------
    heard : sequence of Heard
        Of one bike, oldest first.
    fitted : sequence of date
        Days on which bearings went in.

    Returns
    -------
    Standing or None
        None where the last grade says it all.
    """
    if not heard:
        return None
    last = heard[-1]
    if last.replaced or any(day > last.on for day in fitted):
        reason = f"The bearing was replaced after it was heard on {last.on}."
        told = Told("replaced since", (reason,), (RECORD_FINAL,))
        rider = "A new bearing has gone in since. What was heard is of the old one."
        return Standing(
            told, rider, "Have the new one listened to, so that there is something to compare.", True, True
        )
    if last.kind == "pressed":
        return _pressed(heard)
    if last.kind == "free":
        return _in_hand(last)
    return _final(last) if last.kind == "final" else None


def install_pair(heard: Sequence[Heard]) -> tuple[Heard | None, Heard] | None:
    """The newest spin in a seat and the one in the hand before it, of the same try; None without a press."""
    pressed = None
    for one in reversed(heard):
        if pressed is None:
            pressed = one if one.kind == "pressed" else None
        elif one.kind == "free":
            return one, pressed
        elif one.kind in ("pressed", "final"):
            break
    return None if pressed is None else (None, pressed)


def _pressed(heard: Sequence[Heard]) -> Standing:
    free, pressed = install_pair(heard) or (None, heard[-1])
    if free is None:
        clean = all(check.grade.level == "clean" for check in pressed.checks)
        reason = "It was not recorded in the hand before it was pressed in, so nothing can be compared."
        told = Told("pressed in", (reason,), (GO_ON if clean else FREE_IT,))
    else:
        told = what_the_seat_did(free.checks, pressed.checks)
    if told.outcome == "as before" or told.advice == (GO_ON,):
        rider = "The new bearing sits in the frame and runs as it should. The crank is not finished yet."
        return Standing(told, rider, "Nothing: the workshop goes on.", True)
    if told.outcome == "open":
        rider = "Whether the frame does the new bearing any harm was not to be heard."
        return Standing(told, rider, "Nothing: the workshop records it once more.", True)
    rider = "The new bearing runs rougher in the frame than it should. The bearing itself need not be at fault."
    if told.outcome == "rough in the hand":
        rider = "The new bearing was rough before it went in."
        return Standing(told, rider, "The workshop takes another one.", True)
    return Standing(told, rider, "The workshop pulls it and sees whether it turns freely again.", True)


def _in_hand(last: Heard) -> Standing:
    rough = [check for check in last.checks if check.grade.level in ("service", "replace")]
    if rough:
        told = Told("rough in the hand", tuple(rough[0].grade.because), (SEND_BACK,))
        return Standing(
            told, "The new bearing was rough before it went in.", "The workshop takes another one.", True
        )
    told = Told("in the hand", ("It was recorded in the hand and is not pressed in yet.",), (MEASURE,))
    return Standing(told, "The new bearing is not fitted yet.", "Nothing: the workshop goes on.", True)


def _final(last: Heard) -> Standing | None:
    told = runs_clean(last.checks[-1])
    if told.outcome == "clean":
        return Standing(told, "The new bearing is in and runs clean.", "", False)
    if told.outcome == "open":
        return Standing(told, "Whether the finished crank runs clean was not to be heard.", "", False)
    rider = "The crank was just put together and does not run clean yet."
    return Standing(told, rider, "The workshop sets it anew, and pulls the bearing if that does not help.", True)
