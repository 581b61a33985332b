"""Order hypotheses for an impact train: which part makes it, and so how far the crank turns.

Sound alone gives no scale. A part is named only at odds of 50 to 1: by its sidebands, by the other ring's train
beside it, or by a count of turns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.geometry import BearingGeometry, DefectOrders, defect_orders
from acoustic.dsp.tacholess.impact_train import ImpactTrain, train_spectrum

# Rings fail far more often than balls (common practice); a cage strikes too slowly to be found without an angle.
# A pit of a ball meets both rings in each of its turns; where it meets one alone, half as often.
PARTS = {"outer_raceway": 0.44, "inner_raceway": 0.44, "ball": 0.08, "ball_once": 0.04}
FIRST_CANDIDATE = 1.5  # the likeliest ball count over each of the others
# Speed of a crank let go, and of one that is pedalled, and the spreads of their logarithms (judgement).
USUAL_HZ = {True: (1.7, 0.4), False: (1.25, 0.35)}
# Balls lag behind rolling by a few tenths of a per cent, hand-spun or not (from memory: Randall and Antoni 2011).
SLIP = {"outer_raceway": -0.003, "inner_raceway": 0.0025, "ball": -0.003, "ball_once": -0.003}
# Judgement: twice the slip itself, either way.
SLIP_SPREAD = 0.006
# Shares of defects that show the lines they may show (judgement: of simulated ones
# with load zones of every width 0.6 to 0.9 do).
MODULATED, PEDALLED, UNEQUAL, FAMILY = 0.7, 0.7, 0.3, 0.2
# Judgement: lines past the fifth drown where the angle is known by ear.
SIDE_HARMONICS = 5
# Judgement: as SIDE_HARMONICS; another part is fainter than the one that was found.
FAMILY_HARMONICS = 4
STRENGTHS = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0])  # of lines over their floor, each as likely
STRONGEST_LINE = 5.0  # modulation raises many lines: none of them alone may tell
CLEAR_NATS, BEYOND = 9.0, 0.3  # past so many nats of one kind of evidence, each counts for less
# Counted by eye: half a turn is read off easily, and now and then one is missed.
COUNT_ERROR, COUNT_SLIP, SLIP_SHARE = 0.4, 1.0, 0.04
UNFIT = 0.02  # share of trains that no part of the assumed bearing makes


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read a train of impacts whose scale is open.

    Attributes
    ----------
    part : str
        'outer_raceway', 'inner_raceway' or 'ball'.
    balls : int
        Ball count of the bearing it is read with.
    turns : float
        Turns of the crank that it makes of the impacts, over the whole motion.
    probability : float
        Among all readings, 0 to 1.
    """

    part: str
    balls: int
    turns: float
    probability: float


def read_train(
    train: ImpactTrain,
    geometries: Sequence[BearingGeometry],
    *,
    coasting: bool,
    whole_impacts: float,
    counted_turns: float | None,
) -> tuple[Reading, ...]:
    """Weigh what a train of impacts may be: by its sidebands, by the other ring's lines, by a count of turns.

    Parameters
    ----------
    train : ImpactTrain
    geometries : sequence of BearingGeometry
        Bearings it may be, likeliest first.
    coasting : bool
        Let go, rather than driven.
    whole_impacts : float
        Impacts that the whole motion makes, push and last slow turn counted in.
    counted_turns : float or None
        Turns of the whole motion counted by eye.

    Returns
    -------
    tuple of Reading
        Likeliest first. The probabilities sum to 1, less what is left for a train that
        none of these bearings makes.

    Notes
    -----
    Under no line a power over its floor is exponential with mean 1, under a line of
    strength s with mean 1 + s; the strength is integrated over, common to all lines
    of one kind. An inner ring's strikes pass the load once a turn, a ball's once a
    cage turn, pedalling slows and hastens all of them twice a turn; an outer ring
    that stands still shows none of these when the crank is let go.
    """
    spectrum = train_spectrum(train, highest=SIDE_HARMONICS + 1.0)
    weight = np.minimum(spectrum.power, STRONGEST_LINE)
    usual_hz, spread = USUAL_HZ[coasting]
    nats: list[tuple[float, Reading]] = []
    for number, geometry in enumerate(geometries):
        orders = defect_orders(geometry)
        for part, share in PARTS.items():
            order = _order(orders, part) * (1 + SLIP[part])
            turns = whole_impacts / order
            value = math.log(share * (FIRST_CANDIDATE if number == 0 else 1.0) / len(geometries))
            value -= 0.5 * (math.log(train.fastest_hz / order / usual_hz) / spread) ** 2
            value += _sideband_nats(weight, spectrum.step, part, order, orders, geometry.turning, coasting)
            value += _family_nats(weight, spectrum.step, part, order, orders)
            if counted_turns is not None:
                value += math.log(_count_density(turns, counted_turns))
            nats.append((value, Reading(part.removesuffix("_once"), geometry.balls, turns, 0.0)))
    top = max(value for value, _ in nats)
    # A train of no known part may be at any scale.
    unfit = math.log(UNFIT) - (math.log(counted_turns) if counted_turns is not None else 0.0)
    whole = sum(math.exp(value - top) for value, _ in nats) + math.exp(min(50.0, unfit - top))
    readings = [replace(reading, probability=math.exp(value - top) / whole) for value, reading in nats]
    return tuple(sorted(readings, key=lambda reading: -reading.probability))


def part_chances(readings: Sequence[Reading]) -> dict[str, float]:
    """Probability of each part, over all ball counts, the likeliest first."""
    chances: dict[str, float] = {}
    for reading in readings:
        chances[reading.part] = chances.get(reading.part, 0.0) + reading.probability
    return dict(sorted(chances.items(), key=lambda item: -item[1]))


def _order(orders: DefectOrders, part: str) -> float:
    if part == "ball_once":
        return orders.ball / 2
    order: float = getattr(orders, part)
    return order


def _count_density(turns: float, counted: float) -> float:
    """Density of a count by eye, given the turns made."""
    off = turns - counted
    near = math.exp(-0.5 * (off / COUNT_ERROR) ** 2) / COUNT_ERROR
    far = math.exp(-0.5 * (off / COUNT_SLIP) ** 2) / COUNT_SLIP
    return ((1 - SLIP_SHARE) * near + SLIP_SHARE * far) / math.sqrt(2 * math.pi) + 1e-30


def _lines_nats(weight: Floats, step: float, places: Floats, share: float) -> float:
    """Nats for lines at given places [1/impact], which a share of such trains show."""
    index = np.rint(places / step).astype(np.intp)
    index = index[(index > 2) & (index < weight.size)]
    if index.size == 0:
        return 0.0
    power = weight[index]
    likelihood = (power[:, np.newaxis] * STRENGTHS / (1 + STRENGTHS) - np.log1p(STRENGTHS)).sum(axis=0)
    nats = math.log(1 - share + share * float(np.mean(np.exp(np.minimum(likelihood, 300.0)))))
    return nats if nats < CLEAR_NATS else CLEAR_NATS + BEYOND * (nats - CLEAR_NATS)


def _sideband_nats(
    weight: Floats,
    step: float,
    part: str,
    order: float,
    orders: DefectOrders,
    turning: str,
    coasting: bool,
) -> float:
    """What the lines tell that only this part would raise at this scale."""
    harmonic = np.arange(1.0, SIDE_HARMONICS + 1)

    def beside(distance: float) -> Floats:
        return np.concatenate([harmonic + distance, harmonic - distance])

    value = 0.0
    if not coasting:
        value += _lines_nats(weight, step, beside(2 / order), PEDALLED)
    if part.startswith("ball"):
        return value + _lines_nats(
            weight, step, np.append(beside(orders.cage / order), orders.cage / order), MODULATED
        )
    # Balls differ, so that a ring's strikes repeat with the same ball: after as many impacts as there are balls.
    value += _lines_nats(weight, step, beside(orders.cage / orders.outer_raceway), UNEQUAL)
    if part == f"{turning}_raceway":
        return value + _lines_nats(weight, step, np.append(beside(1 / order), [1 / order, 2 / order]), MODULATED)
    return value


def _family_nats(weight: Floats, step: float, part: str, order: float, orders: DefectOrders) -> float:
    """What the other ring's lines tell: worn and rusty bearings carry both, and healthy rings are wavy."""
    other = {"outer_raceway": "inner_raceway", "inner_raceway": "outer_raceway"}.get(part)
    if other is None:
        return 0.0
    ratio = _order(orders, other) * (1 + SLIP[other]) / order
    harmonic = np.arange(1.0, FAMILY_HARMONICS + 1)
    # Where a line falls on one of the train's own it tells nothing.
    apart = np.abs(harmonic * ratio - np.rint(harmonic * ratio)) > 0.06
    slips = np.linspace(-2 * SLIP_SPREAD, 2 * SLIP_SPREAD, 9)
    prior = np.exp(-0.5 * (slips / SLIP_SPREAD) ** 2)
    nats = [_lines_nats(weight, step, harmonic[apart] * ratio * (1 + slip), FAMILY) for slip in slips]
    return math.log(float(np.exp(nats) @ prior / prior.sum()))
