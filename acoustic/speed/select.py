"""Which of the speed sources gives the crank's angle, and whether the others agree."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.tacholess.agreement import agreement
from acoustic.errors import InputError, MotionError, PluginError
from acoustic.model import Failure, Motion, Problem, Recording, SpeedRequest
from acoustic.plugin import answers
from acoustic.plugin.hookspecs import SpeedSource
from acoustic.plugin.registry import LoadedPlugin
from acoustic.plugin.safe_call import safe_call

SPEED_HINT = (
    "Give the speed: --marks FILE.csv with the time of each turn, --ticks if a card clicks once per turn, "
    "--turns N with the turns counted by eye, --film if the file shows the crank, or --speed RPM for a "
    "steady speed."
)
ALIKE = 0.02  # two sources that differ by less than this, beyond what they admit, agree
# Judgement: over less than a turn or two no speeds are compared.
LEAST_SHARED_S = 1.0
# Read off the sound itself, or held against nothing in it; any other source may be of another spin.
FROM_THE_SOUND = ("stated", "turns", "ticks", "channel", "sound")

Source = LoadedPlugin[SpeedSource]


def find_motion(
    recording: Recording, request: SpeedRequest, sources: Sequence[Source], failures: list[Failure]
) -> tuple[Motion, list[Problem]]:
    """Take the crank's angle from the best source asked for, or from the best one present.

    Parameters
    ----------
    recording : Recording
    request : SpeedRequest
    sources : sequence of LoadedPlugin
    failures : list of Failure
        Grows by what failed.

    Returns
    -------
    motion : Motion
    problems : list of Problem
        Sources asked for that found nothing, or that contradict the one used.

    Raises
    ------
    MotionError
        No source finds a motion.
    InputError
        What the user gave is wrong, or nothing was given and no source is installed that needs nothing.
    PluginError
        A source failed and no other could serve.
    """
    before = len(failures)
    ranked = sorted(sources, key=lambda part: (part.item.rank, part.record.name))
    asked = [part for part in ranked if _is_asked_for(part.item, request)]
    if asked:
        found, refusals = _estimates(asked, recording, request, failures, all_of_them=True)
    else:
        present = [part for part in ranked if _may_hold(part, recording, failures)]
        found, refusals = _estimates(present, recording, request, failures, all_of_them=False)
    if found:
        unfound = [_not_found(refusal) for refusal in refusals] if asked else []
        return found[0], unfound + [problem for other in found[1:] for problem in _compared(found[0], other)]
    broken = failures[before:]
    if broken:
        raise PluginError(
            f"the crank's speed could not be found: plugin {broken[0].plugin} failed ({broken[0].error})",
            hint="Run `acoustic plugins --check`, and remove or update that plugin.",
        )
    if refusals:
        raise refusals[0] if asked else refusals[-1]
    raise InputError("the crank's speed is not known, and no plugin here finds it from the sound", hint=SPEED_HINT)


def _is_asked_for(source: SpeedSource, request: SpeedRequest) -> bool:
    return any(request.value(option.key) is not None for option in source.options)


def _may_hold(part: Source, recording: Recording, failures: list[Failure]) -> bool:
    held = safe_call("speed", part, lambda: bool(part.item.present(recording)), failures, refusals_pass=False)
    return held is True


def _estimates(
    parts: Sequence[Source],
    recording: Recording,
    request: SpeedRequest,
    failures: list[Failure],
    *,
    all_of_them: bool,
) -> tuple[list[Motion], list[MotionError]]:
    """Motions of the sources, best first, and the refusals of those that found none."""
    found: list[Motion] = []
    refusals: list[MotionError] = []
    for part in parts:
        try:
            motion = safe_call("speed", part, partial(answers.motion, part.item, recording, request), failures)
        except MotionError as refusal:
            refusals.append(refusal)
            continue
        if motion is not None:
            found.append(motion)
            if not all_of_them:
                break
    return found, refusals


def _not_found(refusal: MotionError) -> Problem:
    return Problem("source_not_found", refusal.found, refusal.hint)


def is_of_this_recording(motion: Motion, bank: BandBank) -> list[Problem]:
    """Check a motion that does not come from the sound against the sound's own evidence.

    Parameters
    ----------
    motion : Motion
    bank : BandBank
        Of the whole recording.

    Returns
    -------
    list of Problem
        One that voids every verdict where the sound contradicts the motion, else none: a healthy bearing
        makes nothing that could confirm it.
    """
    if motion.source in FROM_THE_SOUND:
        return []
    found = agreement(bank, motion.times_s, motion.turns, coasting=motion.spin == "hand")
    name = motion.label
    if found.verdict == "contradicted":
        heard = {
            "impacts": "the impacts in the sound slow down differently",
            "levels": "the sound grows loud and quiet at other times",
        }
        return [
            Problem(
                "motion_not_of_this_recording",
                f"the motion from {name} does not match the recording: {heard[found.by]}",
                "Give the file that belongs to this recording, with its times counted from the recording's start.",
                voids="any",
            )
        ]
    return []


def _compared(used: Motion, other: Motion) -> list[Problem]:
    """The problem, if two sources disagree on the turns over the time that both cover."""
    if not (used.scale_known and other.scale_known):
        return []
    start_s, stop_s = max(used.start_s, other.start_s), min(used.stop_s, other.stop_s)
    if stop_s - start_s < LEAST_SHARED_S:
        made = (used.total_turns, other.total_turns)
        start_s, stop_s = used.start_s, used.stop_s
    else:
        made = (_between(used, start_s, stop_s), _between(other, start_s, stop_s))
        admitted = used.relative_uncertainty + other.relative_uncertainty
        if abs(made[0] - made[1]) <= (ALIKE + admitted) * max(made):
            return []
    first, second = used.label, other.label
    return [
        Problem(
            "sources_disagree",
            f"from {start_s:.1f} to {stop_s:.1f} s the crank makes {made[0]:.1f} turns by {first}, "
            f"{made[1]:.1f} by {second}",
            f"This result uses {first}. Find out which one is wrong, and check again without it.",
            voids="clean",
        )
    ]


def _between(motion: Motion, start_s: float, stop_s: float) -> float:
    """Turns made between two times."""
    first, last = np.interp([start_s, stop_s], motion.times_s, motion.turns)
    return float(last - first)
