"""What a recording in which nothing is found would have shown: test defects put into its levels, and sought."""

from __future__ import annotations

from functools import partial

import numpy as np

from acoustic.by_ear import motion_by_ear
from acoustic.core.geometry import defect_orders
from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.dsp.orders.injection import StruckRing, with_test_defect, with_test_strikes
from acoustic.dsp.orders.ranking import part_chance
from acoustic.dsp.orders.spectrum import order_spectra
from acoustic.errors import MotionError
from acoustic.listen import BEAT_SPREAD, BY_EAR, NINE_IN_TEN
from acoustic.model import Hearing

TRIED_DB = (-16.0, -14.0)  # weakest first; below -16 dB half of all defects are missed, see the benchmark
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
    crank's angle is known by ear and nothing was heard that keeps its time, what has to find it is the search for
    a train of impacts; it asks for no more of one ring than of the other, and is tried on the outer alone.
    """
    geometry = hearing.bearing.geometry
    orders = defect_orders(geometry)
    inner_turns = geometry.turning == "inner"
    outer = StruckRing(orders.outer_raceway, geometry.balls, turns_with_crank=not inner_turns)
    inner = StruckRing(orders.inner_raceway, geometry.balls, turns_with_crank=inner_turns)
    by_ear = hearing.motion.source in BY_EAR and hearing.motion.beat is None
    sought = (
        [partial(_keeps_time, hearing, outer)] if by_ear else [partial(_found, hearing, r) for r in (outer, inner)]
    )
    reached = []
    for found in sought:
        weakest = next((severity_db for severity_db in TRIED_DB if found(severity_db)), None)
        if weakest is None:
            return None
        reached.append(weakest)
    return max(reached)


def _found(hearing: Hearing, ring: StruckRing, severity_db: float) -> bool:
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
