"""Where each part of a bearing would raise lines, all tied by one cage.

One cage fraction and one error of the speed tie all parts: where one was found, the others have little room.
"""

from __future__ import annotations

import math
from dataclasses import replace

from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.dsp.orders.harmonics import MULTIPLES, HarmonicSet

PARTS = ("outer_raceway", "inner_raceway", "ball", "cage")
# A cage lags behind rolling by some tenths of a per cent, 1 % happens (common practice), and catalogues round.
SLIP_SPREAD = 0.006
# Two rows share the load unequally, so that each has a contact angle and a slip of its own: from 0 to 30
# degrees the standing ring's order of a 6805 grows by 1.7 % (geometry); a third of it as one standard deviation
# is judgement.
ROW_SPREAD = 0.005
BALL_SPREAD = 0.005  # a ball's spin follows the contact angle too, which preload moves
FOUND_SPREAD = 0.0008  # of the order at which a clear part was found
CAGE_HARMONICS = 8  # a cage that strikes shows them all
# A damaged ball raises the first ones, since its load comes round with the cage, and those about its own spin and
# about twice that, where its spot meets either ring.
BALL_LOAD_HARMONICS = 3
BALL_SPINS = (1, 2)  # a damaged ball meets one ring or both in a spin


def part_sets(geometry: BearingGeometry, *, speed_spread: float, rows: int = 1) -> tuple[HarmonicSet, ...]:
    """List the sets of harmonics of every part of a bearing.

    Parameters
    ----------
    geometry : BearingGeometry
    speed_spread : float
        Relative uncertainty of the speed, one standard deviation.
    rows : {1, 2}
        Rows of balls: of two, each has its own slip and contact angle.

    Returns
    -------
    tuple of HarmonicSet
        In the order of `PARTS`, two of the ball. One cage fraction f ties them: the standing ring strikes
        Z f times a turn, the turning one Z (1 - f) times; what slip adds to one it takes from the other.

    Notes
    -----
    A ball that spins freely strikes twice a spin, and its sidebands lie a cage's order apart. One that comes
    into the load at the same angle each time it comes round, or that is loaded there alone, strikes in the
    cage's time: its lines are multiples of the cage's order, the first ones and those nearest to its spin.
    """
    orders = defect_orders(geometry)
    cage = orders.cage
    turning = f"{geometry.turning}_raceway"
    both = [sign * side for side in (cage, 2 * cage, 3 * cage) for sign in (1, -1)]
    offsets = {
        turning: (1.0, -1.0, 2.0, -2.0, 1 - cage, cage - 1),
        "ball": (*both[:4], -orders.ball / 2),
    }
    shares = {turning: -cage / (1 - cage)}
    sets = []
    apart = ROW_SPREAD if rows == 2 else 0.0
    cage_multiples = tuple(range(1, CAGE_HARMONICS + 1))
    ways = [(part, cage_multiples if part == "cage" else MULTIPLES, part == "cage") for part in PARTS]
    ways.insert(PARTS.index("ball") + 1, ("ball", _carried_multiples(orders.ball / 2 / cage), True))
    for part, multiples, with_cage in ways:
        share = shares.get(part, 1.0)
        own = math.hypot(SLIP_SPREAD * share, _spin_spread(part, with_cage), apart)
        sets.append(
            HarmonicSet(
                name=part,
                order=cage if with_cage else getattr(orders, part),
                offsets=() if with_cage else offsets.get(part, tuple(both)),
                spread=math.hypot(own, speed_spread),
                slip_share=share,
                balls=geometry.balls,
                multiples=multiples,
                with_cage=with_cage,
                row_spread=apart,
            )
        )
    return tuple(sets)


def _carried_multiples(spins: float) -> tuple[int, ...]:
    """Multiples of the cage's order that a ball raises which keeps its pace, by the ball's spins a cage turn."""
    spun = [round(k * spins, 6) for k in BALL_SPINS]  # a whole number, but for rounding, has no second neighbour
    nearest = {whole for turns in spun for whole in (math.floor(turns), math.ceil(turns))}
    return tuple(sorted(nearest.union(range(1, BALL_LOAD_HARMONICS + 1))))


def _spin_spread(part: str, with_cage: bool) -> float:
    """How far an order lies off by the ball's own spin, over the order."""
    return BALL_SPREAD if part == "ball" and not with_cage else 0.0


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
    own, wanted = (_spin_spread(s.name, s.with_cage) ** 2 + s.row_spread**2 for s in (one, harmonic_set))
    known = one.slip_share**2 * slip + speed + FOUND_SPREAD**2 + own
    common = one.slip_share * harmonic_set.slip_share * slip + speed
    variance = harmonic_set.slip_share**2 * slip + speed - common**2 / known
    spread = math.sqrt(max(variance, 0.0) + FOUND_SPREAD**2 + wanted)
    return replace(harmonic_set, order=harmonic_set.order * (1 + common / known * off), spread=spread)
