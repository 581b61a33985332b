"""Motion from the sound alone: the run-down or the cadence that makes the bearing's own beat sharpest."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from acoustic.core.beat import BeatLevels, beat_levels
from acoustic.core.cadence import find_cadence
from acoustic.core.coast import PUSH_S, TIME, Course, find_coast, usual_coast
from acoustic.core.envelope import BandBank
from acoustic.core.geometry import BearingGeometry
from acoustic.core.scale import Reading, read_beat
from acoustic.core.sound_bearing import DETECTION_CHANCE, chance_of_cadence, chance_of_coast
from acoustic.core.still import still_parts
from acoustic.core.turning import Turning, find_turning, nats_of_coasts
from acoustic.errors import MotionError
from acoustic.model import HeardBeat, Motion, SpeedSourceCode, Spin

Floats = NDArray[np.float64]

LEAST_NATS = 3.0  # less, and a room's own changes of level would do
CLEAR_LEAD = 4.0  # nats between coasting and driving that settle it without the beat
LATE_S = 0.05  # after the push, before the course is fitted
PAST_S = 0.7  # the last slow turn is hardly heard
SHORTEST_S = 2.5
STEADY = 0.006  # relative spread of the speed
COURSE_ERROR = 0.04  # of the speed, nine times in ten, where a beat fixes the course
ROUGH_ERROR = 0.15  # where only the level does
ALIKE = 0.02  # readings whose turns differ by less are one scale
COUNTED_WRONG = 0.8  # turns, nine times in ten, of a count by eye
USUAL_MEAN_HZ = 1.0
LONGER = (
    "Record one whole spin with the phone a hand's width from the bearing, from two still seconds before the push "
    "until two seconds after the crank stands; a card that clicks once a turn (--ticks), a film (--film) or the "
    "turns' times (--marks) tell the speed where the bearing is quiet."
)


@dataclass(frozen=True, slots=True)
class Guess:
    """A course of the speed over the part fitted, the chance that its beat is luck, and the part itself."""

    course: Course
    chance: float
    levels: BeatLevels
    coasting: bool


def motion_by_ear(
    bank: BandBank,
    geometries: Sequence[BearingGeometry],
    *,
    duration_s: float,
    spin: Spin | None,
    counted_turns: float | None,
) -> Motion:
    """Find the crank's motion from the recording's own sound.

    Parameters
    ----------
    bank : BandBank
    geometries : sequence of BearingGeometry
        Bearings it may be, likeliest first.
    duration_s : float
        Length of the recording [s].
    spin : {'hand', 'pedal', 'steady'} or None
        How the crank was turned; told by the level if None.
    counted_turns : float or None
        Turns of the whole spin counted by eye; they set the scale.

    Returns
    -------
    Motion
        Source 'turns' with a count, else 'sound', whose scale is never known. Without
        a beat the motion is a rough one, and `beat` is None.

    Raises
    ------
    MotionError
        No turning can be heard, or it is too short.
    """
    turning = find_turning(bank)
    if turning is None:
        raise MotionError(f"a recording of {duration_s:.1f} s is too short to tell a crank's speed", hint=LONGER)
    faint = turning.nats < LEAST_NATS
    if turning.stop_s - turning.start_s < SHORTEST_S:
        raise (
            _nothing_heard()
            if faint
            else MotionError(
                f"the crank turns for {turning.stop_s - turning.start_s:.1f} s only, too short to tell its speed",
                hint=LONGER,
            )
        )
    guess = _best_guess(bank, turning, spin, duration_s)
    heard = guess.chance <= DETECTION_CHANCE
    if faint and not heard:
        raise _nothing_heard()
    times_s, rate = _whole_course(guess, turning)
    made = _between(times_s, rate, guess.levels.start_s, guess.levels.stop_s)
    share = made / float(rate[-1])
    readings: tuple[Reading, ...] = ()
    if heard:
        readings = read_beat(
            guess.levels,
            guess.course.angle,
            guess.course.beat.beats,
            geometries,
            start_share=_start_share(guess.course),
            counted_turns=None if counted_turns is None else counted_turns * share,
        )
    turns, error = _scaled(readings, made_share=share, counted=counted_turns, lasting_s=times_s[-1] - times_s[0])
    source: SpeedSourceCode = "sound" if counted_turns is None else "turns"
    return Motion(
        times_s=times_s,
        turns=rate / rate[-1] * turns,
        source=source,
        spin=_spin(guess),
        relative_uncertainty=error,
        scale_known=counted_turns is not None,
        still=still_parts(
            duration_s,
            turning.start_s,
            float(max(times_s[-1], turning.stop_s)),
            before_s=0.2,
            after_s=1.5 if guess.coasting else 0.3,
        ),
        beat=HeardBeat(guess.chance, readings) if heard else None,
    )


def _nothing_heard() -> MotionError:
    return MotionError(
        "no turning can be heard: the level never rises and falls as a crank's does, and nothing beats",
        hint=LONGER,
    )


def _best_guess(bank: BandBank, turning: Turning, spin: Spin | None, duration_s: float) -> Guess:
    """The course that fits how the crank was turned; both where neither what was said nor the level tells."""
    said = {"hand": [_coast], "pedal": [_cadence], "steady": [_cadence]}
    if spin is not None:
        ways = said[spin]
    elif turning.lead >= CLEAR_LEAD:
        ways = [_coast if turning.course == "coast" else _cadence]
    else:
        ways = [_coast, _cadence]
    return min((way(bank, turning, duration_s) for way in ways), key=lambda guess: guess.chance)


def _coast(bank: BandBank, turning: Turning, duration_s: float) -> Guess:
    start_s = turning.start_s + PUSH_S + LATE_S
    levels = beat_levels(bank, start_s, min(duration_s, max(turning.stop_s + PAST_S, start_s + 1.5)))
    prior = partial(nats_of_coasts, bank, levels.start_s, levels.stop_s)
    course = find_coast(levels, prior)
    chance = chance_of_coast(course.beat.surprise)
    if chance > DETECTION_CHANCE:
        course = usual_coast(prior, course.beat)
    return Guess(course, chance, levels, coasting=True)


def _cadence(bank: BandBank, turning: Turning, duration_s: float) -> Guess:
    start_s = turning.start_s + (PUSH_S if turning.start_s > LATE_S else 0.0)
    levels = beat_levels(bank, start_s, min(duration_s, max(turning.stop_s, start_s + 1.5)))
    course = find_cadence(levels)
    chance = chance_of_cadence(course.beat.surprise)
    if chance > DETECTION_CHANCE:
        course = Course(TIME.copy(), np.full(TIME.size, 0.1), course.beat)
    return Guess(course, chance, levels, coasting=False)


def _whole_course(guess: Guess, turning: Turning) -> tuple[Floats, Floats]:
    """Times and angle from the push to where the crank all but stands; the angle's scale is that of the course."""
    levels, course = guess.levels, guess.course
    times_s = np.linspace(levels.start_s, levels.stop_s, max(64, round(levels.duration_s / 0.01)) + 1)
    angle = np.interp(times_s, levels.start_s + TIME * levels.duration_s, course.angle)
    first_hz = _start_share(course) / levels.duration_s
    still = np.diff(angle) < 0.01 * first_hz * (times_s[1] - times_s[0])
    last = int(still.argmax()) if still.any() else angle.size - 1
    times_s, angle = times_s[: last + 1], angle[: last + 1]
    before_s = np.arange(turning.start_s + 0.01, levels.start_s - 0.005, 0.01)
    if turning.start_s < LATE_S or before_s.size == 0:
        return times_s, angle - angle[0]
    up = np.clip((before_s - turning.start_s) / PUSH_S, 0, 1)
    pushed = first_hz * (PUSH_S * up**2 / 2 + np.maximum(before_s - turning.start_s - PUSH_S, 0.0))
    whole = first_hz * (PUSH_S / 2 + levels.start_s - turning.start_s - PUSH_S)
    return np.concatenate([before_s, times_s]), np.concatenate([pushed, whole + angle]) - pushed[0]


def _start_share(course: Course) -> float:
    """Speed at the start over the mean."""
    reach = TIME.size // 32
    return float(course.angle[reach] / TIME[reach])


def _between(times_s: Floats, rate: Floats, start_s: float, stop_s: float) -> float:
    first, last = np.interp([start_s, stop_s], times_s, rate)
    return float(last - first)


def _scaled(
    readings: Sequence[Reading], *, made_share: float, counted: float | None, lasting_s: float
) -> tuple[float, float]:
    """Turns of the whole motion, and how far off they may be, nine times in ten, over the turns."""
    fitting = sum(reading.probability for reading in readings)
    if readings and fitting > 0.5:
        best = readings[0].turns
        away = sorted((abs(reading.turns / best - 1), reading.probability / fitting) for reading in readings)
        reached = np.cumsum([probability for _, probability in away])
        farthest = away[min(int(np.searchsorted(reached, 0.9)), len(away) - 1)][0]
        error = COURSE_ERROR if farthest < ALIKE else farthest + COURSE_ERROR
        return best / made_share, error
    if counted is not None:
        return counted, math.hypot(COUNTED_WRONG / counted, COURSE_ERROR if readings else ROUGH_ERROR)
    return USUAL_MEAN_HZ * lasting_s, 1.0


def _spin(guess: Guess) -> Spin:
    if guess.coasting:
        return "hand"
    speed = np.diff(guess.course.angle[::32])
    return "steady" if float(speed.std() / speed.mean()) < STEADY else "pedal"
