"""Combs of defect lines in whitened order spectra, and how surprising they are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from acoustic.core.spectra import OrderSpectra

Floats = NDArray[np.float64]

HARMONICS = (2, 3, 5, 8)
_MOST = HARMONICS[-1]
FEWEST_TRIALS = 16
SMEAR = 0.004  # share of the order over which slip spreads a line, or an angle that is only so well known
SLIP_SPREAD = 0.006  # slip of a few tenths of a per cent is usual, 1-2 % happens (Randall and Antoni, from memory)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comb:
    """Where the lines of one kind of defect are expected.

    Attributes
    ----------
    name : str
        The condition it speaks for.
    order : float
        Expected base order, > 0.
    sidebands : tuple of float
        Spacings of the sidebands [orders] that this kind of defect may carry.
    tolerance : float
        Search range either side, over the order.
    balls : int
        Ball count the order was computed with; 0 where it plays no part.
    spread : float
        How far the order usually lies off, over the order, one standard deviation.
    locked : bool
        Teeth hold it to the crank, so that it cannot slip.
    whole : bool
        It strikes a whole number of times a turn and often, and must stand out from
        what else sounds at fixed angles of the crank.
    tried : int
        Combs of which it is the best.
    """

    name: str
    order: float
    sidebands: tuple[float, ...] = ()
    tolerance: float = 0.02
    balls: int = 0
    spread: float = SLIP_SPREAD
    locked: bool = False
    whole: bool = False
    tried: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """The best fit of a comb in the spectra.

    Attributes
    ----------
    comb : Comb
    surprise : float
        -ln of the chance of the summed lines at one place under no defect.
    order : float
        Base order of the best fit.
    harmonics : int
        Harmonics summed.
    run : int
        Row of the spectra.
    with_sidebands : bool
    """

    comb: Comb
    surprise: float
    order: float
    harmonics: int
    run: int
    with_sidebands: bool


def erlang_surprise(lines: int, total: Floats) -> Floats:
    """-ln of the chance that `lines` exponential powers of mean 1 sum past `total`.

    Parameters
    ----------
    lines : int
        >= 1.
    total : ndarray
        Sums, >= 0, any shape.

    Returns
    -------
    ndarray
        Same shape; exact also where the chance underflows.

    Notes
    -----
    The sum is Erlang distributed: Q = exp(-s) sum_{j<k} s^j / j!.
    """
    j = np.arange(lines)
    log_factorial = np.cumsum(np.log(np.maximum(j, 1)))
    terms = j * np.log(np.maximum(total, 1e-300))[..., np.newaxis] - log_factorial
    top = terms.max(axis=-1)
    surprise: Floats = total - top - np.log(np.exp(terms - top[..., np.newaxis]).sum(axis=-1))
    return np.maximum(surprise, 0.0)


def match_comb(spectra: OrderSpectra, comb: Comb) -> Match:
    """Find the best fit of a comb within its tolerance, over all runs of bands.

    Parameters
    ----------
    spectra : OrderSpectra
    comb : Comb

    Returns
    -------
    Match
        Highest surprise over shifts, numbers of harmonics, runs, and with or
        without the sidebands. What the search costs is not yet counted in.
    """
    return match_combs(spectra, comb, np.array([comb.order]))[0]


def match_combs(spectra: OrderSpectra, comb: Comb, centres: Floats) -> list[Match]:
    """Match a comb about each of several base orders in place of its own, as `match_comb` does."""
    plain = _best(spectra, spectra.weight, comb, centres, 1)
    if not comb.sidebands:
        return plain
    offsets = (*comb.sidebands, *(-side for side in comb.sidebands))
    sided = _best(spectra, _with_sidebands(spectra, offsets), comb, centres, 1 + len(offsets))
    return [max(pair, key=lambda match: match.surprise) for pair in zip(plain, sided, strict=True)]


def _with_sidebands(spectra: OrderSpectra, offsets: Sequence[float]) -> Floats:
    """Add to every bin the bins that lie the sidebands' distance away."""
    summed = spectra.weight.copy()
    for offset in offsets:
        shift = round(offset / spectra.orders[1])
        if shift > 0:
            summed[:, :-shift] += spectra.weight[:, shift:]
        elif shift < 0:
            summed[:, -shift:] += spectra.weight[:, :shift]
    return summed


def _best(spectra: OrderSpectra, weight: Floats, comb: Comb, centres: Floats, lines_each: int) -> list[Match]:
    """Best fits where `weight` holds the sum of `lines_each` lines about every bin."""
    # Bins in rows: a search gathers whole rows, which lie together in memory.
    bins = np.ascontiguousarray(weight.T)
    fits = [_climb(spectra, bins, float(centre), comb.tolerance, lines_each) for centre in centres]
    totals = np.array([[total for total, _, _ in fit] for fit in fits])
    surprises = np.stack(
        [erlang_surprise(harmonics * lines_each, totals[:, k]) for k, harmonics in enumerate(HARMONICS)], axis=1
    )
    matches = []
    for fit, centre, surprise in zip(fits, centres, surprises, strict=True):
        k = int(surprise.argmax())
        matches.append(
            Match(
                comb=replace(comb, order=float(centre)),
                surprise=float(surprise[k]),
                order=fit[k][2],
                harmonics=HARMONICS[k],
                run=fit[k][1],
                with_sidebands=lines_each > 1,
            )
        )
    return matches


def _climb(
    spectra: OrderSpectra, bins: Floats, centre: float, tolerance: float, lines_each: int
) -> list[tuple[float, int, float]]:
    """For each number of harmonics: highest sum over shifts and runs, its run, its order."""
    reach = math.ceil(tolerance * spectra.turns * 3 * _MOST * centre)
    tried = centre * (1 + np.linspace(-tolerance, tolerance, 2 * reach + 1))
    at = np.multiply.outer(np.arange(1, _MOST + 1), tried)
    index = np.rint(at / spectra.orders[1]).astype(np.intp)
    total = np.zeros((tried.size, bins.shape[1]))
    highest = []
    for harmonic, places in enumerate(index, start=1):
        # Past the highest order nothing is known: what noise gives on average takes its place.
        known = places < spectra.orders.size
        if known.all():
            total += bins[places]
        else:
            total[known] += bins[places[known]]
            total[~known] += lines_each
        if harmonic in HARMONICS:
            shift, run = divmod(int(total.argmax()), bins.shape[1])
            highest.append((float(total[shift, run]), run, float(tried[shift])))
    return highest


def without_lines(
    spectra: OrderSpectra, lines: Floats, *, smear: float, half: float | None = None
) -> OrderSpectra:
    """Put noise in place of known lines, so that they count as no evidence.

    Parameters
    ----------
    spectra : OrderSpectra
    lines : ndarray, shape (k,)
        Orders to take out.
    smear : float
        Share of the order over which slip spreads a line, >= 0.
    half : float or None
        Half width of a line that does not slip [orders]; 1.6 over the turns if None.

    Returns
    -------
    OrderSpectra
    """
    step = spectra.orders[1]
    width = 1.6 / spectra.turns if half is None else half
    power, weight = spectra.power.copy(), spectra.weight.copy()
    for line in np.abs(lines):
        peak = float(spectra.power[:, _bins(line, width, step)].max(initial=0.0))
        # The taper's and the slip's skirts stand out farther under a strong line.
        reach = width * (1 + 0.5 * math.log10(max(1.0, peak / 10))) + smear * line
        inside = _bins(line, reach, step)
        power[:, inside] = spectra.noise[:, inside]
        weight[:, inside] = spectra.noise[:, inside]
    return replace(spectra, power=power, weight=weight)


def _bins(line: float, reach: float, step: float) -> slice:
    """Bins within reach of a line."""
    return slice(max(0, round((line - reach) / step)), max(0, round((line + reach) / step)) + 1)


def lines_of(match: Match, *, highest: float, cage: float | None = None) -> Floats:
    """List every line that a matched defect may raise: harmonics, turn and cage sidebands.

    Parameters
    ----------
    match : Match
    highest : float
        Highest order wanted.
    cage : float or None
        Cage order; without it, only the lines that are sure.

    Returns
    -------
    ndarray, shape (k,)
    """
    base = match.order / 2 if match.comb.name == "ball" else match.order
    harmonics = base * np.arange(1, int(highest / base) + 1)
    times = (1, 2) if match.comb.locked else (1, 2, 3, 4)
    sides = [side * k for side in match.comb.sidebands for k in times]
    if match.comb.name.endswith("raceway") and not sides and cage is not None:
        # A standing ring's strikes change with each ball, and over a turn with a bent spindle or blanked ticks.
        sides = [cage, 1.0, 2.0, 3.0]
    elif match.comb.whole:
        # So fast that errors of the angle from mark to mark spread its lines by half a turn.
        sides = [0.5, *sides]
    elif match.comb.locked:
        sides = [1.0, 2.0]  # strikes come early and late where legs push
    offsets = np.array([0.0, *sides, *(-side for side in sides)])
    return np.unique(np.add.outer(harmonics, offsets).ravel().clip(0))


@dataclass(frozen=True, slots=True)
class Backdrop:
    """How high combs score in this very recording at orders that mean nothing.

    Attributes
    ----------
    location, scale : float
        Of a Gumbel law for the best surprise of one search.
    """

    location: float
    scale: float

    def chance(self, surprise: float) -> float:
        """Chance that a search under no defect scores at or past `surprise`."""
        return -math.expm1(-math.exp(min(700.0, -(surprise - self.location) / self.scale)))


def backdrop(spectra: OrderSpectra, comb: Comb, *, avoid: Sequence[float], count: int = 32) -> Backdrop:
    """Score combs like `comb` at orders where no part of the bearing has a line.

    Parameters
    ----------
    spectra : OrderSpectra
        With the lines of known defects taken out.
    comb : Comb
        Whose sidebands, tolerance and order range the trials copy.
    avoid : sequence of float
        Orders to stay clear of, with their halves and doubles.
    count : int
        Most trials wanted; 16 at least are made.

    Returns
    -------
    Backdrop

    Notes
    -----
    The best of many exponential-tailed sums follows a Gumbel law whose location
    is the log of the number of independent places searched. Both the location and
    the scale are read off the recording, so bands, harmonics, shifts and the
    room's own rhythm are all counted in.
    """
    spots = comb.order * np.geomspace(0.62, 1.6, 3 * count)
    if comb.whole:
        spots = np.unique(np.rint(spots))
    near = np.array([o * k for o in avoid for k in (0.5, 1.0, 2.0)] or [0.0])
    gap = np.min(np.abs(spots[:, np.newaxis] / near[np.newaxis, :].clip(1e-9) - 1), axis=1)
    free = spots[gap > comb.tolerance + 0.01]
    if free.size < FEWEST_TRIALS:
        # Many ball counts leave little room between them: then the places farthest from any serve.
        free = np.sort(spots[np.argsort(-gap)[:FEWEST_TRIALS]])
    chosen = free[np.linspace(0, free.size - 1, min(count, free.size)).astype(np.intp)]
    trials = np.array([match.surprise for match in match_combs(spectra, comb, chosen)])
    return gumbel_law(trials)


def gumbel_law(trials: Floats) -> Backdrop:
    """Fit a Gumbel law to surprises of searches that found nothing, by their middle quantiles.

    Parameters
    ----------
    trials : ndarray, shape (k,)

    Returns
    -------
    Backdrop
        Its scale never drops below 1.15, what simulated sound recordings showed.
    """
    low, middle, high = np.quantile(trials, [0.2, 0.5, 0.8])
    # Quantiles of a standard Gumbel law: 0.2 at -0.476, 0.5 at 0.367, 0.8 at 1.500.
    scale = max(1.15, float(high - low) / 1.976)
    return Backdrop(location=float(middle) - 0.367 * scale, scale=scale)


def telling_runs(spectra: OrderSpectra, match: Match, *, least_share: float = 0.7, most: int = 8) -> list[int]:
    """List the runs of bands in which a matched comb surprises nearly as much as in the best.

    Parameters
    ----------
    spectra : OrderSpectra
    match : Match
    least_share : float
        Least surprise over that of the best run, 0 to 1.
    most : int
        Longest list wanted.

    Returns
    -------
    list of int
        Rows of the spectra, the most surprising first.
    """
    sides = match.comb.sidebands if match.with_sidebands else ()
    offsets = np.array([0.0, *sides, *(-side for side in sides)])
    at = np.add.outer(match.order * np.arange(1, match.harmonics + 1), offsets).ravel()
    index = np.rint(np.abs(at) / spectra.orders[1]).astype(np.intp).clip(0, spectra.orders.size - 1)
    surprise = erlang_surprise(index.size, spectra.weight[:, index].sum(axis=1))
    ranked = np.argsort(-surprise)[:most]
    return [int(row) for row in ranked if surprise[row] >= least_share * surprise[match.run]]
