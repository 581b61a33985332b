"""The only module of the project that a plugin may import.

It offers the objects that travel down the chain, the core numerics a plugin
may want, the errors it may raise and the marker for its hooks. What is listed
here keeps its meaning while the first number of `API_VERSION` stays.
"""

from __future__ import annotations

import pluggy

from acoustic.core.angle import AngleLevels
from acoustic.core.clicks import (
    Clicks,
    find_clicks,
    follows_crank,
    more_than_expected,
    near_clicks,
    regularity,
    rhythm,
)
from acoustic.core.envelope import BandBank, band_bank, running_level
from acoustic.core.geometry import BearingGeometry, DefectOrders, defect_orders
from acoustic.core.lines import Backdrop, Comb, Match, backdrop, match_comb
from acoustic.core.quality import QUIETEST, bandwidth_hz, clipped_share, gaps, sounding_level
from acoustic.core.rings import PartEvidence
from acoustic.core.roughness import flicker
from acoustic.core.sound_bearing import DETECTION_CHANCE, chance_of_events, chance_of_flicker
from acoustic.core.spectra import OrderSpectra
from acoustic.core.still import OverRoom, block_levels_db, still_parts, turning_part
from acoustic.core.stray import StrayBeat
from acoustic.core.ticks import tick_train
from acoustic.errors import InputError, MotionError
from acoustic.hookspecs import API_VERSION, PROJECT
from acoustic.marks import motion_from_marks
from acoustic.model import (
    CONDITIONS,
    Bearing,
    Evidence,
    Finding,
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
    "Backdrop",
    "BandBank",
    "Bearing",
    "BearingGeometry",
    "Clicks",
    "Comb",
    "DefectOrders",
    "Evidence",
    "Finding",
    "Hearing",
    "InputError",
    "Match",
    "Motion",
    "MotionError",
    "OrderSpectra",
    "OverRoom",
    "PartEvidence",
    "Problem",
    "Recording",
    "Sound",
    "SpeedRequest",
    "Step",
    "StrayBeat",
    "backdrop",
    "band_bank",
    "bandwidth_hz",
    "block_levels_db",
    "chance_of_events",
    "chance_of_flicker",
    "clipped_share",
    "defect_orders",
    "find_clicks",
    "flicker",
    "follows_crank",
    "gaps",
    "hookimpl",
    "match_comb",
    "more_than_expected",
    "motion_from_marks",
    "near_clicks",
    "regularity",
    "rhythm",
    "running_level",
    "sounding_level",
    "still_parts",
    "tick_train",
    "turning_part",
]
