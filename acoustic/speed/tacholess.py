"""Motion from the sound alone: the run-down or the cadence that makes the bearing's own impacts most periodic."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.dsp.levels.background import still_parts
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.dsp.tacholess.coast_down import PUSH_S, coast_angle
from acoustic.dsp.tacholess.hypothesis import Reading, read_train
from acoustic.dsp.tacholess.impact_levels import ImpactLevels, impact_levels
from acoustic.dsp.tacholess.train_search import FoundTrain, find_train
from acoustic.dsp.tacholess.turning import Turning, find_busy_coast, find_turning, likely_coast
from acoustic.errors import MotionError
from acoustic.model import HeardTrain, Motion, Spin

LEAST_NATS = 3.0  # less, and a room's own changes of level would do
# Impacts that die away: healthy bearings reach 9 nats at most, sounds without a crank that begin and last
# as a spin does 9 as well; 12 of 14 gritty bearings of two generators reach 15 to 37.
LEAST_BUSY = 12.0
# As much stillness as counts (LEAST_STILL_S), and a spin that lasts three turns at the usual speed.
LEAST_BEFORE_S, SHORTEST_SPIN_S = 0.3, 3.0
# One segment of the search (SEGMENT_S in acoustic/dsp/tacholess/periodicity.py).
SHORTEST_S = 2.5
# Resolution: the speed changes far more slowly.
STEP_S = 0.01
COURSE_ERROR = 0.02  # of the speed, nine times in ten, where a train of impacts fixes the course
ROUGH_ERROR = 0.15  # where only the level does
ALIKE = 0.02  # readings whose turns differ by less are one scale
FITTING = 0.5  # less, and the train is none of this bearing's
COUNTED_WRONG = 0.8  # turns, nine times in ten, of a count by eye
# Judgement; only where the scale is open, and then said with an uncertainty of as much.
USUAL_MEAN_HZ = 1.0
SLOWEST_DRIVEN_HZ = 0.45  # turns/s; nobody pedals at 27 turns a minute, while clocks tick at such rates
AFTER_COAST_S, AFTER_DRIVE_S, BEFORE_S = 1.5, 0.3, 0.2  # kept clear of what turns
LONGER = (
    "Record one whole spin with the phone a hand's width from the bearing, from two still seconds before the push "
    "until two seconds after the crank stops. If the bearing is too quiet, a film (--film), a card that "
    "clicks once per turn (--ticks) or the times of the turns (--marks) tell the speed."
)


def tacholess_motion(
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
        How the crank was turned; told by the sound if None.
    counted_turns : float or None
        Turns of the whole spin counted by eye; they set the scale.

    Returns
    -------
    Motion
        Source 'turns' with a count, else 'sound', whose scale is never known. Without
        a train of impacts the motion is a rough one, and `beat` is None.

    Raises
    ------
    MotionError
        No turning can be heard, or it is too short.
    """
    if duration_s < SHORTEST_S:
        raise MotionError(f"a recording of {duration_s:.1f} s is too short to tell a crank's speed", hint=LONGER)
    source: str = "sound" if counted_turns is None else "turns"
    levels = impact_levels(bank)
    train = find_train(levels, coasting=None if spin is None else spin == "hand")
    if train is None or train.chance > DETECTION_CHANCE:
        return _by_level(bank, levels, duration_s, spin, counted_turns, source)
    _require_a_crank(train, geometries, spin)
    readings = read_train(
        train.train,
        geometries,
        coasting=train.coasting,
        whole_impacts=float(train.impacts[-1]),
        counted_turns=counted_turns,
    )
    turns, error = _scaled(readings, counted=counted_turns, lasting_s=float(train.times_s[-1] - train.times_s[0]))
    return Motion(
        times_s=train.times_s,
        turns=train.impacts / train.impacts[-1] * turns,
        source=source,
        spin=spin or ("hand" if train.coasting else "pedal"),
        relative_uncertainty=error,
        scale_known=counted_turns is not None,
        still=_still(duration_s, train.times_s, coasting=train.coasting),
        impact_train=HeardTrain(train.chance, readings),
    )


def _require_a_crank(train: FoundTrain, geometries: Sequence[BearingGeometry], spin: Spin | None) -> None:
    """Refuse a rhythm that is too even for a crank turned by hand or foot."""
    if train.coasting or spin is not None:
        return
    rate_hz = float(train.impacts[-1] / (train.times_s[-1] - train.times_s[0]))
    fewest = min((defect_orders(geometry).outer_raceway for geometry in geometries), default=0.0)
    if train.even or rate_hz < SLOWEST_DRIVEN_HZ * fewest:
        raise MotionError(
            f"something strikes {rate_hz:.1f} times a second, as evenly as a clock or a motor, which "
            "no crank that is turned by hand or foot does",
            hint="If a motor turns the crank, give its speed with --speed, or say --spin steady. Otherwise "
            f"stop whatever ticks, and record again. {LONGER}",
        )


def _by_level(
    bank: BandBank,
    levels: ImpactLevels,
    duration_s: float,
    spin: Spin | None,
    counted_turns: float | None,
    source: str,
) -> Motion:
    """A rough motion where no train of impacts is heard, but something rises and dies away as a crank does."""
    times_s, turned, coasting = _rough_course(bank, levels, duration_s, spin)
    turns, error = _scaled((), counted=counted_turns, lasting_s=float(times_s[-1] - times_s[0]))
    return Motion(
        times_s=times_s,
        turns=turned / turned[-1] * turns,
        source=source,
        spin=spin or ("hand" if coasting else "pedal"),
        relative_uncertainty=error,
        scale_known=counted_turns is not None,
        still=_still(duration_s, times_s, coasting=coasting),
    )


def _rough_course(
    bank: BandBank, levels: ImpactLevels, duration_s: float, spin: Spin | None
) -> tuple[Floats, Floats, bool]:
    """Times and angle, whose scale is open, and whether the crank coasts; refuses where nothing tells."""
    busy = find_busy_coast(levels)
    if spin in (None, "hand") and busy is not None and busy.nats >= LEAST_BUSY and _is_spin(busy):
        return *_level_course(busy, busy.stop_s, 0.0, duration_s), True
    turning = find_turning(bank)
    if turning is None or turning.nats < LEAST_NATS:
        raise MotionError(
            "no turning can be heard: the level does not rise and fall as a crank's does, and no rhythm is heard",
            hint=LONGER,
        )
    coasting = turning.course == "coast" if spin is None else spin == "hand"
    lasting_s = turning.stop_s - turning.start_s
    if lasting_s < SHORTEST_S:
        raise MotionError(f"the crank turns for {lasting_s:.1f} s only, too short to tell its speed", hint=LONGER)
    if not coasting and spin is not None:
        times_s = np.arange(turning.start_s, turning.stop_s, STEP_S)
        return times_s, times_s - times_s[0], False
    if not (coasting and _is_spin(turning)):
        # Rain, a saw or talk rise and fall too: without a push and a run-down it may be anything.
        raise MotionError(
            "no turning can be heard: neither a push with a sound that dies away after it, nor a rhythm",
            hint=LONGER,
        )
    return *_level_course(turning, *likely_coast(bank, turning), duration_s), True


def _is_spin(turning: Turning) -> bool:
    """Whether it begins within the recording, and lasts as a crank does that was let go."""
    return turning.start_s >= LEAST_BEFORE_S and turning.stop_s - turning.start_s >= SHORTEST_SPIN_S


def _level_course(turning: Turning, stop_s: float, drag_per_s: float, duration_s: float) -> tuple[Floats, Floats]:
    """Times and angle, from the push until the crank stops; its scale is open."""
    times_s = np.arange(turning.start_s + PUSH_S, min(stop_s - STEP_S, duration_s), STEP_S)
    angle = coast_angle(times_s, stop_s, drag_per_s)
    first_hz = float(angle[1] / STEP_S)
    before_s = np.arange(turning.start_s + STEP_S, times_s[0] - STEP_S / 2, STEP_S)
    pushed = first_hz * (before_s - turning.start_s) ** 2 / (2 * PUSH_S)
    return np.concatenate([before_s, times_s]), np.concatenate([pushed, first_hz * PUSH_S / 2 + angle]) - pushed[0]


def _still(duration_s: float, times_s: Floats, *, coasting: bool) -> tuple[tuple[float, float], ...]:
    return still_parts(
        duration_s,
        float(times_s[0]),
        float(times_s[-1]),
        before_s=BEFORE_S,
        after_s=AFTER_COAST_S if coasting else AFTER_DRIVE_S,
    )


def _scaled(readings: Sequence[Reading], *, counted: float | None, lasting_s: float) -> tuple[float, float]:
    """Turns of the whole motion, and how far off they may be, nine times in ten, over the turns."""
    fitting = sum(reading.probability for reading in readings)
    if readings and fitting > FITTING:
        best = readings[0].turns
        away = sorted((abs(reading.turns / best - 1), reading.probability / fitting) for reading in readings)
        reached = np.cumsum([probability for _, probability in away])
        farthest = away[min(int(np.searchsorted(reached, 0.9)), len(away) - 1)][0]
        error = COURSE_ERROR if farthest < ALIKE else farthest + COURSE_ERROR
        return best, error
    if counted is not None:
        return counted, math.hypot(COUNTED_WRONG / counted, COURSE_ERROR if readings else ROUGH_ERROR)
    return USUAL_MEAN_HZ * lasting_s, 1.0
