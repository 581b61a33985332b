"""Where each part of a bearing would raise lines, all tied by one cage.

One cage fraction and one error of the speed tie all parts: where one was found, the others have little room.
"""

from __future__ import annotations

import math
from dataclasses import replace

from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.dsp.orders.harmonics import HARMONICS, HarmonicSet

PARTS = ("outer_raceway", "inner_raceway", "ball", "cage")
# A cage lags behind rolling by some tenths of a per cent, 1 % happens (common practice), and catalogues round.
SLIP_SPREAD = 0.006
BALL_SPREAD = 0.005  # a ball's spin follows the contact angle too, which preload moves
FOUND_SPREAD = 0.0008  # of the order at which a clear part was found
# A cage that strikes shows them all; a ball that differs, or is damaged, those near its own order.
CAGE_HARMONICS = 8


def part_sets(geometry: BearingGeometry, *, speed_spread: float) -> tuple[HarmonicSet, ...]:
    """List the sets of harmonics of every part of a bearing.

    Parameters
    ----------
    geometry : BearingGeometry
    speed_spread : float
        Relative uncertainty of the speed, one standard deviation.

    Returns
    -------
    tuple of HarmonicSet
        One a part, in the order of `PARTS`. One cage fraction f ties them: the standing ring strikes
        Z f times a turn, the turning one Z (1 - f) times; what slip adds to one it takes from the other.
    """
    orders = defect_orders(geometry)
    cage = orders.cage
    turning = f"{geometry.turning}_raceway"
    both = [sign * side for side in (cage, 2 * cage, 3 * cage) for sign in (1, -1)]
    offsets = {
        turning: (1.0, -1.0, 2.0, -2.0, 1 - cage, cage - 1),
        "ball": (*both[:4], -orders.ball / 2),
        "cage": (),
    }
    shares = {turning: -cage / (1 - cage)}
    sets = []
    for part in PARTS:
        share = shares.get(part, 1.0)
        own = math.hypot(SLIP_SPREAD * share, BALL_SPREAD if part == "ball" else 0.0)
        sets.append(
            HarmonicSet(
                name=part,
                order=getattr(orders, part),
                offsets=offsets.get(part, tuple(both)),
                spread=math.hypot(own, speed_spread),
                slip_share=share,
                balls=geometry.balls,
                harmonics=CAGE_HARMONICS if part == "cage" else HARMONICS,
            )
        )
    return tuple(sets)


def cage_seen(harmonic_set: HarmonicSet, order: float, cage: float) -> float:
    """The cage's order as a part found off its computed place has it."""
    return cage * (1 + (order / harmonic_set.order - 1) / harmonic_set.slip_share)


def tied(harmonic_set: HarmonicSet, one: HarmonicSet, order: float, *, speed_spread: float) -> HarmonicSet:
    """Where another part is to be expected once one was found: slip and speed are the same for all.

    Both are normal; what the found order says of their sum is shared out between them by their variances.
    """
    if one.locked or harmonic_set.locked:
        return harmonic_set
    off = order / one.order - 1
    slip, speed = SLIP_SPREAD**2, speed_spread**2
    own = {name: BALL_SPREAD**2 if name == "ball" else 0.0 for name in (one.name, harmonic_set.name)}
    known = one.slip_share**2 * slip + speed + FOUND_SPREAD**2 + own[one.name]
    common = one.slip_share * harmonic_set.slip_share * slip + speed
    variance = harmonic_set.slip_share**2 * slip + speed - common**2 / known
    spread = math.sqrt(max(variance, 0.0) + FOUND_SPREAD**2 + own[harmonic_set.name])
    return replace(harmonic_set, order=harmonic_set.order * (1 + common / known * off), spread=spread)
