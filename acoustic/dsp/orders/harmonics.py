"""Sets of harmonics in whitened order spectra: how much likelier the bins are with a set of lines than without.

Where damage is told from waviness the strongest two harmonics do not count: waviness raises a line or two,
damage many.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.orders.likelihood import line_tables, table_index
from acoustic.dsp.orders.spectrum import OrderSpectra

Floats = NDArray[np.float64]
Nats = NDArray[np.float32]
Indices = NDArray[np.intp]

HARMONICS = 10
TRIMMED = 2  # a healthy ring's waviness raises a line or two, damage raises many
BASES_A_LINE = (
    15.0  # base orders tried, over the turns: the tenth harmonic moves by half its width from one to the next
)
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
    harmonics : int
        How many are looked at.
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
    harmonics: int = HARMONICS


@dataclass(frozen=True, slots=True, eq=False)
class BaseScores:
    """Log Bayes factors of a set of harmonics at a row of base orders.

    Attributes
    ----------
    bases : ndarray, shape (k,)
    whole, trimmed : ndarray, shape (k,)
        Nats of all harmonics, and of all but the strongest two; averaged over classes of strength,
        over groups of bands, and over whether the train is modulated.
    group : ndarray, shape (k,)
        Group in which each base scores highest.
    standing : ndarray, shape (k,)
        Main lines that speak for the set there.
    """

    bases: Floats
    whole: Floats
    trimmed: Floats
    group: Indices
    standing: Indices


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

    def scores(self, bases: Floats, offsets: Sequence[float] = (), *, harmonics: int = HARMONICS) -> BaseScores:
        """Score harmonics, with and without sidebands, at given base orders.

        Parameters
        ----------
        bases : ndarray, shape (k,)
            > 0.
        offsets : sequence of float
            Of the sidebands about every harmonic [orders, signed].
        harmonics : int
            How many are looked at.

        Returns
        -------
        BaseScores

        Notes
        -----
        A train is modulated or it is not: either way has the same prior. Sidebands are taken no stronger
        than the class below their main line, and together count for no more than it does: a
        modulation without a carrier is none.
        """
        places = np.rint(np.multiply.outer(np.arange(1, harmonics + 1), bases) / self.step).astype(np.intp)
        places = np.minimum(places, self.size)
        tables = line_tables()
        kept: tuple[list[Nats], list[Nats], list[Nats]] = ([], [], [])
        for number in range(len(tables.main)):
            main = self._nats("main", number)
            ways = [main]
            if offsets:
                side = self._nats("side", max(0, number - 1))
                beside = np.zeros_like(main)
                for offset in offsets:
                    _add_shifted(beside, side, round(offset / self.step))
                ways.append(main + np.minimum(beside, np.maximum(main, 0)))
            for nats in ways:
                for rows, summed in zip(kept, _sums(nats, places), strict=True):
                    rows.append(summed)
        whole, trimmed, standing = (np.stack(rows) for rows in kept)
        best = whole.transpose(1, 0, 2).reshape(bases.size, -1).argmax(axis=1)
        way, group = np.divmod(best, self.groups)
        count = standing[way, np.arange(bases.size), group].astype(np.intp)
        return BaseScores(bases, _averaged(whole), _averaged(trimmed), group, count)

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


def _sums(nats: Nats, places: Indices) -> tuple[Nats, Nats, Nats]:
    """Sum over harmonics, the same less the strongest of them, and how many lines speak for the set."""
    shape = (places.shape[1], nats.shape[1])
    total, standing = np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)
    strongest = [np.zeros(shape, dtype=np.float32) for _ in range(TRIMMED)]
    for row in places:
        line = nats[row]
        total += line
        standing += line > 0
        for rank in strongest:
            passed_down = np.minimum(rank, line)
            np.maximum(rank, line, out=rank)
            line = passed_down
    trimmed = total.copy()
    for rank in strongest:
        trimmed -= rank
    return total, trimmed, standing


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


def bases_about(order: float, spread: float, turns: float) -> Floats:
    """Base orders to try about an order, dense enough that its tenth harmonic is not missed."""
    reach = REACH * spread * order
    half = max(1, math.ceil(reach * BASES_A_LINE * turns))
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
