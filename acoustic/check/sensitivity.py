"""What a recording in which nothing is found would have shown: test defects put into its levels, and sought."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from acoustic.check.features import TACHOLESS, TRAIN_SPREAD
from acoustic.dsp.arrays import NINE_IN_TEN
from acoustic.dsp.geometry import defect_orders
from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.dsp.orders.injection import StruckRing, with_test_defect, with_test_strikes
from acoustic.dsp.orders.ranking import part_chance
from acoustic.dsp.orders.spectrum import order_spectra
from acoustic.errors import MotionError
from acoustic.model import Features
from acoustic.speed.tacholess import tacholess_motion

# Weakest first. Of defects at -18 dB nine in ten are found, at -20 dB two, in healthy recordings of two generators
# (tests/calibration/clean_witnesses.py).
TRIED_DB = (-18.0, -16.0, -14.0)
TRIED_TACHOLESS_DB = TRIED_DB[-1:]  # each search for the motion takes as long as the first one
# Any: the same recording always gives the same answer.
SEED = 11


def would_have_found(features: Features) -> float | None:
    """Weakest severity tried at which a test defect is found on the outer ring and on the inner [dB].

    Parameters
    ----------
    features : Features
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
    geometry = features.bearing.geometry
    orders = defect_orders(geometry)
    inner_turns = geometry.turning == "inner"
    outer = StruckRing(orders.outer_raceway, geometry.balls, turns_with_crank=not inner_turns)
    inner = StruckRing(orders.inner_raceway, geometry.balls, turns_with_crank=inner_turns)
    if features.motion.source in TACHOLESS and features.motion.impact_train is None:
        return _weakest(partial(_keeps_time, features, outer), TRIED_TACHOLESS_DB)
    reached = [_weakest(partial(found_in_angle, features, ring), TRIED_DB) for ring in (outer, inner)]
    found = [severity_db for severity_db in reached if severity_db is not None]
    return max(found) if len(found) == len(reached) else None


def _weakest(found: Callable[[float], bool], tried_db: Sequence[float]) -> float | None:
    """The first severity that is found; None where none is."""
    return next((severity_db for severity_db in tried_db if found(severity_db)), None)


def found_in_angle(features: Features, ring: StruckRing, severity_db: float) -> bool:
    """Whether the judge of lines finds a test defect where the crank's angle is known."""
    levels = with_test_defect(features.levels, ring, severity_db, np.random.default_rng(SEED))
    motion = features.motion
    spectra = order_spectra(
        levels.compressed,
        turns=levels.turns,
        groups=features.spectra.groups,
        highest_order=float(features.spectra.orders[-1]),
    )
    spread = motion.relative_uncertainty / NINE_IN_TEN if motion.impact_train is None else TRAIN_SPREAD
    turning = ring.turns_with_crank == (features.bearing.geometry.turning == "inner")
    part = "inner_raceway" if turning else "outer_raceway"
    bearing = features.bearing
    chance = part_chance(spectra, bearing.geometry, part, speed_spread=spread, rows=bearing.rows)
    return chance <= DETECTION_CHANCE


def _keeps_time(features: Features, ring: StruckRing, severity_db: float) -> bool:
    """Whether the search for the crank's motion finds a test defect's strikes."""
    motion, rng = features.motion, np.random.default_rng(SEED)
    bank = with_test_strikes(features.bank, motion.times_s, motion.turns, ring, severity_db, rng)
    try:
        heard = tacholess_motion(
            bank,
            features.bearing.candidates,
            duration_s=features.recording.duration_s,
            spin=motion.spin,
            counted_turns=motion.total_turns,
        )
    except MotionError:
        return False
    return heard.impact_train is not None and heard.impact_train.chance <= DETECTION_CHANCE
