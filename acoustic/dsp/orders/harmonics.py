"""Sets of harmonics in whitened order spectra: how much likelier the bins are with a set of lines than without.

Where damage is told from waviness the strongest two harmonics do not count: waviness raises a line or two,
damage many.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats
from acoustic.dsp.orders.likelihood import line_tables, table_index
from acoustic.dsp.orders.spectrum import OrderSpectra

Nats = NDArray[np.float32]
Indices = NDArray[np.intp]

HARMONICS = 10  # judgement: strikes of 5 to 20 ms, 50 to 300 ms apart, raise about as many
MULTIPLES = tuple(range(1, HARMONICS + 1))  # every harmonic
TRIMMED = 2  # a healthy ring's waviness raises a line or two, damage raises many
BASES_A_LINE = (
    1.5  # base orders tried, over the turns and the highest multiple, which moves by half its width between two
)
AT_ONCE = 256  # bases summed at once, so that the sums stay in the processor's cache
REACH = 2.6  # standard deviations of the order that are searched


@dataclass(frozen=True, slots=True, kw_only=True)
class HarmonicSet:
    """Where the lines of one kind of defect are expected.

    Attributes
    ----------
    name : str
        The part it speaks for.
    order : float
        Expected base order, > 0.
    offsets : tuple of float
        Where about every harmonic it may raise sidebands [orders, signed].
    spread : float
        How far the order may lie off, over the order, one standard deviation.
    slip_share : float
        By how much the order grows, over itself, as the cage's fraction grows by a share of itself.
    balls : int
        Ball count that the order was computed with; 0 where it plays no part.
    locked : bool
        Teeth hold it to the crank: it cannot slip, and no healthy one is wavy.
    whole : bool
        It strikes a whole number of times a turn, and must stand out from what else sounds at fixed angles.
    tried : int
        Sets of which it is the best.
    multiples : tuple of int
        Of the base order, that are looked at.
    with_cage : bool
        Its base is the cage's order.
    row_spread : float
        How far the orders of two rows of balls lie apart, over the order, one standard deviation; 0 of one row.
    """

    name: str
    order: float
    offsets: tuple[float, ...] = ()
    spread: float = 0.005
    slip_share: float = 0.0
    balls: int = 0
    locked: bool = False
    whole: bool = False
    tried: int = 1
    multiples: tuple[int, ...] = MULTIPLES
    with_cage: bool = False
    row_spread: float = 0.0


class BaseScores:
    """Log Bayes factors of a set of harmonics at a row of base orders, each worked out when it is asked for.

    Parameters
    ----------
    bases : ndarray, shape (k,)
    ways : sequence of (ndarray, ndarray)
        Nats of bins or lines, shape (m, groups), for every class of strength, with and without sidebands; and
        which of them are the set's harmonics, shape (harmonics, k).
    whole, trimmed : ndarray, shape (ways, k, groups)
        Their sums over the harmonics, and over all but the strongest two.
    """

    def __init__(self, bases: Floats, ways: Sequence[tuple[Nats, Indices]], whole: Nats, trimmed: Nats) -> None:
        self.bases, self._ways, self._whole, self._trimmed = bases, ways, whole, trimmed

    @cached_property
    def whole(self) -> Floats:
        """Nats of all harmonics, averaged over ways and groups, shape (k,)."""
        return _averaged(self._whole)

    @cached_property
    def trimmed(self) -> Floats:
        """The same of all but the strongest two."""
        return _averaged(self._trimmed)

    def clearest(self, base: int) -> tuple[int, int]:
        """The group in which a base scores highest, and how many main lines speak for the set there."""
        way, group = divmod(int(self._whole[:, base].argmax()), self._whole.shape[2])
        nats, rows = self._ways[way]
        return group, int(np.count_nonzero(nats[rows[:, base], group] > 0))


class LineEvidence:
    """The bins of order spectra as places in the tables of log likelihood ratios.

    Parameters
    ----------
    spectra : OrderSpectra
    """

    def __init__(self, spectra: OrderSpectra) -> None:
        self.turns, self.step, self.size = spectra.turns, spectra.step, spectra.orders.size
        self.groups = len(spectra.groups)
        # Bins in rows, since a search gathers whole rows, which lie together in memory; the last one, past the
        # highest order, is where nothing is known.
        self._index = np.ascontiguousarray(table_index(spectra.power).T)
        self._made: dict[tuple[str, int], Nats] = {}

    def scores(
        self, bases: Floats, offsets: Sequence[float] = (), *, multiples: Sequence[int] = MULTIPLES
    ) -> BaseScores:
        """Score harmonics, with and without sidebands, at given base orders.

        Parameters
        ----------
        bases : ndarray, shape (k,)
            > 0.
        offsets : sequence of float
            Of the sidebands about every harmonic [orders, signed].
        multiples : sequence of int
            Of the base orders, that are looked at.

        Returns
        -------
        BaseScores

        Notes
        -----
        A train is modulated or it is not: either way has the same prior. Sidebands are taken no stronger
        than the class below their main line, and together count for no more than it does: a
        modulation without a carrier is none.
        """
        places = np.rint(np.multiply.outer(np.array(multiples), bases) / self.step).astype(np.intp)
        places = np.minimum(places, self.size)
        ways: list[tuple[Nats, Indices]] = []
        for number in range(len(line_tables().main)):
            ways.append((self._nats("main", number), places))
            if offsets:
                ways.append(self._modulated(number, [round(offset / self.step) for offset in offsets], places))
        shape = (len(ways), bases.size, self.groups)
        whole, trimmed = np.empty(shape, dtype=np.float32), np.empty(shape, dtype=np.float32)
        for number, (nats, rows) in enumerate(ways):
            _sum_up(nats, rows, whole[number], trimmed[number])
        return BaseScores(bases, ways, whole, trimmed)

    def _modulated(self, number: int, shifts: Sequence[int], places: Indices) -> tuple[Nats, Indices]:
        """Nats of lines with their sidebands, and which rows of them the places are.

        Of all bins where most of them are asked for, else of those places alone.
        """
        main, side = self._nats("main", number), self._nats("side", max(0, number - 1))
        if places.size > self.size:
            beside = np.zeros_like(main)
            for shift in shifts:
                _add_shifted(beside, side, shift)
            rows = places
        else:
            main = main[places.ravel()]
            beside = np.zeros_like(main)
            for shift in shifts:
                shifted = places.ravel() + shift
                known = (shifted >= 0) & (shifted < self.size) & (places.ravel() < self.size)
                beside += side[np.where(known, shifted, self.size)]
            rows = np.arange(places.size).reshape(places.shape)
        return main + np.minimum(beside, np.maximum(main, 0)), rows

    def _nats(self, kind: Literal["main", "side"], number: int) -> Nats:
        """Nats of every bin, and none where nothing is known, shape (m + 1, groups)."""
        made = self._made.get((kind, number))
        if made is None:
            made = np.zeros((self.size + 1, self.groups), dtype=np.float32)
            np.take(getattr(line_tables(), kind)[number], self._index, out=made[:-1])
            self._made[kind, number] = made
        return made


def _add_shifted(total: Nats, rows: Nats, shift: int) -> None:
    """Add to every bin the one that lies `shift` bins above."""
    if shift > 0:
        total[:-shift] += rows[shift:]
    elif shift < 0:
        total[-shift:-1] += rows[: shift - 1]


def _sum_up(nats: Nats, places: Indices, total: Nats, trimmed: Nats) -> None:
    """Sum over harmonics, and the same less the strongest of them, into arrays of shape (k, groups)."""
    for first in range(0, places.shape[1], AT_ONCE):
        some = slice(first, first + AT_ONCE)
        summed, left = total[some], trimmed[some]
        strongest = [np.zeros_like(summed) for _ in range(TRIMMED)]
        line, passed = np.empty_like(summed), np.empty_like(summed)
        summed[:] = 0
        for row in places[:, some]:
            np.take(nats, row, axis=0, out=line, mode="clip")
            summed += line
            for rank in strongest[:-1]:
                np.minimum(rank, line, out=passed)
                np.maximum(rank, line, out=rank)
                line, passed = passed, line
            np.maximum(strongest[-1], line, out=strongest[-1])
        left[:] = summed
        for rank in strongest:
            left -= rank


def log_prior(order: float, spread: float, bases: Floats) -> Floats:
    """Normal log prior of base orders about an order, of the relative spread; sums to 1.

    Parameters
    ----------
    order : float
    spread : float
        Relative standard deviation, > 0.
    bases : ndarray, shape (k,)

    Returns
    -------
    ndarray, shape (k,)
    """
    prior: Floats = -0.5 * ((bases / order - 1) / spread) ** 2
    return prior - log_sum(prior)


def bases_about(order: float, spread: float, turns: float, *, highest: int = HARMONICS) -> Floats:
    """Base orders to try about an order, dense enough that its highest multiple is not missed."""
    reach = REACH * spread * order
    half = max(1, math.ceil(reach * BASES_A_LINE * highest * turns))
    return order + reach * np.linspace(-1, 1, 2 * half + 1)


def log_sum(nats: Floats) -> float:
    """ln of the sum of exponentials."""
    top = float(nats.max())
    return top + math.log(float(np.exp(nats - top).sum()))


def _averaged(nats: Nats) -> Floats:
    """ln of the mean over classes and groups, of shape (classes, k, groups)."""
    top = nats.max(axis=(0, 2))
    mean = np.exp(nats - top[np.newaxis, :, np.newaxis]).mean(axis=(0, 2))
    averaged: Floats = (top + np.log(mean)).astype(np.float64)
    return averaged


def null_centres(orders: Sequence[float], *, low: float, high: float, count: int, gap: float) -> Floats:
    """Base orders at which no part has a line: they tell what a search finds by luck in this very recording.

    Parameters
    ----------
    orders : sequence of float
        Orders to stay clear of, with their halves and doubles.
    low, high : float
        Range.
    count : int
        How many are wanted.
    gap : float
        Least distance, over the order.

    Returns
    -------
    ndarray, shape (<= count,)
        Where the parts leave little room, the places farthest from any.
    """
    spots = np.geomspace(low, high, 4 * count)
    near = np.array([order * share for order in orders for share in (0.5, 1.0, 2.0)] or [1e-9])
    clear = np.min(np.abs(spots[:, np.newaxis] / near[np.newaxis, :] - 1), axis=1)
    free = spots[clear > gap]
    if free.size < count // 2:
        free = np.sort(spots[np.argsort(-clear)[: count // 2]])
    chosen: Floats = free[np.unique(np.linspace(0, free.size - 1, min(count, free.size)).astype(np.intp))]
    return chosen
