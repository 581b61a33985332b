"""The only module of the project that a plugin may import.

It offers the objects that travel down the chain, the numerics that more than one plugin
wants, the errors a plugin may raise and the marker for its hooks. What is listed here
keeps its meaning while the first number of the API version stays. A name is loaded when
it is taken, so that a module of options alone stays quick to import.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from acoustic.conditions import Condition, Rule
    from acoustic.dsp.arrays import binomial_tail, running_median
    from acoustic.dsp.geometry import defect_orders
    from acoustic.dsp.levels.background import block_levels_db, still_parts, turning_part
    from acoustic.dsp.levels.filterbank import BandBank, band_bank
    from acoustic.dsp.orders.evidence import PartEvidence
    from acoustic.dsp.orders.healthy import DETECTION_CHANCE, healthy_db
    from acoustic.dsp.quality import out_of_range
    from acoustic.dsp.tacho.pulses import also_heard, find_pulses, is_same_sound, is_unmistakable
    from acoustic.dsp.tacho.ticks import find_ticks, tick_onsets
    from acoustic.dsp.tacho.train import MarkTrain
    from acoustic.dsp.tacholess.alignment import ClockAlignment, align_clock
    from acoustic.dsp.transients import Clicks, find_clicks, near_clicks, regularity
    from acoustic.errors import InputError, MotionError
    from acoustic.model import Evidence, Features, Finding, Motion, Problem, Recording, Sound, SpeedRequest
    from acoustic.plugin.hookspecs import hookimpl
    from acoustic.plugin.options import Option
    from acoustic.speed.from_marks import motion_from_marks, motion_from_train
    from acoustic.speed.kind import kind_of_spin
    from acoustic.speed.tacholess import tacholess_motion
    from acoustic.typed import number_in, seconds_in

__all__ = [
    "DETECTION_CHANCE",
    "BandBank",
    "Clicks",
    "ClockAlignment",
    "Condition",
    "Evidence",
    "Features",
    "Finding",
    "InputError",
    "MarkTrain",
    "Motion",
    "MotionError",
    "Option",
    "PartEvidence",
    "Problem",
    "Recording",
    "Rule",
    "Sound",
    "SpeedRequest",
    "align_clock",
    "also_heard",
    "band_bank",
    "binomial_tail",
    "block_levels_db",
    "defect_orders",
    "find_clicks",
    "find_pulses",
    "find_ticks",
    "healthy_db",
    "hookimpl",
    "is_same_sound",
    "is_unmistakable",
    "kind_of_spin",
    "motion_from_marks",
    "motion_from_train",
    "near_clicks",
    "number_in",
    "out_of_range",
    "regularity",
    "running_median",
    "seconds_in",
    "still_parts",
    "tacholess_motion",
    "tick_onsets",
    "turning_part",
]

# Where each name comes from: the imports above, for running programs.
_HOMES = {
    "acoustic.conditions": ("Condition", "Rule"),
    "acoustic.dsp.arrays": ("binomial_tail", "running_median"),
    "acoustic.dsp.geometry": ("defect_orders",),
    "acoustic.dsp.levels.background": ("block_levels_db", "still_parts", "turning_part"),
    "acoustic.dsp.levels.filterbank": ("BandBank", "band_bank"),
    "acoustic.dsp.orders.evidence": ("PartEvidence",),
    "acoustic.dsp.orders.healthy": ("DETECTION_CHANCE", "healthy_db"),
    "acoustic.dsp.quality": ("out_of_range",),
    "acoustic.dsp.tacho.pulses": ("also_heard", "find_pulses", "is_same_sound", "is_unmistakable"),
    "acoustic.dsp.tacho.ticks": ("find_ticks", "tick_onsets"),
    "acoustic.dsp.tacho.train": ("MarkTrain",),
    "acoustic.dsp.tacholess.alignment": ("ClockAlignment", "align_clock"),
    "acoustic.dsp.transients": ("Clicks", "find_clicks", "near_clicks", "regularity"),
    "acoustic.errors": ("InputError", "MotionError"),
    "acoustic.model": (
        "Evidence",
        "Finding",
        "Features",
        "Motion",
        "Problem",
        "Recording",
        "Sound",
        "SpeedRequest",
    ),
    "acoustic.plugin.hookspecs": ("hookimpl",),
    "acoustic.plugin.options": ("Option",),
    "acoustic.speed.from_marks": ("motion_from_marks", "motion_from_train"),
    "acoustic.speed.kind": ("kind_of_spin",),
    "acoustic.speed.tacholess": ("tacholess_motion",),
    "acoustic.typed": ("number_in", "seconds_in"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    """Load a name when it is first taken."""
    if name not in _HOME_OF:
        raise AttributeError(f"acoustic.api offers no {name!r}")
    value = getattr(importlib.import_module(_HOME_OF[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
