"""The only module of the project that a plugin may import.

It offers the objects that travel down the chain, the core numerics a plugin
may want, the errors it may raise and the marker for its hooks. What is listed
here keeps its meaning while the first number of `API_VERSION` stays.
"""

from __future__ import annotations

import pluggy

from acoustic.by_ear import motion_by_ear
from acoustic.core.angle import AngleLevels
from acoustic.core.arm import ArmTrack, NotTracked, follow_arm
from acoustic.core.clicks import (
    Clicks,
    find_clicks,
    follows_crank,
    more_than_expected,
    near_clicks,
    off_beat,
    plain_clicks,
    regularity,
    rhythm,
)
from acoustic.core.envelope import BandBank, band_bank, running_level
from acoustic.core.geometry import BearingGeometry, DefectOrders, defect_orders
from acoustic.core.gyro import (
    Rotation,
    Stretch,
    gyro_limit_deg,
    kind_of_spin,
    longest_gap_s,
    rotation_about_axis,
    share_off_axis,
    still_within,
    turning_stretches,
    turns_made,
)
from acoustic.core.pulses import also_heard, find_pulses, is_same_sound, is_unmistakable
from acoustic.core.quality import (
    QUIETEST,
    bandwidth_hz,
    clipped_share,
    gaps,
    out_of_range,
    sounding_level,
    wrapped_share,
)
from acoustic.core.repair import MarkTrain
from acoustic.core.still import OverRoom, block_levels_db, still_parts, turning_part
from acoustic.core.ticks import find_ticks, tick_onsets
from acoustic.dsp.levels.following import Contrast, fast_over_slow, noise_steps, turning_over_still
from acoustic.dsp.orders.drivetrain import DriveOrder
from acoustic.dsp.orders.evidence import PartEvidence, Unexplained
from acoustic.dsp.orders.healthy import DETECTION_CHANCE, healthy_db
from acoustic.dsp.orders.spectrum import OrderSpectra
from acoustic.dsp.tacholess.alignment import ClockSetting, set_clock
from acoustic.errors import InputError, MotionError
from acoustic.hookspecs import API_VERSION, PROJECT
from acoustic.marks import motion_from_marks, motion_from_train
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

hookimpl = pluggy.HookimplMarker(PROJECT)

__all__ = [
    "API_VERSION",
    "CONDITIONS",
    "DETECTION_CHANCE",
    "QUIETEST",
    "AngleLevels",
    "ArmTrack",
    "BandBank",
    "Bearing",
    "BearingGeometry",
    "Clicks",
    "ClockSetting",
    "Contrast",
    "DefectOrders",
    "DriveOrder",
    "Drivetrain",
    "Evidence",
    "Finding",
    "HeardDrivetrain",
    "Hearing",
    "InputError",
    "MarkTrain",
    "Motion",
    "MotionError",
    "NotTracked",
    "OrderSpectra",
    "OverRoom",
    "PartEvidence",
    "Problem",
    "Recording",
    "Rotation",
    "Sound",
    "SpeedRequest",
    "Step",
    "Stretch",
    "Unexplained",
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
    "follow_arm",
    "follows_crank",
    "gaps",
    "gyro_limit_deg",
    "healthy_db",
    "hookimpl",
    "is_same_sound",
    "is_unmistakable",
    "kind_of_spin",
    "longest_gap_s",
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
    "rotation_about_axis",
    "running_level",
    "set_clock",
    "share_off_axis",
    "sounding_level",
    "still_parts",
    "still_within",
    "tick_onsets",
    "turning_over_still",
    "turning_part",
    "turning_stretches",
    "turns_made",
    "wrapped_share",
]
