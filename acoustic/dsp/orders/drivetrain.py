"""Chain, jockey wheel and hub: orders from tooth counts, and harmonics that compete with the bearing's parts.

What a chain turns is locked to the crank; a ball pass is off by its slip. That, and the lines of a jockey wheel
between a part's own, tell them apart. Where they do not, nothing is said of the bearing. The mesh lies on a
whole order, where clicks at fixed angles raise lines too, so it is measured against other whole orders. A wheel
that turns once or twice a crank turn cannot be told from the legs and is not looked for. Without tooth counts
the chainring is searched for in any spin but one by hand.

When the limits were set, `tests/bench/bench_drivetrain.py` called 160 of 160 drivetrains as loud as a defect
drivetrain and nothing else (120 of them were looked at meanwhile); beside one of its own strength a damaged
outer ring was named in 39 of 40, an inner ring, or a ball in its place, in 32 of 35.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from acoustic.dsp.orders.harmonics import HarmonicSet, LineEvidence, bases_about, log_sum
from acoustic.dsp.orders.spectrum import OrderSpectra

# Teeth that bicycles have (common practice); past them a number was mistyped.
CHAINRING_TEETH = (20, 70)
SPROCKET_TEETH = (8, 60)  # made for bicycles (from memory), with room to spare
JOCKEY_TEETH = (8, 20)  # the same
# Teeth cannot slip, but the angle is only known so well between its marks.
LOCKED_SPREAD = 0.0004
WIDEST_SPREAD = 0.004  # of the speed; wider, a wheel may take a ball pass's lines, which slip (judgement)
AS_THE_LEGS = 0.05  # of an order: nearer to a whole order a wheel is taken for locked to the crank (judgement)
UNKNOWN_TEETH = (20, 60)  # chainrings looked for by ear


@dataclass(frozen=True, slots=True)
class DriveOrder:
    """How often a part of the drivetrain comes round or strikes.

    Attributes
    ----------
    part : str
        'chain', 'jockey', 'hub' or 'pedal'.
    order : float
        Times a crank turn.
    derivation : str
        How it follows from the tooth counts.
    """

    part: str
    order: float
    derivation: str


def drive_orders(
    chainring: int, *, sprocket: int | None = None, jockey: int | None = None
) -> tuple[DriveOrder, ...]:
    """Compute the orders of the drivetrain from its tooth counts.

    Parameters
    ----------
    chainring, sprocket, jockey : int
        Teeth, > 0; None where not known.

    Returns
    -------
    tuple of DriveOrder

    Notes
    -----
    From a chain's geometry, one link a tooth: over a turn of the crank R links pass
    every wheel in the chain's way, and a wheel of N teeth turns R / N times. Pedals
    turn once a crank turn on their axles, whatever the teeth.
    """
    orders = [DriveOrder("chain", float(chainring), f"{chainring} links land on the chainring's teeth in a turn")]
    for part, teeth in (("jockey", jockey), ("hub", sprocket)):
        if teeth is not None:
            orders.append(DriveOrder(part, chainring / teeth, f"{chainring} links turn a wheel of {teeth} teeth"))
    return (*orders, DriveOrder("pedal", 1.0, "a pedal turns once on its axle in a turn of the crank"))


def drive_sets(orders: Sequence[DriveOrder], *, speed_spread: float) -> tuple[HarmonicSet, ...]:
    """List the sets of harmonics of the drivetrain's parts.

    Parameters
    ----------
    orders : sequence of DriveOrder
    speed_spread : float
        Relative uncertainty of the speed, one standard deviation.

    Returns
    -------
    tuple of HarmonicSet
        None for the pedals, nor for a wheel that turns as often as they or the legs push,
        once or twice a turn: what comes so is set aside before anything is weighed.
        The chain's strikes swing with the chainring's runout once a turn, and come early
        and late with the legs' push twice a turn.
    """
    spread = min(WIDEST_SPREAD, math.hypot(LOCKED_SPREAD, speed_spread))
    return tuple(
        HarmonicSet(
            name=order.part,
            order=order.order,
            offsets=(1.0, -1.0, 2.0, -2.0) if order.part == "chain" else (),
            spread=spread,
            locked=True,
            whole=order.part == "chain" or abs(order.order - round(order.order)) < AS_THE_LEGS,
        )
        for order in orders
        if min(abs(order.order - legs) for legs in (1.0, 2.0)) > AS_THE_LEGS
    )


def heard_chain(spectra: OrderSpectra, *, speed_spread: float) -> HarmonicSet:
    """Find the chainring, from 20 to 60 teeth, whose mesh is likeliest.

    Parameters
    ----------
    spectra : OrderSpectra
    speed_spread : float
        Relative uncertainty of the speed, one standard deviation.

    Returns
    -------
    HarmonicSet
        That it was searched for among all is counted in `tried`.
    """
    first, last = UNKNOWN_TEETH
    sets = drive_sets(
        [DriveOrder("chain", float(teeth), "heard") for teeth in range(first, last + 1)], speed_spread=speed_spread
    )
    evidence = LineEvidence(spectra)

    def nats(one: HarmonicSet) -> float:
        # A neighbour's sidebands take in the mesh's own line: the lines alone choose.
        return log_sum(evidence.scores(bases_about(one.order, one.spread, spectra.turns)).whole)

    return replace(max(sets, key=nats), tried=len(sets))
