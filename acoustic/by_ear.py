"""Motion from the sound alone: the run-down or the cadence that makes the bearing's own impacts most periodic."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from acoustic.core.clicks import find_clicks, plain_clicks
from acoustic.core.envelope import BandBank
from acoustic.core.geometry import BearingGeometry, defect_orders
from acoustic.core.still import still_parts
from acoustic.dsp.levels.turning import Turning, find_turning, likely_coast
from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.dsp.tacholess.coast_down import PUSH_S, coast_angle
from acoustic.dsp.tacholess.hypothesis import Reading, read_train
from acoustic.dsp.tacholess.impact_levels import impact_levels
from acoustic.dsp.tacholess.train_search import FoundTrain, find_train
from acoustic.dsp.transients import ClickingCoast, clicking_coast
from acoustic.errors import MotionError
from acoustic.model import HeardBeat, Motion, SpeedSourceCode, Spin

Floats = NDArray[np.float64]

LEAST_NATS = 3.0  # less, and a room's own changes of level would do
LEAST_CLICK_NATS = 12.0  # of clicks that run down; tests/calibration/event_nulls.py
SHORTEST_S = 2.5
STEP_S = 0.01
COURSE_ERROR = 0.02  # of the speed, nine times in ten, where a train of impacts fixes the course
ROUGH_ERROR = 0.15  # where only the level does
ALIKE = 0.02  # readings whose turns differ by less are one scale
FITTING = 0.5  # less, and the train is none of this bearing's
COUNTED_WRONG = 0.8  # turns, nine times in ten, of a count by eye
USUAL_MEAN_HZ = 1.0
SLOWEST_DRIVEN_HZ = 0.45  # turns/s; nobody pedals at 27 turns a minute, while clocks tick at such rates
AFTER_COAST_S, AFTER_DRIVE_S, BEFORE_S = 1.5, 0.3, 0.2  # kept clear of what turns
LONGER = (
    "Record one whole spin with the phone a hand's width from the bearing, from two still seconds before the push "
    "until two seconds after the crank stands; a card that clicks once a turn (--ticks), a film (--film) or the "
    "turns' times (--marks) tell the speed where the bearing is quiet."
)


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
    source: SpeedSourceCode = "sound" if counted_turns is None else "turns"
    train = find_train(impact_levels(bank), coasting=None if spin is None else spin == "hand")
    if train is None or train.chance > DETECTION_CHANCE:
        return _by_level(bank, duration_s, spin, counted_turns, source)
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
        beat=HeardBeat(train.chance, readings),
    )


def _require_a_crank(train: FoundTrain, geometries: Sequence[BearingGeometry], spin: Spin | None) -> None:
    """Refuse what keeps time as no crank does that is turned by hand or foot."""
    if train.coasting or spin is not None:
        return
    rate_hz = float(train.impacts[-1] / (train.times_s[-1] - train.times_s[0]))
    fewest = min((defect_orders(geometry).outer_raceway for geometry in geometries), default=0.0)
    if train.even or rate_hz < SLOWEST_DRIVEN_HZ * fewest:
        raise MotionError(
            f"something strikes {rate_hz:.1f} times a second, as evenly as a clock or a motor; no crank that is "
            "turned by hand or foot does",
            hint="If a motor turns the crank, give its speed with --speed, or say --spin steady. Else stop what "
            f"ticks, and record again. {LONGER}",
        )


def _by_level(
    bank: BandBank, duration_s: float, spin: Spin | None, counted_turns: float | None, source: SpeedSourceCode
) -> Motion:
    """A rough motion where no train of impacts is heard: by dirt's clicks, or by the running noise's level."""
    turning = find_turning(bank)
    clicking = (
        clicking_coast(plain_clicks(find_clicks(bank)).times_s, duration_s) if spin in (None, "hand") else None
    )
    # Of two witnesses the surer one: talk and automatic gain move the level, but make no clicks that run down.
    if clicking is not None and clicking.nats > max(LEAST_CLICK_NATS, turning.nats if turning else 0.0):
        return _by_clicks(clicking, duration_s, counted_turns, source)
    if turning is None or turning.nats < LEAST_NATS:
        raise MotionError(
            "no turning can be heard: the level never rises and falls as a crank's does, and nothing beats",
            hint=LONGER,
        )
    lasting_s = turning.stop_s - turning.start_s
    if lasting_s < SHORTEST_S:
        raise MotionError(f"the crank turns for {lasting_s:.1f} s only, too short to tell its speed", hint=LONGER)
    coasting = turning.course == "coast" if spin is None else spin == "hand"
    times_s, turned = _level_course(bank, turning, coasting)
    turns, error = _scaled((), counted=counted_turns, lasting_s=float(times_s[-1] - times_s[0]))
    return Motion(
        times_s=times_s,
        turns=turned / turned[-1] * turns,
        source=source,
        spin=spin or ("hand" if coasting else "pedal"),
        relative_uncertainty=error,
        scale_known=counted_turns is not None,
        still=_still(duration_s, np.array([turning.start_s, max(times_s[-1], turning.stop_s)]), coasting=coasting),
    )


def _by_clicks(
    clicking: ClickingCoast, duration_s: float, counted_turns: float | None, source: SpeedSourceCode
) -> Motion:
    """A rough motion where only dirt tells when the crank turns."""
    times_s = np.arange(clicking.start_s, min(clicking.stop_s - STEP_S, duration_s), STEP_S)
    turned = coast_angle(times_s, clicking.stop_s, clicking.drag_per_s)
    turns, error = _scaled((), counted=counted_turns, lasting_s=float(times_s[-1] - times_s[0]))
    return Motion(
        times_s=times_s,
        turns=turned / turned[-1] * turns,
        source=source,
        spin="hand",
        relative_uncertainty=error,
        scale_known=counted_turns is not None,
        still=_still(duration_s, times_s, coasting=True),
    )


def _level_course(bank: BandBank, turning: Turning, coasting: bool) -> tuple[Floats, Floats]:
    """Times and angle, from the push until the crank stands; its scale is open."""
    if not coasting:
        times_s = np.arange(turning.start_s, turning.stop_s, STEP_S)
        return times_s, times_s - times_s[0]
    stop_s, drag = likely_coast(bank, turning)
    times_s = np.arange(turning.start_s + PUSH_S, min(stop_s - STEP_S, bank.duration_s), STEP_S)
    angle = coast_angle(times_s, stop_s, drag)
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
