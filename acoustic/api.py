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
    both_chances,
    crank_chance,
    find_clicks,
    follows_crank,
    more_than_expected,
    near_clicks,
    off_beat,
    regularity,
    rhythm,
)
from acoustic.core.drivetrain import DriveOrder
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
from acoustic.core.lines import Backdrop, Comb, Match, backdrop, match_comb
from acoustic.core.notch import Swell, swells
from acoustic.core.phase_lock import Locked, locked_bursts
from acoustic.core.pulses import also_heard, find_pulses, is_same_sound, is_unmistakable
from acoustic.core.quality import QUIETEST, bandwidth_hz, clipped_share, gaps, sounding_level
from acoustic.core.repair import MarkTrain
from acoustic.core.rings import PartEvidence
from acoustic.core.roughness import flicker
from acoustic.core.sound_bearing import DETECTION_CHANCE, chance_of_events, chance_of_flicker
from acoustic.core.spectra import OrderSpectra
from acoustic.core.still import OverRoom, block_levels_db, still_parts, turning_part
from acoustic.core.stray import StrayBeat
from acoustic.core.ticks import find_ticks, tick_onsets
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
    "Backdrop",
    "BandBank",
    "Bearing",
    "BearingGeometry",
    "Clicks",
    "ClockSetting",
    "Comb",
    "DefectOrders",
    "DriveOrder",
    "Drivetrain",
    "Evidence",
    "Finding",
    "HeardDrivetrain",
    "Hearing",
    "InputError",
    "Locked",
    "MarkTrain",
    "Match",
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
    "StrayBeat",
    "Stretch",
    "Swell",
    "also_heard",
    "backdrop",
    "band_bank",
    "bandwidth_hz",
    "block_levels_db",
    "both_chances",
    "chance_of_events",
    "chance_of_flicker",
    "clipped_share",
    "crank_chance",
    "defect_orders",
    "find_clicks",
    "find_pulses",
    "find_ticks",
    "flicker",
    "follow_arm",
    "follows_crank",
    "gaps",
    "gyro_limit_deg",
    "hookimpl",
    "is_same_sound",
    "is_unmistakable",
    "kind_of_spin",
    "locked_bursts",
    "longest_gap_s",
    "match_comb",
    "more_than_expected",
    "motion_by_ear",
    "motion_from_marks",
    "motion_from_train",
    "near_clicks",
    "off_beat",
    "regularity",
    "rhythm",
    "rotation_about_axis",
    "running_level",
    "set_clock",
    "share_off_axis",
    "sounding_level",
    "still_parts",
    "still_within",
    "swells",
    "tick_onsets",
    "turning_part",
    "turning_stretches",
    "turns_made",
]
