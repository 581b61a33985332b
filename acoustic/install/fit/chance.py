"""How likely play and preload are, by drawing every size that is not known from its own range.

A maker's sizes lie about the middle of the tolerance, so a part is drawn from a normal distribution that has 99 of
100 within the limits, cut off there: catalogues' likely ranges, the tolerances added by their squares, come out
of it to a micrometre or two (SKF Rolling bearings (2018), example C.2: 6207 in N6 meets by 5 to 29 um, where the
corners are 1 and 33; here by 6 to 28).
A gauge may be off by anything within its uncertainty (GUM, JCGM 100:2008, 4.3.7), and so may surfaces' peaks.

Each range is cut into as many equal shares as there are draws, one draw a share in an order of its own (a latin
hypercube: M. D. McKay et al., Technometrics 21 (1979) 239, from memory), the same in every call: so a narrower
seat never comes out looser.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats
from acoustic.install.fit.clearance import FitNumbers
from acoustic.install.fit.interference import Joint, Span
from acoustic.install.fit.tolerances import radial_clearance

DRAWS = 1 << 14  # chances come out to about a thousandth, in a few milliseconds
SEED = 20_000  # any
COLUMNS = 8  # sizes that stray: the shell's joint 3 and its peaks, the spindle's 2 and its peaks, the clearance
# Of a standard normal distribution: what 99 of 100 lie within (Abramowitz and Stegun, table 26.5).
NINETY_NINE = 2.5758
# The ends of a likely range: it holds 99 of 100, as the catalogues' do.
ENDS = (0.005, 0.5, 0.995)


@dataclass(frozen=True, slots=True)
class Chances:
    """What is likely of a fit.

    Attributes
    ----------
    play : float
        Chance that the seat is wider than what goes into it, 0 to 1.
    too_tight : float
        Chance that the interference passes the tightest fit that bearing makers list; 0 where none applies.
    preload_by_group : mapping of str to float
        Chance that nothing is left of a group's clearance.
    preload : float or None
        The bearing's own; None where it has no clearance of its own.
    interference, loss : Span
        The ranges that hold 99 of 100, with the middle one [um].
    left_by_group : mapping of str to Span
        The same of the clearance left.
    """

    play: float
    too_tight: float
    preload_by_group: Mapping[str, float]
    preload: float | None
    interference: Span
    loss: Span
    left_by_group: Mapping[str, Span]


def chances_of(numbers: FitNumbers, bore_mm: float) -> Chances:
    """Say how likely play, preload and too tight a fit are.

    Parameters
    ----------
    numbers : FitNumbers
    bore_mm : float
        Of the bearing [mm]; its clearance is looked up by it.

    Returns
    -------
    Chances
    """
    columns = iter(range(COLUMNS))
    met_um = _interference_um(numbers.shell, columns)
    loss_um = _loss_um(numbers.shell, met_um, columns)
    # An oval seat takes more across its narrow diameter, but not more than it meets there.
    pinch_um = np.clip(met_um + numbers.half_oval_um - loss_um, 0.0, numbers.half_oval_um)
    loss_um = loss_um + pinch_um + numbers.thermal_loss_um
    if numbers.spindle is not None:
        loss_um = loss_um + _loss_um(numbers.spindle, _interference_um(numbers.spindle, columns), columns)
    column, left = COLUMNS - 1, {}
    for group in numbers.left_by_group:
        limits = radial_clearance(group, bore_mm)
        half_um = (limits.high_um - limits.low_um) / 2
        left[group] = limits.middle_um + half_um * _made(column) - loss_um
    preload = {group: float(np.mean(um < 0)) for group, um in left.items()}
    tightest_um = np.inf if numbers.tightest_um is None else numbers.tightest_um
    return Chances(
        play=float(np.mean(met_um <= 0)),
        too_tight=float(np.mean(met_um > tightest_um)),
        preload_by_group=MappingProxyType(preload),
        preload=None if numbers.group is None else preload[numbers.group],
        interference=_range(met_um),
        loss=_range(loss_um),
        left_by_group=MappingProxyType({group: _range(um) for group, um in left.items()}),
    )


def _interference_um(joint: Joint, columns: Iterator[int]) -> Floats:
    um = np.full(DRAWS, joint.interference.likely_um)
    for one in joint.scatter:
        column = next(columns)
        um += one.half_um * (_made(column) if one.made else _even(column))
    return um


def _loss_um(joint: Joint, met_um: Floats, columns: Iterator[int]) -> Floats:
    allowance = joint.allowance
    half_um = (allowance.high_um - allowance.low_um) / 2
    peaks_um = allowance.middle_um + half_um * _even(next(columns))
    return joint.press.share * np.maximum(0.0, met_um - peaks_um)


def _range(um: Floats) -> Span:
    low, middle, high = np.quantile(um, ENDS)
    return Span(float(low), float(middle), float(high))


@cache
def _orders() -> NDArray[np.int64]:
    rng = np.random.default_rng(SEED)
    return np.array([rng.permutation(DRAWS) for _ in range(COLUMNS)])


def _even(column: int) -> Floats:
    """Draws spread evenly from -1 to 1."""
    drawn: Floats = (2 * _orders()[column] + 1.0) / DRAWS - 1
    return drawn


def _made(column: int) -> Floats:
    """Draws from -1 to 1 as makers' sizes lie in their tolerance."""
    drawn: Floats = _normal()[_orders()[column]]
    return drawn


@cache
def _normal() -> Floats:
    from scipy.special import ndtri

    shares = (np.arange(DRAWS) + 0.5) / DRAWS
    drawn: Floats = ndtri(0.005 + 0.99 * shares) / NINETY_NINE
    return drawn
