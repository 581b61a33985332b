"""The only module of the project that a plugin may import.

It offers the objects that travel down the chain, the core numerics a plugin
may want, the errors it may raise and the marker for its hooks. What is listed
here keeps its meaning while the first number of `API_VERSION` stays.
"""

from __future__ import annotations

import pluggy

from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.dsp.levels.background import LEAST_STILL_S, block_levels_db, still_parts, turning_part
from acoustic.dsp.levels.filterbank import BandBank, band_bank
from acoustic.dsp.levels.following import Contrast, fast_over_slow, noise_steps, turning_over_still
from acoustic.dsp.orders.evidence import PartEvidence
from acoustic.dsp.orders.healthy import DETECTION_CHANCE, healthy_db
from acoustic.dsp.quality import (
    QUIETEST,
    bandwidth_hz,
    clipped_share,
    gaps,
    out_of_range,
    sounding_level,
    wrapped_share,
)
from acoustic.dsp.tacho.pulses import also_heard, find_pulses, is_same_sound, is_unmistakable
from acoustic.dsp.tacho.ticks import find_ticks, tick_onsets
from acoustic.dsp.tacho.train import MarkTrain
from acoustic.dsp.tacholess.alignment import ClockSetting, set_clock
from acoustic.dsp.transients import (
    find_clicks,
    follows_crank,
    more_than_expected,
    near_clicks,
    off_beat,
    plain_clicks,
    regularity,
    rhythm,
)
from acoustic.errors import InputError, MotionError
from acoustic.model import (
    CONDITIONS,
    Bearing,
    Drivetrain,
    Evidence,
    Finding,
    HeardDrivetrain,
    Hearing,
    Motion,
    Problem,
    Recording,
    Sound,
    SpeedRequest,
    Step,
)
from acoustic.plugin.hookspecs import API_VERSION, PROJECT
from acoustic.speed.from_marks import motion_from_marks, motion_from_train
from acoustic.speed.kind import kind_of_spin
from acoustic.speed.tacholess import motion_by_ear

hookimpl = pluggy.HookimplMarker(PROJECT)

__all__ = [
    "API_VERSION",
    "CONDITIONS",
    "DETECTION_CHANCE",
    "LEAST_STILL_S",
    "QUIETEST",
    "BandBank",
    "Bearing",
    "BearingGeometry",
    "ClockSetting",
    "Contrast",
    "Drivetrain",
    "Evidence",
    "Finding",
    "HeardDrivetrain",
    "Hearing",
    "InputError",
    "MarkTrain",
    "Motion",
    "MotionError",
    "PartEvidence",
    "Problem",
    "Recording",
    "Sound",
    "SpeedRequest",
    "Step",
    "also_heard",
    "band_bank",
    "bandwidth_hz",
    "block_levels_db",
    "clipped_share",
    "defect_orders",
    "fast_over_slow",
    "find_clicks",
    "find_pulses",
    "find_ticks",
    "follows_crank",
    "gaps",
    "healthy_db",
    "hookimpl",
    "is_same_sound",
    "is_unmistakable",
    "kind_of_spin",
    "more_than_expected",
    "motion_by_ear",
    "motion_from_marks",
    "motion_from_train",
    "near_clicks",
    "noise_steps",
    "off_beat",
    "out_of_range",
    "plain_clicks",
    "regularity",
    "rhythm",
    "set_clock",
    "sounding_level",
    "still_parts",
    "tick_onsets",
    "turning_over_still",
    "turning_part",
    "wrapped_share",
]
