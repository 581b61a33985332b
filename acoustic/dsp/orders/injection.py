"""A test defect of known strength, put into a recording's own levels: in crank angle, or in time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.orders.impact_level import WIDE_HZ
from acoustic.dsp.orders.tracking import BINS_A_TURN, AngleLevels

# How real strikes differ from an even train: judgement, within what published recordings of damaged rings show.
SLIP = 0.004  # of the order, one standard deviation
JITTER = 0.005  # of each interval; balls shift in their pockets, so that it adds up
BALL_SPREAD, STRIKE_SPREAD = (
    0.4,
    0.3,
)  # of the log of a strike's power, from ball to ball and from strike to strike
LOAD_SHARE = 0.5  # by which what turns with the crank strikes less on the side without load
BAND_SPREAD_DB = 4.0  # from third octave to third octave, as shell and frame ring
ANSWER_S = 0.004  # in which a strike's power dies away to 1/e
ANSWER_CELLS = 2.0  # the same in crank angle, at half a turn to two turns a second


@dataclass(frozen=True, slots=True)
class StruckRing:
    """The ring that a test defect lies on.

    Attributes
    ----------
    order : float
        Strikes a turn, > 0.
    balls : int
        After so many strikes the same ball strikes again.
    turns_with_crank : bool
        Whether its load changes once a turn.
    """

    order: float
    balls: int
    turns_with_crank: bool


def with_test_defect(
    levels: AngleLevels, ring: StruckRing, severity_db: float, rng: np.random.Generator
) -> AngleLevels:
    """Add the strikes of a damaged ring to levels in crank angle.

    Parameters
    ----------
    levels : AngleLevels
    ring : StruckRing
    severity_db : float
        Mean power of the strikes over the background level, mean of the bands from 0.7 to 7.5 kHz [dB];
        `strike_powers` reads 2 to 3 dB less, since slip smears the harmonics that it looks at.
    rng : numpy.random.Generator
        Draws phase, slip, heights and resonances.

    Returns
    -------
    AngleLevels

    Notes
    -----
    A level is the mean of ln(1 + r) over a cell, r the power over the background. Strikes of power x make of it
    ln(e^level + x): exact where r is even over the cell, and near it in cells of a few milliseconds.
    """
    cells = levels.compressed.shape[1]
    turns, power = _strikes(levels.turns, ring, rng)
    train = _rung(turns * BINS_A_TURN, power, count=cells, answer=ANSWER_CELLS)
    added = _resonances(levels.mid_hz, severity_db, rng) * (train / train.mean())
    return replace(levels, compressed=np.log(np.exp(levels.compressed) + added), plain=levels.plain + added)


def with_test_strikes(
    bank: BandBank, times_s: Floats, turns: Floats, ring: StruckRing, severity_db: float, rng: np.random.Generator
) -> BandBank:
    """Add the strikes of a damaged ring to a bank of bands, in time.

    Parameters
    ----------
    bank : BandBank
    times_s, turns : ndarray, shape (k,)
        Crank angle [turns] against time [s].
    ring, severity_db, rng
        As of `with_test_defect`.

    Returns
    -------
    BandBank
    """
    struck, power = _strikes(float(turns[-1] - turns[0]), ring, rng)
    at = (np.interp(struck + turns[0], turns, times_s) - bank.first_s) / bank.frame_s
    train = _rung(at, power, count=bank.power.shape[1], answer=ANSWER_S / bank.frame_s)
    train /= max(float(train[bank.frames_between(times_s[0], times_s[-1])].mean()), 1e-12)
    added = _resonances(bank.mid_hz, severity_db, rng) * train * bank.background
    return replace(bank, power=bank.power + added)


def _strikes(total_turns: float, ring: StruckRing, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Angles [turns] from 0 and powers of the strikes, in units of their own."""
    order = ring.order * (1 + SLIP * rng.standard_normal())
    count = int(1.2 * order * total_turns) + 4
    turns = (rng.uniform() + np.cumsum(1 + JITTER * rng.standard_normal(count)) - 1) / order
    log_power = STRIKE_SPREAD * rng.standard_normal(count)
    log_power += np.resize(BALL_SPREAD * rng.standard_normal(ring.balls), count)
    power = np.exp(log_power)
    if ring.turns_with_crank:
        power *= 1 - LOAD_SHARE * (1 - np.cos(2 * np.pi * (turns + rng.uniform()))) / 2
    inside = (turns >= 0) & (turns < total_turns)
    return turns[inside], power[inside]


def _rung(at: Floats, power: Floats, *, count: int, answer: float) -> Floats:
    """Power in each of so many steps, where strikes at some of them die away over others."""
    step = at.astype(np.intp)
    inside = (step >= 0) & (step < count)
    struck = np.bincount(step[inside], weights=power[inside], minlength=count)
    fading = np.exp(-np.arange(1 + round(5 * answer)) / answer)
    rung: Floats = np.convolve(struck, fading)[:count]
    return rung


def _resonances(mid_hz: Floats, severity_db: float, rng: np.random.Generator) -> Floats:
    """Power in each band, shape (bands, 1); its mean over those that strikes ring is the severity."""
    rings = (mid_hz >= WIDE_HZ[0]) & (mid_hz <= WIDE_HZ[1])
    if not rings.any():
        rings = np.ones(mid_hz.size, dtype=bool)
    power = np.where(rings, 10 ** (BAND_SPREAD_DB / 10 * rng.standard_normal(mid_hz.size)), 0.0)
    power *= 10 ** (severity_db / 10) / power[rings].mean()
    return power[:, np.newaxis]
