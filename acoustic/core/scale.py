"""What a beat of open scale may be: which part of the bearing makes it, and so how far the crank turns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.core.beat import PADDING, BeatLevels, beat_spectrum, usual_floor
from acoustic.core.geometry import BearingGeometry, DefectOrders, defect_orders
from acoustic.core.lines import SMEAR, erlang_surprise
from acoustic.core.spectra import tempered

Floats = NDArray[np.float64]

# Rings fail far more often than balls (common practice); a cage beats too slowly to be found without an angle.
PARTS = {"outer_raceway": 0.44, "inner_raceway": 0.44, "ball": 0.12}
FIRST_CANDIDATE = 1.5  # the likeliest ball count over each of the others
USUAL_HZ, HZ_SPREAD = 1.7, 0.4  # speed of a crank let go, and the spread of its logarithm
MODULATED = 0.7  # share of defects on a moving part that the load marks once a turn, or a cage turn
# Balls lag behind rolling by a few tenths of a per cent, hand-spun or not (from memory: Randall and Antoni 2011).
SLIP = {"outer_raceway": -0.003, "inner_raceway": 0.0025, "ball": -0.003}
SIDE_HARMONICS = 5
FAMILY_HARMONICS = 4
BY_LUCK = 4.0  # nats that the best of a few groups of bands reaches with nothing there
MOST_NATS = 9.0  # that one kind of evidence may give
# Counted by eye: half a turn is read off easily, and now and then one is missed.
COUNT_ERROR, COUNT_SLIP, SLIP_SHARE = 0.35, 1.0, 0.15
UNFIT = 0.02  # share of beats that no part of the assumed bearing makes


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read a beat whose scale is open.

    Attributes
    ----------
    part : str
        'outer_raceway', 'inner_raceway' or 'ball'.
    balls : int
        Ball count of the bearing it is read with.
    turns : float
        Turns of the crank that it makes of the beats.
    probability : float
        Among all readings, 0 to 1.
    """

    part: str
    balls: int
    turns: float
    probability: float


def read_beat(
    levels: BeatLevels,
    angle: Floats,
    beats: float,
    geometries: Sequence[BearingGeometry],
    *,
    start_share: float,
    counted_turns: float | None,
) -> tuple[Reading, ...]:
    """Weigh what a beat may be, by its sidebands, by the other parts' beats beside it, and by a count of turns.

    Parameters
    ----------
    levels : BeatLevels
    angle : ndarray, shape (k,)
        Course of the speed, from 0 to 1 over the part, at equal steps of time.
    beats : float
        Beats in the part.
    geometries : sequence of BearingGeometry
        Bearings it may be, likeliest first.
    start_share : float
        Speed at the start of the part over its mean.
    counted_turns : float or None
        Turns of the part counted by eye.

    Returns
    -------
    tuple of Reading
        Likeliest first. The probabilities sum to 1, less what is left for a beat that
        none of these bearings makes.
    """
    weight = _line_weights(levels, angle, beats)
    nats: list[tuple[float, Reading]] = []
    for number, geometry in enumerate(geometries):
        orders = defect_orders(geometry)
        for part, share in PARTS.items():
            turns = beats / (getattr(orders, part) * (1 + SLIP.get(part, 0.0)))
            speed_hz = start_share * turns / levels.duration_s
            value = math.log(share * (FIRST_CANDIDATE if number == 0 else 1.0) / len(geometries))
            value -= 0.5 * (math.log(speed_hz / USUAL_HZ) / HZ_SPREAD) ** 2
            value += _own_nats(weight, beats, part, orders, geometry.turning)
            value += _family_nats(weight, beats, part, orders)
            if counted_turns is not None:
                value += math.log(_count_chance(turns, counted_turns))
            nats.append((value, Reading(part, geometry.balls, turns, 0.0)))
    top = max(value for value, _ in nats)
    # A beat of no known part may be at any scale.
    unfit = math.log(UNFIT) - (math.log(counted_turns) if counted_turns is not None else 0.0)
    whole = sum(math.exp(value - top) for value, _ in nats) + math.exp(min(50.0, unfit - top))
    readings = [
        Reading(reading.part, reading.balls, reading.turns, math.exp(value - top) / whole)
        for value, reading in nats
    ]
    return tuple(sorted(readings, key=lambda reading: -reading.probability))


def part_chances(readings: Sequence[Reading]) -> dict[str, float]:
    """Probability of each part, over all ball counts, the likeliest first."""
    chances: dict[str, float] = {}
    for reading in readings:
        chances[reading.part] = chances.get(reading.part, 0.0) + reading.probability
    return dict(sorted(chances.items(), key=lambda item: -item[1]))


def _count_chance(turns: float, counted: float) -> float:
    """Density of a count by eye, given the turns made."""
    off = turns - counted
    near = math.exp(-0.5 * (off / COUNT_ERROR) ** 2) / COUNT_ERROR
    far = math.exp(-0.5 * (off / COUNT_SLIP) ** 2) / COUNT_SLIP
    return ((1 - SLIP_SHARE) * near + SLIP_SHARE * far) / math.sqrt(2 * math.pi) + 1e-30


def _line_weights(levels: BeatLevels, angle: Floats, beats: float) -> Floats:
    """Powers over the floor about them, shape (groups, m), at quarter events in the part."""
    most = beats * (SIDE_HARMONICS + 1.5)
    time = np.linspace(0, 1, angle.size)
    power = beat_spectrum(levels, angle, most_beats=most)
    floor = usual_floor(levels, [time, time**0.8, time**1.25, angle], most_beats=most)
    weight = power / floor
    # Under a strong line the floor is raised about it: sidebands are set against the median of their beat.
    size = round(beats * PADDING)
    for harmonic in range(1, SIDE_HARMONICS + 1):
        around = slice(round((harmonic - 0.5) * size), round((harmonic + 0.5) * size))
        local = np.median(weight[:, around], axis=1, keepdims=True) / math.log(2)
        weight[:, around] /= np.maximum(1.0, local)
    return weight


def _lines_nats(weight: Floats, places: Floats) -> float:
    """Surprise of lines at given events in the part, in the group of bands where it is highest."""
    index = np.rint(places * PADDING).astype(np.intp)
    index = index[(index > 2) & (index < weight.shape[1])]
    if index.size == 0:
        return 0.0
    return float(erlang_surprise(index.size, tempered(weight[:, index]).sum(axis=1)).max())


def _spoken(surprise: float) -> float:
    """Nats for a reading that expects these lines in most cases, against one that does not."""
    return min(MOST_NATS, math.log((1 - MODULATED) + MODULATED * math.exp(min(60.0, surprise - BY_LUCK))))


def _own_nats(weight: Floats, beats: float, part: str, orders: DefectOrders, turning: str) -> float:
    """What the lines tell that only this part would raise: sidebands, and every second strike of a ball."""
    order = getattr(orders, part)
    harmonic = np.arange(1.0, SIDE_HARMONICS + 1)
    if part == "ball":
        half = _lines_nats(weight, (harmonic - 0.5) * beats)
        side = orders.cage / order
        sides = _lines_nats(weight, np.concatenate([harmonic + side, harmonic - side]) * beats)
        return _spoken(max(half, sides))
    if part == f"{turning}_raceway":
        return _spoken(_lines_nats(weight, np.concatenate([harmonic + 1 / order, harmonic - 1 / order]) * beats))
    return 0.0


def _family_nats(weight: Floats, beats: float, part: str, orders: DefectOrders) -> float:
    """What a second beat tells, at the rate of the other ring: worn and rusty bearings carry both."""
    other = {"outer_raceway": "inner_raceway", "inner_raceway": "outer_raceway"}.get(part)
    if other is None:
        return 0.0
    left = _without_own(weight, beats)
    ratio = getattr(orders, other) / getattr(orders, part)
    harmonic: Floats = np.arange(1.0, FAMILY_HARMONICS + 1)
    found = max(_lines_nats(left, harmonic * beats * ratio * (1 + slip)) for slip in np.linspace(-0.01, 0.01, 9))
    lucky = np.quantile(
        [_lines_nats(left, harmonic * beats * ratio * (1 + off)) for off in np.linspace(-0.12, 0.12, 49)], 0.95
    )
    return min(MOST_NATS, max(0.0, found - float(lucky) - BY_LUCK))


def _without_own(weight: Floats, beats: float) -> Floats:
    """The weights with what noise gives on average in place of the beat's own lines."""
    left = weight.copy()
    for harmonic in range(1, int(weight.shape[1] / PADDING / beats) + 1):
        reach = 3.0 + SMEAR * harmonic * beats
        low, high = (round((harmonic * beats + side * reach) * PADDING) for side in (-1, 1))
        left[:, max(0, low) : high] = 1.0
    return left
