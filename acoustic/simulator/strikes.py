"""When and how hard the parts of a bearing strike, in crank angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.geometry import BearingGeometry, defect_orders

LINK_SPREAD = 0.2  # of the log of a strike's strength, from link to link
LINK_PLAY = 0.03  # of a strike's place over the interval, from link to link


@dataclass(frozen=True, slots=True)
class Strikes:
    """Events: crank angle [turns] and strength (dimensionless), each shape (k,)."""

    turns: Floats
    strength: Floats


def ring_strikes(
    geometry: BearingGeometry,
    part: str,
    *,
    total_turns: float,
    slip: float,
    jitter: float,
    load_zone: float,
    rng: np.random.Generator,
    spread: float = 0.2,
) -> Strikes:
    """Strikes of one defect on a raceway, a ball or the cage.

    Parameters
    ----------
    geometry : BearingGeometry
    part : {'outer_raceway', 'inner_raceway', 'ball', 'cage'}
    total_turns : float
        Turns of the crank to cover.
    slip : float
        Mean lag of the cage over its rolling speed, 0 to 0.02.
    jitter : float
        Random change of each interval over the interval, one standard
        deviation: balls shift in their pockets, so the errors add up.
    load_zone : float
        0 where every angle is loaded alike (preload), 1 where the load
        vanishes on the far side.
    rng : numpy.random.Generator
    spread : float
        Standard deviation of the logarithm of single strikes' strengths.

    Returns
    -------
    Strikes

    References
    ----------
    P. D. McFadden and J. D. Smith, Journal of Sound and Vibration 96 (1984)
    69-82, model of a single point defect (from memory); random-walk slip:
    J. Antoni and R. B. Randall, Journal of Vibration and Acoustics 125 (2003)
    282-289 (from memory).
    """
    orders = defect_orders(geometry)
    cage = orders.cage * (1 - slip)
    order, passing = {
        "outer_raceway": (geometry.balls * cage, 0.0),
        "inner_raceway": (geometry.balls * (1 - cage), 1.0),
        "ball": (orders.ball * (1 - slip), cage),
        "cage": (cage, 0.0),
    }[part]
    count = int(total_turns * order * 1.1) + 4
    steps = (1 + jitter * rng.standard_normal(count)) / order
    turns = rng.uniform(0, 1 / order) + np.cumsum(steps) - steps[0]
    turns = turns[turns < total_turns]
    angle = 2 * np.pi * passing * turns + rng.uniform(0, 2 * np.pi)
    # Load against angle: full at the bottom, (1 - load_zone) of it at the top.
    strength = 1 - load_zone * (1 - np.cos(angle)) / 2
    strength *= np.exp(spread * rng.standard_normal(turns.size))
    if part == "ball":
        strength[1::2] *= 0.6  # the outer ring's contact, flatter, answers less than the inner's
    return Strikes(turns, strength)


def both(first: Strikes, second: Strikes) -> Strikes:
    """The strikes of two rows of balls, in their order."""
    turns = np.concatenate([first.turns, second.turns])
    order = np.argsort(turns, kind="stable")
    return Strikes(turns[order], np.concatenate([first.strength, second.strength])[order])


def by_ball(train: Strikes, *, balls: int, spread: float, rng: np.random.Generator) -> Strikes:
    """Give each ball a strength of its own, so that the strikes of a ring repeat with the cage.

    Parameters
    ----------
    train : Strikes
        One ring's, none left out.
    balls : int
    spread : float
        Standard deviation of the logarithm of the balls' strengths.
    rng : numpy.random.Generator

    Returns
    -------
    Strikes
    """
    heights = np.exp(spread * rng.standard_normal(balls))
    return Strikes(train.turns, train.strength * np.resize(heights, train.turns.size))


def over_spall(train: Strikes, *, length: float, rng: np.random.Generator) -> Strikes:
    """Strike twice where a spall is rolled over: the ball drops in at its entry and is hit at its exit.

    Parameters
    ----------
    train : Strikes
        At the entry.
    length : float
        Of the spall, over the way from one ball's strike to the next, 0 to 1.
    rng : numpy.random.Generator

    Returns
    -------
    Strikes
        In order of angle.

    References
    ----------
    N. Sawalhi and R. B. Randall, Mechanical Systems and Signal Processing 25 (2011) 846-870: entry and exit of
    a spall part by its length, the exit the sharper of the two (from memory).
    """
    if train.turns.size < 2:
        return train
    way = np.diff(train.turns, append=2 * train.turns[-1] - train.turns[-2])
    turns = np.concatenate([train.turns, train.turns + length * way])
    harder = rng.uniform(0.8, 1.8)
    strength = np.concatenate(
        [train.strength, harder * train.strength * np.exp(0.2 * rng.standard_normal(way.size))]
    )
    order = np.argsort(turns)
    return Strikes(turns[order], strength[order])


def pitted_strikes(
    geometry: BearingGeometry, *, total_turns: float, pits: int, slip: float, rng: np.random.Generator
) -> Strikes:
    """Strikes of rings pitted all round by corrosion: many defects on both.

    Parameters
    ----------
    geometry : BearingGeometry
    total_turns : float
    pits : int
        Pits on each ring.
    slip : float
        As in `ring_strikes`.
    rng : numpy.random.Generator

    Returns
    -------
    Strikes
        In order of angle.
    """
    turns, strength = [], []
    for part in ("outer_raceway", "inner_raceway"):
        for depth in rng.lognormal(0.0, 0.7, pits):
            train = ring_strikes(
                geometry,
                part,
                total_turns=total_turns,
                slip=slip,
                jitter=0.004,
                load_zone=rng.uniform(0.2, 0.8),
                rng=rng,
            )
            turns.append(train.turns)
            strength.append(train.strength * depth)
    all_turns = np.concatenate(turns)
    order = np.argsort(all_turns)
    return Strikes(all_turns[order], np.concatenate(strength)[order])


def grit_strikes(*, total_turns: float, per_turn: float, rng: np.random.Generator) -> Strikes:
    """Strikes of grit: at no particular angle, so many a turn, of every strength.

    Parameters
    ----------
    total_turns : float
    per_turn : float
        Mean number a turn, > 0.
    rng : numpy.random.Generator

    Returns
    -------
    Strikes
    """
    count = rng.poisson(total_turns * per_turn)
    turns = np.sort(rng.uniform(0, total_turns, count))
    return Strikes(turns, rng.lognormal(0.0, 0.6, count))


def creak_strikes(*, total_turns: float, per_turn: int, rng: np.random.Generator) -> Strikes:
    """Strikes of a joint that sticks and slips as the load on the pedals passes through it.

    Parameters
    ----------
    total_turns : float
    per_turn : int
        Creaks a turn, at equal angles: 1 where one pedal's load does it, 2 where either does.
    rng : numpy.random.Generator

    Returns
    -------
    Strikes
        In order of angle. Every creak is a run of slips; one in ten stays away.
    """
    begin = np.arange(rng.uniform(0, 1 / per_turn), total_turns, 1 / per_turn)
    begin = begin[rng.random(begin.size) > 0.1]
    slips_per_turn, lasting = rng.uniform(100, 300), rng.uniform(0.03, 0.12)
    turns, strength = [], []
    for angle in begin + 0.015 * rng.standard_normal(begin.size):
        steps = (1 + 0.2 * rng.standard_normal(max(2, round(lasting * slips_per_turn)))) / slips_per_turn
        slips = angle + np.cumsum(steps)
        turns.append(slips)
        strength.append(rng.lognormal(0.0, 0.4) * rng.uniform(0.6, 1.4, slips.size))
    order = np.argsort(np.concatenate(turns))
    return Strikes(np.concatenate(turns)[order], np.concatenate(strength)[order])


def stick_slips(
    begin_s: Floats, *, lasting_s: tuple[float, float], rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Slips of creaks that keep a pitch: a joint under load that sticks and slips at a rate that glides.

    Parameters
    ----------
    begin_s : ndarray, shape (k,)
        When each creak begins [s].
    lasting_s : (float, float)
        Shortest and longest creak [s].
    rng : numpy.random.Generator

    Returns
    -------
    times_s, strength : ndarray, shape (m,)
        Of every slip, in order of time. One creak in eight stays away.
    """
    pitch_hz, glide, usual_s = rng.uniform(100, 450), rng.uniform(-0.5, 0.5), rng.uniform(*lasting_s)
    times_s, strength = [np.zeros(0)], [np.zeros(0)]
    for begun_s in begin_s[rng.random(begin_s.size) > 1 / 8]:
        long_s = float(np.clip(usual_s * rng.lognormal(0, 0.2), *lasting_s))
        u = np.linspace(0, 1, max(4, round(long_s * pitch_hz)))
        # The pitch glides by up to a half, and no slip is quite as long as the last.
        steps = (1 + glide * (u[1:] - 0.5)) * (1 + 0.04 * rng.standard_normal(u.size - 1))
        way = np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum()
        # The load passes through the joint: faint, strong, faint.
        times_s.append(begun_s + long_s * way)
        strength.append(rng.lognormal(0, 0.4) * np.sqrt(np.sin(np.pi * (0.05 + 0.9 * u))))
    return np.concatenate(times_s), np.concatenate(strength)


def geared_strikes(*, total_turns: float, order: float, runout: float, rng: np.random.Generator) -> Strikes:
    """Strikes of what the chain turns: links landing on teeth, a jockey wheel's flaw.

    Parameters
    ----------
    total_turns : float
        Turns of the crank to cover.
    order : float
        Strikes a crank turn, > 0: the chainring's teeth R for the links that land on
        it, R / J for what a jockey wheel of J teeth makes once a turn of its own.
    runout : float
        Share by which the strength swings once a crank turn, as over a chainring
        out of true, 0 to 1.
    rng : numpy.random.Generator

    Returns
    -------
    Strikes

    Notes
    -----
    Teeth count: no strike may slip, so the errors of single ones (a link's play) do
    not add up. Each link of the polygon meets its tooth with a small knock.
    """
    turns = (np.arange(int(total_turns * order)) + rng.uniform()) / order
    angle = 2 * np.pi * turns + rng.uniform(0, 2 * np.pi)
    strength = (1 + runout * np.cos(angle)) * np.exp(LINK_SPREAD * rng.standard_normal(turns.size))
    return Strikes(np.sort(turns + LINK_PLAY / order * rng.standard_normal(turns.size)), strength)
