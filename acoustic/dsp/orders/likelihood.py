"""How much likelier a whitened bin is where a line stands than where none does.

A strong line counts for more, but not without bound. Were every line capped at a few nats, the part with the
most sidebands would win everywhere; unbounded, one line of something else would decide. So the null
distribution has a heavy tail, and all lines of a part are of one class of strength.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats

Nats = NDArray[np.float32]

# Under no line: nearly exponential, its floor only so well known, and now and then a line of something else. More
# than healthy recordings of two generators show where nothing is meant (tests/calibration/order_lines.py: 1.6 % of
# bins past 4, where exp(-4) is 1.8 % and this law 4.1 %), since rooms and rigs hold lines that no generator made:
# judgement.
NULL_SHAPE = 12.0
# What stands in bins without any line, talk and tones included: printed by tests/calibration/order_lines.py.
STRAY_SHARE, STRAY_FROM, STRAY_TAIL = 0.01, 4.0, 1.5
# Strengths of lines over the floor: one class for all lines of a defect, spread evenly in the logarithm within.
CLASSES = (4.0, 25.0, 160.0, 1000.0)
# Judgement: lines of one train scatter by a factor of five about their class, tried at nine places.
CLASS_SPREAD, CLASS_POINTS = 5.0, 9
PRESENT, SIDE_PRESENT = 0.85, 0.3  # that a main line, and a sideband, of a defect stands; judgement
# The table in which the ratio is looked up; read with interpolation (judgement).
STEPS_AN_OCTAVE, LOWEST_OCTAVE, HIGHEST_OCTAVE = 16, -6, 24


@dataclass(frozen=True, slots=True)
class LineTables:
    """Log likelihood ratios [nats] of bins, tabled over the logarithm of their power.

    Attributes
    ----------
    main, side : ndarray, shape (classes, k)
        Of a line that is usually there, and of a sideband that may be.
    """

    main: Nats
    side: Nats


@cache
def line_tables() -> LineTables:
    """Table the log likelihood ratio of one bin for every class of strength.

    Returns
    -------
    LineTables

    Notes
    -----
    With a line of strength s the bin is exponential with mean 1 + s (chi-square with two
    degrees of freedom, as a line of unknown height in noise); s is spread evenly in
    the logarithm about its class. Without one the density is a generalised Pareto law
    near the exponential, with a small share of lines of something else, so that no
    single line decides: strength speaks, but softly.
    """
    power = 2.0 ** (
        np.arange(LOWEST_OCTAVE * STEPS_AN_OCTAVE, HIGHEST_OCTAVE * STEPS_AN_OCTAVE + 1) / STEPS_AN_OCTAVE
    )
    stray = np.where(power > STRAY_FROM, STRAY_TAIL * STRAY_FROM**STRAY_TAIL * power ** (-STRAY_TAIL - 1), 0.0)
    null = (1 - STRAY_SHARE) * (1 + power / NULL_SHAPE) ** (-NULL_SHAPE - 1) + STRAY_SHARE * stray
    ratios = []
    for middle in CLASSES:
        mean = 1 + middle * np.geomspace(1 / CLASS_SPREAD, CLASS_SPREAD, CLASS_POINTS)[:, np.newaxis]
        ratios.append(np.mean(np.exp(-power / mean) / mean, axis=0) / null)
    ratio = np.array(ratios)
    return LineTables(
        main=np.log(1 - PRESENT + PRESENT * ratio).astype(np.float32),
        side=np.log(1 - SIDE_PRESENT + SIDE_PRESENT * ratio).astype(np.float32),
    )


def table_index(power: Floats) -> NDArray[np.intp]:
    """Place of whitened powers in the tables.

    Parameters
    ----------
    power : ndarray
        > 0, any shape.

    Returns
    -------
    ndarray
        Same shape.
    """
    octaves = np.log2(np.clip(power, 2.0**LOWEST_OCTAVE, 2.0**HIGHEST_OCTAVE))
    places: NDArray[np.intp] = np.rint((octaves - LOWEST_OCTAVE) * STEPS_AN_OCTAVE).astype(np.intp)
    return places
