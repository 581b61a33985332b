"""What a recording in which nothing is found would have shown: test defects put into its levels, and sought."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from acoustic.check.features import BEAT_SPREAD, BY_EAR
from acoustic.dsp.arrays import NINE_IN_TEN
from acoustic.dsp.geometry import defect_orders
from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.dsp.orders.injection import StruckRing, with_test_defect, with_test_strikes
from acoustic.dsp.orders.ranking import part_chance
from acoustic.dsp.orders.spectrum import order_spectra
from acoustic.errors import MotionError
from acoustic.model import Hearing
from acoustic.speed.tacholess import motion_by_ear

# Weakest first. Of defects at -18 dB nine in ten are found, at -20 dB two, in healthy recordings of two generators
# (tests/calibration/clean_witnesses.py).
TRIED_DB = (-18.0, -16.0, -14.0)
TRIED_BY_EAR_DB = TRIED_DB[-1:]  # each search for the motion takes as long as the first one
# Any: the same recording always gives the same answer.
SEED = 11


def would_have_found(hearing: Hearing) -> float | None:
    """Weakest severity tried at which a test defect is found on the outer ring and on the inner [dB].

    Parameters
    ----------
    hearing : Hearing
        Of a recording in which nothing is found.

    Returns
    -------
    float or None
        Power of the strikes over the background level; None where none of those tried is found.

    Notes
    -----
    The defect counts as found whatever ring or ball it is put down to: it would have been looked after. Where the
    crank's angle is known from the sound alone and no impact train was found, what has to find it is the search
    for one; it asks for no more of one ring than of the other, and is tried on the outer alone.
    """
    geometry = hearing.bearing.geometry
    orders = defect_orders(geometry)
    inner_turns = geometry.turning == "inner"
    outer = StruckRing(orders.outer_raceway, geometry.balls, turns_with_crank=not inner_turns)
    inner = StruckRing(orders.inner_raceway, geometry.balls, turns_with_crank=inner_turns)
    if hearing.motion.source in BY_EAR and hearing.motion.beat is None:
        return _weakest(partial(_keeps_time, hearing, outer), TRIED_BY_EAR_DB)
    reached = [_weakest(partial(found_in_angle, hearing, ring), TRIED_DB) for ring in (outer, inner)]
    found = [severity_db for severity_db in reached if severity_db is not None]
    return max(found) if len(found) == len(reached) else None


def _weakest(found: Callable[[float], bool], tried_db: Sequence[float]) -> float | None:
    """The first severity that is found; None where none is."""
    return next((severity_db for severity_db in tried_db if found(severity_db)), None)


def found_in_angle(hearing: Hearing, ring: StruckRing, severity_db: float) -> bool:
    """Whether the judge of lines finds a test defect where the crank's angle is known."""
    levels = with_test_defect(hearing.levels, ring, severity_db, np.random.default_rng(SEED))
    motion = hearing.motion
    spectra = order_spectra(
        levels.compressed,
        turns=levels.turns,
        groups=hearing.spectra.groups,
        highest_order=float(hearing.spectra.orders[-1]),
    )
    spread = motion.relative_uncertainty / NINE_IN_TEN if motion.beat is None else BEAT_SPREAD
    turning = ring.turns_with_crank == (hearing.bearing.geometry.turning == "inner")
    part = "inner_raceway" if turning else "outer_raceway"
    return part_chance(spectra, hearing.bearing.geometry, part, speed_spread=spread) <= DETECTION_CHANCE


def _keeps_time(hearing: Hearing, ring: StruckRing, severity_db: float) -> bool:
    """Whether the search for the crank's motion finds a test defect's strikes."""
    motion, rng = hearing.motion, np.random.default_rng(SEED)
    bank = with_test_strikes(hearing.bank, motion.times_s, motion.turns, ring, severity_db, rng)
    try:
        heard = motion_by_ear(
            bank,
            hearing.bearing.candidates,
            duration_s=hearing.recording.duration_s,
            spin=motion.spin,
            counted_turns=motion.total_turns,
        )
    except MotionError:
        return False
    return heard.beat is not None and heard.beat.chance <= DETECTION_CHANCE
