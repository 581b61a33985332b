"""Residual spectra: explained lines are taken out, so that they count for no other part.

The impacts of a ring differ from ball to ball and so repeat with the cage: cage modulation belongs to its ring,
and what remains of it is neither cage nor ball.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats
from acoustic.dsp.orders.harmonics import HarmonicSet
from acoustic.dsp.orders.likelihood import line_tables, table_index
from acoustic.dsp.orders.spectrum import OrderSpectra

Indices = NDArray[np.intp]

SMEAR = 0.004  # share of the order over which slip spreads a line, or an angle that is only so well known
HALF_WIDTH = 1.6  # of a line, over the turns
TURN_LINES = 12  # whole orders that are asked whether something turns with the crank
TURN_NATS = 8.0  # that they must reach; judgement: where they do by luck, a sixth of the bins is lost
TURN_CLEAR = 0.35  # of an order: a whole order nearer to a ball pass is left alone (judgement)
TURN_HALF_WIDTH = 0.8  # in lines (judgement)


def without_lines(
    spectra: OrderSpectra, lines: Floats, *, smear: float = SMEAR, half_width: float = HALF_WIDTH
) -> OrderSpectra:
    """Put the floor in place of known lines, so that they count as no evidence.

    Parameters
    ----------
    spectra : OrderSpectra
    lines : ndarray, shape (k,)
        Orders to take out.
    smear : float
        Share of the order over which slip spreads a line, >= 0.
    half_width : float
        Of a line that does not slip, over the turns.

    Returns
    -------
    OrderSpectra
        No bin there is higher than noise is on average.
    """
    step, width, bins = spectra.step, half_width / spectra.turns, spectra.orders.size
    lines = np.unique(np.abs(lines))
    lines = lines[np.rint((lines - width) / step) < bins]
    highest = np.append(spectra.power.max(axis=0), 0.0)
    peak = _highest_within(highest, *_reached(lines, np.full(lines.size, width), step, bins))
    # The taper's and the slip's skirts stand out farther under a strong line.
    reach = width * (1 + 0.5 * np.log10(np.maximum(1.0, peak / 10))) + smear * lines
    start, stop = _reached(lines, reach, step, bins)
    opened = np.bincount(start, minlength=bins + 1) - np.bincount(stop, minlength=bins + 1)
    inside = np.cumsum(opened[:-1]) > 0
    power = spectra.power.copy()
    power[:, inside] = np.minimum(power[:, inside], 1.0)
    return replace(spectra, power=power)


def _reached(lines: Floats, reach: Floats, step: float, bins: int) -> tuple[Indices, Indices]:
    """First bin within reach of each line, and the one behind the last."""
    start = np.clip(np.rint((lines - reach) / step), 0, bins).astype(np.intp)
    stop = np.clip(np.rint((lines + reach) / step) + 1, 0, bins).astype(np.intp)
    return start, stop


def _highest_within(values: Floats, start: Indices, stop: Indices) -> Floats:
    """Highest of the values from each start up to its stop, which lies behind it."""
    edges = np.column_stack([start, stop]).ravel()
    highest: Floats = np.maximum.reduceat(values, edges)[::2] if edges.size else np.empty(0)
    return highest


def without_turn_lines(spectra: OrderSpectra, clear_of: Floats) -> tuple[OrderSpectra, bool]:
    """Take out whole-turn lines where they are certain: a loose arm or a rubbing guard is no ball pass.

    Parameters
    ----------
    spectra : OrderSpectra
    clear_of : ndarray, shape (k,)
        Orders of the parts: only what lies clear of them decides, since a ball pass near a
        whole number must not take itself out.

    Returns
    -------
    left : OrderSpectra
        Unchanged where nothing is tied to the crank.
    found : bool
        Whether something is: then the speed is right, since its lines stand on whole orders.
    """
    whole = np.arange(1.0, TURN_LINES + 1)
    lines = whole[np.abs(whole[:, np.newaxis] - clear_of[np.newaxis, :]).min(axis=1, initial=np.inf) > TURN_CLEAR]
    places = np.rint(lines / spectra.step).astype(np.intp)
    places = places[places < spectra.orders.size]
    if not places.size:
        return spectra, False
    nats = line_tables().main[:, table_index(spectra.power[:, places])].sum(axis=2)
    if float(nats.max()) < TURN_NATS:
        return spectra, False
    every = np.arange(1.0, float(spectra.orders[-1]))
    return without_lines(spectra, every, smear=0.0, half_width=TURN_HALF_WIDTH), True


def harmonics_of(name: str, order: float, *, highest: float) -> Floats:
    """List a part's harmonics up to an order; a ball raises its spin's, as it strikes one ring harder.

    Parameters
    ----------
    name : str
        The part.
    order, highest : float
        Where its base was found, and the highest order wanted.

    Returns
    -------
    ndarray, shape (k,)
    """
    base = order / 2 if name == "ball" else order
    harmonics: Floats = base * np.arange(1, int(highest / base) + 1, dtype=np.float64)
    return harmonics


def sure_lines(harmonic_set: HarmonicSet, order: float, *, highest: float) -> Floats:
    """List the lines that a part found at an order is sure to raise: its harmonics, with the turns that carry it.

    Parameters
    ----------
    harmonic_set : HarmonicSet
    order : float
        Where its base was found.
    highest : float
        Highest order wanted.

    Returns
    -------
    ndarray, shape (k,)
    """
    around = [0.0, 1.0, -1.0, 2.0, -2.0] if 1.0 in harmonic_set.offsets else [0.0]
    harmonics = order * np.arange(1, int(highest / order) + 1)
    return np.unique(np.abs(np.add.outer(harmonics, np.array(around)).ravel()))


def lines_of(harmonic_set: HarmonicSet, order: float, cage: float, *, highest: float) -> Floats:
    """List every line that a part found at an order may raise.

    Parameters
    ----------
    harmonic_set : HarmonicSet
    order : float
        Where its base was found.
    cage : float
        Order of the cage as that part has it.
    highest : float
        Highest order wanted.

    Returns
    -------
    ndarray, shape (k,)

    Notes
    -----
    Balls differ, so that the strikes of a standing ring repeat with the cage and may lie on every
    multiple of it; those of the turning ring repeat with the cage as that ring sees it, and are
    carried through the load once a turn. A ball strikes either ring, whenever the cage brings it.
    """
    harmonics = harmonics_of("cage" if harmonic_set.with_cage else harmonic_set.name, order, highest=highest)
    if harmonic_set.locked:
        around = [0.0, *(side * k for side in (1.0, 2.0) for k in (1, -1))]
    elif harmonic_set.with_cage:
        around = [0.0]
    elif harmonic_set.name == "ball":
        around = [cage * k for k in range(-4, 5)]
    elif 1.0 in harmonic_set.offsets:
        around = [*(float(k) for k in range(-3, 4)), 1 - cage, cage - 1]
    else:
        around = [0.0, *(side * k for side in (1.0, 2.0, 3.0) for k in (1, -1))]
        harmonics = np.concatenate([harmonics, cage * np.arange(1, int(highest / cage) + 1)])
    lines = np.add.outer(harmonics, np.array(around)).ravel()
    return np.unique(np.abs(lines))
