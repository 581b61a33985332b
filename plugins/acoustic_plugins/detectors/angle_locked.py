"""Angle-locked bursts of noise: how surely they come at one angle of the crank, and how loud they are.

Rayleigh's test over turns: each turn, or half turn, has one vote with a direction, so that talk, however loud,
has as many directions as turns. A median over 25 ms leaves impacts out, one over a third of a turn what a
chainring out of true does. The first four harmonics of the turn must all point one way: a ring that is struck
harder on the loaded side gathers there too, but as smoothly as the load goes, in the first harmonic alone.
Loudness is not asked: it does not tell a creak from another sound.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.api import BandBank, running_median

Floats = NDArray[np.float64]

# Judgement: below, hum and handling are loudest.
LOWEST_HZ = 400.0
WIDTH = 3  # bands taken together: an octave
FRAME_S, FRAMES_OF_A_BURST = 0.005, 5  # a median over 25 ms: a click rings shorter, a creak lasts longer
# By rayleigh_chance below, five like directions come about by chance 1.6 times in 1000, four 7.6 times.
FEWEST_TURNS = 5
USUAL_TURNS = 0.35  # a creak lasts at most an eighth of a turn; a chainring out of true swells over half of one
BURST_DB, LOUDEST_DB = 2.0, 12.0  # over the usual level of that part of a turn about it
SHORT_TURNS = 0.03  # a burst as long and loud points fully to its angle
# Judgement: half of the eighth of a turn that a creak lasts at most.
LOCKED_TURNS = 0.06
# Once for a crank arm, pedal or chainring bolt; twice for what either leg loads.
TIMES_A_TURN = (1, 2)
HIGHEST = 4  # harmonic of the turn: an eighth of a turn still has two thirds of it
# Judgement: what shows in fewer than half of the turns is not what comes every turn.
USUAL_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Locked:
    """The clearest bursts at one angle of the crank.

    Attributes
    ----------
    times_a_turn : int
        1 or 2.
    score : float
        Negative log probability [nats] that bursts at random angles point as much one way, in that of
        the first four harmonics of the turn (two of the half turn) which is the least sure.
    excess_db : float
        Level at that angle over the usual one, mean over the turns [dB].
    share : float
        Of the turns that show the burst; of two a turn, the one that shows less often.
    first_band, last_band : int
        Bands it is clearest in.
    """

    times_a_turn: int
    score: float
    excess_db: float
    share: float
    first_band: int
    last_band: int


def rayleigh_chance(resultant: float, count: float) -> float:
    """Chance that directions at random have a resultant as long.

    Parameters
    ----------
    resultant : float
        Length of the sum of unit vectors, 0 to `count`.
    count : float
        How many, >= 1; for vectors of unequal length, how many equal ones they are worth.

    Returns
    -------
    float

    References
    ----------
    Rayleigh's test of uniformity, by the approximation in J. H. Zar, Biostatistical Analysis,
    ch. 27 (from memory): exp(sqrt(1 + 4n + 4(n^2 - R^2)) - (1 + 2n)).
    """
    inside = 1 + 4 * count + 4 * (count**2 - min(resultant, count) ** 2)
    return math.exp(min(0.0, math.sqrt(inside) - (1 + 2 * count)))


def direction_chance(vectors: NDArray[np.complex128]) -> float:
    """Chance that vectors of these lengths point as much one way if each may point any way.

    Parameters
    ----------
    vectors : ndarray of complex, shape (k,)

    Returns
    -------
    float
        1 where none has any length.
    """
    power = np.abs(vectors) ** 2
    if power.sum() <= 0:
        return 1.0
    count = float(power.sum() ** 2 / (power**2).sum())
    return rayleigh_chance(math.sqrt(count) * float(np.abs(vectors.sum())) / math.sqrt(float(power.sum())), count)


def burst_levels(bank: BandBank, start_s: float, stop_s: float, *, turn_s: float) -> tuple[Floats, Floats]:
    """Level of each run of bands over its usual level, clicks left out.

    Parameters
    ----------
    bank : BandBank
    start_s, stop_s : float
        The part wanted [s].
    turn_s : float
        Length of a turn [s]: the usual level is the median of a third of it.

    Returns
    -------
    times_s : ndarray, shape (frames,)
    excess_db : ndarray, shape (runs, frames)
        Of runs of three neighbouring bands from 400 Hz up.
    """
    size = max(1, round(FRAME_S / bank.frame_s))
    inside = np.flatnonzero(bank.frames_between(start_s, stop_s))
    frames = inside.size // size
    power = bank.power[_lowest(bank) :, inside[: frames * size]]
    power = power / (np.median(power, axis=1, keepdims=True) + 1e-20)
    runs = power.shape[0] // WIDTH
    grouped = power[: runs * WIDTH].reshape(runs, WIDTH, frames, size).mean(axis=(1, 3))
    level_db = 10 * np.log10(running_median(grouped, FRAMES_OF_A_BURST, edge="symmetric") + 1e-6)
    # Every fourth frame will do for what changes over a third of a turn.
    span = max(3, round(USUAL_TURNS * turn_s / (4 * size * bank.frame_s)))
    coarse = running_median(level_db[:, ::4], span, edge="symmetric")
    usual_db = np.repeat(coarse, 4, axis=1)[:, :frames]
    times_s = bank.times_s[inside[: frames * size]].reshape(frames, size).mean(axis=1)
    return times_s, level_db - usual_db


def _lowest(bank: BandBank) -> int:
    return min(bank.first_band(LOWEST_HZ), max(0, bank.mid_hz.size - WIDTH))


def locked_bursts(bank: BandBank, times_s: Floats, turns: Floats) -> Locked | None:
    """Find the bursts that come most surely at one angle of the crank, once or twice a turn.

    Parameters
    ----------
    bank : BandBank
    times_s, turns : ndarray, shape (k,)
        The crank's angle [turns] against time [s].

    Returns
    -------
    Locked or None
        None where there are fewer than five turns.

    Notes
    -----
    Every turn, or half turn, has one vector: the direction in which its bursts lie, 0 to 1 long as
    they are short and loud or not. One loud knock is one turn's vector like any other. The sum of
    the vectors is set against chance by Rayleigh's test, and so are those of the harmonics:
    what merely strikes harder on the loaded side, as a damaged ring does, swells as smoothly as
    the load and has few of them; a burst of an eighth of a turn or less has all.
    """
    made = float(turns[-1] - turns[0])
    if made < FEWEST_TURNS:
        return None
    turn_s = float(times_s[-1] - times_s[0]) / made
    at_s, excess_db = burst_levels(bank, float(times_s[0]), float(times_s[-1]), turn_s=turn_s)
    angle = np.interp(at_s, times_s, turns)
    burst = np.clip(excess_db - BURST_DB, 0, LOUDEST_DB - BURST_DB) * np.gradient(angle)
    found = []
    for run, row in enumerate(burst):
        first = _lowest(bank) + run * WIDTH
        for times in TIMES_A_TURN:
            vectors = [_vectors(row, angle, times, harmonic) for harmonic in range(1, HIGHEST // times + 1)]
            score = min(-math.log(max(direction_chance(each), 1e-300)) for each in vectors)
            towards = float(np.angle(vectors[0].sum()) / (2 * np.pi * times))
            shown = _at_angle(excess_db[run], angle, towards, times)
            found.append(Locked(times, score, *shown, first, first + WIDTH - 1))
    best = max(range(len(found)), key=lambda one: found[one].score)
    # What comes once a turn lies one way in half of the half turns too.
    once = found[best - best % len(TIMES_A_TURN)]
    return once if found[best].share < USUAL_SHARE <= once.share else found[best]


def _vectors(burst: Floats, angle: Floats, times: int, harmonic: int) -> NDArray[np.complex128]:
    """One vector for each turn, or half turn: where its bursts lie, the shorter the fainter they are."""
    part = (times * (angle - angle[0])).astype(np.intp)
    size = np.bincount(part, burst) + SHORT_TURNS * (LOUDEST_DB - BURST_DB) / 2
    way = burst * np.exp(2j * np.pi * harmonic * times * angle)
    vectors: NDArray[np.complex128] = (np.bincount(part, way.real) + 1j * np.bincount(part, way.imag)) / size
    return vectors


def _at_angle(excess_db: Floats, angle: Floats, towards: float, times: int) -> tuple[float, float]:
    """Mean level at an angle, and the share of the passes that show a burst: of the angle that shows fewer."""
    passes = (angle - towards) * times
    nearest = np.rint(passes)
    near = np.abs(passes - nearest) < LOCKED_TURNS * times
    number = (nearest[near] - nearest[near].min()).astype(np.intp)
    loudest = np.full(int(number.max()) + 1, -np.inf)
    np.maximum.at(loudest, number, excess_db[near])
    shown = [loudest[first::times][np.isfinite(loudest[first::times])] for first in range(times)]
    return float(np.concatenate(shown).mean()), min(float(np.mean(one > BURST_DB)) for one in shown if one.size)
