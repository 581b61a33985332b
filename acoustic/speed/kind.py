"""Whether a crank coasts down after a push, is pedalled, or is driven."""

from __future__ import annotations

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.model import Spin

# Judgement: a motor or a lathe holds its turns to a per cent, no leg does; most turns of a coasting crank are
# slower than the one before, and the last is far slower than the quickest.
STEADY = 0.01
# Last turn over the quickest, and share of the turns slower than the one before; legs do neither for a whole
# ride.
SLOWED, SLOWING = 1.35, 0.6


def kind_of_spin(times_s: Floats, turns: Floats, *, may_be_driven: bool = True) -> Spin:
    """Tell a push that coasts down from pedalling and from a drive.

    Parameters
    ----------
    times_s, turns : ndarray, shape (k,)
        Crank angle [turns] against time [s], both strictly increasing.
    may_be_driven : bool
        False where nobody would put a motor: even turns are then pedalled.

    Returns
    -------
    {'hand', 'pedal', 'steady'}
        'steady' where whole turns take the same time to 1 per cent, the first and
        last left out; 'hand' where most turns take longer than the one before
        and the last far longer than the quickest; 'pedal' otherwise.
    """
    marks_s = np.interp(np.arange(np.ceil(turns[0]), np.floor(turns[-1]) + 1), turns, times_s)
    lasting_s = np.diff(marks_s)
    if lasting_s.size < 3:
        return "hand"
    inner_s = lasting_s[1:-1]
    if may_be_driven and np.ptp(inner_s) <= 2 * STEADY * inner_s.mean() and inner_s.size >= 2:
        return "steady"
    slowing = float(np.mean(np.diff(lasting_s) > 0))
    return "hand" if lasting_s[-1] > SLOWED * lasting_s.min() and slowing > SLOWING else "pedal"
