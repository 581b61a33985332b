"""The crank's angle in a film from the side, by whatever turns with it and differs after half a turn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from acoustic_plugins.speed.film.ellipse import BACKGROUND_FRAMES, Change, Grey, Round, changes, find_rounds, spots
from acoustic_plugins.speed.film.half_rate import wound_twice
from acoustic_plugins.speed.film.template import (
    ANGLES,
    FEWEST_FRAMES,
    Curve,
    Floats,
    Model,
    Spectra,
    apart,
    correlated_at,
    correlation,
    model_of,
    moving_frames,
    ring_model,
    ring_spectra,
    sharpest,
    track,
)

Tried = tuple[float, Round, Curve]
Reason = Literal["few_frames", "dark", "still", "nothing_round", "seldom_seen", "few_turns", "alike"]

# As many as the whole check asks for: acoustic/check/pipeline.py.
FEWEST_TURNS = 3.0
# Judgement: of 255; where half the picture is darker, no arm stands out.
DARK_GREY = 16.0
# Cost: frames in which spots are looked for; a few hundred hold every angle of a spin many times.
MOST_SEARCHED = 300
# Cost: ellipses that are tried again by what they show, in place of a plain ring.
PROMISING = 3
# Grid: steps of the search for the sharpest ellipse, over the picture's shorter side.
CLIMB = (0.03, 0.015)
# Judgement: a turn in eight seconds; slower counts as standing.
SLOWEST_HZ = 0.12
# Judgement: share of the highest speed at which the push is over.
UP_TO_SPEED = 0.6
# Judgement: turns off; a frame at random lies as near to the angle or its opposite 24 times in 100.
AGREES = 0.06
# Judgement: stretches that take turns as teacher and taught; longer than neighbouring frames look alike.
BLOCK_S = 0.5
# Judgement: all but one of so many frames in a row; by chance 1 in 75 such rows (24 in 100 frames each, were
# they independent).
SEEN_OF = 5
# Judgement: a frame that fits worse than this share of the usual has something before the arm.
LEAST_OF_USUAL = 0.4
# Judgement: past three quarters of a turn unseen the count of turns may slip by one.
MOST_UNSEEN, MOST_UNSEEN_S = 0.75, 3.0
# Judgement: chance shows 0.24 (see above); two like arms are right half the time; standard errors.
LEAST_SHOWN, LEAST_RIGHT, LEAST_CERTAINTY = 0.35, 0.75, 7.0
# Judgement: the picture changes little from one frame to the next but one.
ALIKE_FRAMES = 3
# Half the speed foretells what rendered films of one taped arm show at most 0.36 times as well, those of a bare
# bar that was followed about a wrong place from 1.05 times up.
AS_WELL = 0.65
# Resolution: a spin bends far more slowly than this.
STEP_S = 0.01

# Judgement: turns, about two degrees; the angle of a standing arm is read to about one.
STOOD, STOOD_S = 0.006, 0.3


class NotTracked(ValueError):  # noqa: N818 - what the frames are, not what went wrong
    """The frames hold no crank that can be followed.

    Parameters
    ----------
    reason : str
    value : float
        What was found: a count of frames, a brightness, a share of frames, or turns.
    """

    def __init__(self, reason: Reason, value: float) -> None:
        super().__init__(f"{reason}: {value:g}")
        self.reason: Reason = reason
        self.value = value


@dataclass(frozen=True, slots=True, eq=False)
class ArmTrack:
    """The crank's angle over its longest turning part.

    Attributes
    ----------
    times_s, turns : ndarray, shape (k,)
        About every 10 ms, both strictly increasing, turns from 0.
    frame_s, frame_turns : ndarray, shape (j,)
        The frames of that part, and the angle that each shows, on the scale of `turns`.
    agreeing : ndarray of bool, shape (j,)
        Whether the frame shows that angle without any help of its neighbours.
    stood_until_s, stands_from_s : float or None
        Until when the crank stood before, and from when on it stands; None where the frames do not show it.
    """

    times_s: Floats
    turns: Floats
    frame_s: Floats
    frame_turns: Floats
    agreeing: NDArray[np.bool_]
    stood_until_s: float | None
    stands_from_s: float | None


def follow_arm(frames: Grey, times_s: Floats) -> ArmTrack:
    """Follow a crank of which one arm bears something that the other does not: a strip of bright tape.

    Parameters
    ----------
    frames : ndarray of uint8, shape (n, height, width)
        Grey, some 160 to 320 pixels wide.
    times_s : ndarray, shape (n,)
        Strictly increasing [s].

    Returns
    -------
    ArmTrack

    Raises
    ------
    NotTracked
        There are too few frames, nothing goes round in them, or the arms look alike.
    """
    if len(frames) < FEWEST_FRAMES:
        raise NotTracked("few_frames", len(frames))
    change = changes(frames)
    refusals = []
    for signed in (change, -change):  # dark arms before a bright wall show better than the tape between them
        try:
            return _followed(signed, times_s)
        except NotTracked as refusal:
            refusals.append(refusal)
    grey = float(np.median(frames[:: 1 + len(frames) // BACKGROUND_FRAMES]))
    raise NotTracked("dark", grey) if grey < DARK_GREY else max(refusals, key=_progress)


def _progress(refusal: NotTracked) -> int:
    return get_args(Reason).index(refusal.reason)


def _followed(change: Change, times_s: Floats) -> ArmTrack:
    """Try the ellipses on which spots go round, sharpen the best, and judge what it shows."""
    places, showing = spots(change[:: 1 + len(change) // MOST_SEARCHED])
    if showing < FEWEST_FRAMES / 2:
        raise NotTracked("still", showing)
    side = min(change.shape[1:])
    tried: list[Tried] = []
    for where in find_rounds(places, showing, shape=change.shape[1:]):
        spectra = ring_spectra(change, where)
        tried.append(_tried(spectra, times_s, where, ring_model(spectra, where, side), 1))
    tried.sort(key=lambda one: -one[0])
    again: list[Tried] = []
    for _, where, curve in tried[:PROMISING]:
        spectra = ring_spectra(change, where)
        moving = moving_frames(curve, times_s)
        if moving.sum() >= FEWEST_FRAMES:
            again.append(_tried(spectra, times_s, where, model_of(spectra[moving], curve(times_s)[moving]), 2))
    if not again or max(again, key=lambda one: one[0])[0] <= 0:
        raise NotTracked("nothing_round", 0.0)
    _, where, curve = max(again, key=lambda one: one[0])
    for rounds, step in enumerate(CLIMB, 1):
        where = sharpest(change, times_s, where, curve, step * side)
        spectra = ring_spectra(change, where)
        moving = moving_frames(curve, times_s)
        curve, seen, match = track(spectra, times_s, model_of(spectra[moving], curve(times_s)[moving]), rounds)
    found = _judged(spectra, times_s, curve, seen, match)
    halves = [_score(ring_spectra(change, at), times_s, half) for at, half in wound_twice(change, times_s, curve)]
    if max(halves) > AS_WELL * _score(spectra, times_s, curve):
        raise NotTracked("alike", 0.5)
    return found


def _tried(spectra: Spectra, times_s: Floats, where: Round, model: Model, rounds: int) -> Tried:
    """How well an ellipse's pictures foretell each other, with the ellipse and the angle that they show."""
    curve = track(spectra, times_s, model, rounds)[0]
    return _score(spectra, times_s, curve), where, curve


def _score(spectra: Spectra, times_s: Floats, curve: Curve) -> float:
    """How well a curve foretells frames that it was not learnt from, over all frames; 0 where it hardly moves."""
    moving = moving_frames(curve, times_s)
    if moving.sum() < FEWEST_FRAMES:
        return 0.0
    return float(_by_itself(spectra[moving], curve(times_s)[moving], times_s[moving])[1].sum()) / times_s.size


def _by_itself(spectra: Spectra, turns: Floats, times_s: Floats) -> tuple[Floats, Floats, Floats]:
    """What each frame shows by a model that was learnt from others.

    Returns
    -------
    alone : ndarray, shape (n,)
        Angle at which it fits best, out of the whole turn.
    mine, opposite : ndarray, shape (n,)
        Correlation at the given angle, and half a turn from it.
    """
    block = np.floor(times_s / BLOCK_S).astype(int) % 2
    alone, mine, opposite = (np.zeros(turns.size) for _ in range(3))
    grid = np.arange(ANGLES) / ANGLES
    for one in (block == 0, block == 1):
        if one.all() or not one.any():
            break
        matched = correlation(spectra[one], model_of(spectra[~one], turns[~one]))
        alone[one] = grid[correlated_at(matched, np.tile(grid, (len(matched), 1))).argmax(axis=1)]
        mine[one], opposite[one] = correlated_at(matched, turns[one, np.newaxis] + [0.0, 0.5]).T
    return alone, mine, opposite


def _judged(spectra: Spectra, times_s: Floats, curve: Curve, seen: Floats, match: Floats) -> ArmTrack:
    """Keep the longest part that turns one way and is borne out by single frames; refuse what is not."""
    ends = curve(times_s[[0, -1]])
    way = 1.0 if ends[1] >= ends[0] else -1.0
    turns, speed = way * curve(times_s), way * curve(times_s, 1)
    moving = speed > SLOWEST_HZ
    if moving.sum() < FEWEST_FRAMES / 2:
        raise NotTracked("still", float(moving.sum()))
    agreeing = _agreeing(spectra, way * turns, times_s, moving)
    first, last = _longest(times_s, turns, agreeing, moving)
    if turns[last] - turns[first] < FEWEST_TURNS:
        raise NotTracked("seldom_seen", float(turns[last] - turns[first]))
    first += int(np.argmax(speed[first : last + 1] >= UP_TO_SPEED * speed[first : last + 1].max()))
    part = slice(first, last + 1)
    grid_s = np.linspace(
        times_s[first], times_s[last], max(2, round((times_s[last] - times_s[first]) / STEP_S) + 1)
    )
    steps = np.maximum(np.diff(way * curve(grid_s)), 1e-6)
    shown = match > np.median(match[part]) / 2
    stands = _stood_until(-times_s[::-1], turns[::-1], shown[::-1])
    return ArmTrack(
        times_s=grid_s,
        turns=np.concatenate([[0.0], np.cumsum(steps)]),
        frame_s=times_s[part],
        frame_turns=way * seen[part] - turns[first],
        agreeing=agreeing[part],
        stood_until_s=_stood_until(times_s, turns, shown),
        stands_from_s=None if stands is None else -stands,
    )


def _agreeing(spectra: Spectra, turns: Floats, times_s: Floats, moving: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which of the moving frames show the given angle, by themselves; refuses arms that look alike."""
    chosen = np.flatnonzero(moving)
    alone, mine, opposite = _by_itself(spectra[chosen], turns[chosen], times_s[chosen])
    off = np.abs(apart(alone, turns[chosen]))
    shown = np.minimum(off, 0.5 - off) < AGREES
    either = np.zeros(moving.size, dtype=bool)
    either[chosen] = shown
    made = abs(float(np.subtract(*turns[list(_longest(times_s, turns, either, moving))])))
    if shown.mean() < LEAST_SHOWN or made < 1:
        raise NotTracked("nothing_round", made)
    if made < FEWEST_TURNS:
        raise NotTracked("few_turns" if np.ptp(turns[chosen]) < FEWEST_TURNS else "seldom_seen", made)
    odd = (mine - opposite)[shown]
    # Neighbouring frames look alike, so that some of them count as one.
    certainty = float(odd.mean() / (odd.std() + 1e-9) * np.sqrt(odd.size / ALIKE_FRAMES))
    right = float(np.mean(off[shown] < AGREES))
    if right < LEAST_RIGHT or certainty < LEAST_CERTAINTY:
        raise NotTracked("alike", right)
    agreeing = np.zeros(moving.size, dtype=bool)
    agreeing[chosen] = (off < AGREES) & (mine > LEAST_OF_USUAL * np.median(mine[shown]))
    return agreeing


def _longest(
    times_s: Floats, turns: Floats, shown: NDArray[np.bool_], moving: NDArray[np.bool_]
) -> tuple[int, int]:
    """First and last frame of the part that makes most turns, with frames that bear it out all along."""
    # One frame may agree by luck; most of those about it do not.
    confirmed_by_motion = np.convolve(shown, np.ones(SEEN_OF), mode="same") >= SEEN_OF - 1
    known = np.flatnonzero(shown & confirmed_by_motion)
    if not known.size:
        raise NotTracked("nothing_round", 0.0)
    stops = np.cumsum(~moving)
    gap = (np.abs(np.diff(turns[known])) > MOST_UNSEEN) | (np.diff(times_s[known]) > MOST_UNSEEN_S)
    gap |= np.diff(stops[known]) > 0
    breaks = np.flatnonzero(gap)
    firsts, lasts = known[np.concatenate([[0], breaks + 1])], known[np.concatenate([breaks, [known.size - 1]])]
    most = int(np.argmax(np.abs(turns[lasts] - turns[firsts])))
    return int(firsts[most]), int(lasts[most])


def _stood_until(times_s: Floats, turns: Floats, shown: NDArray[np.bool_]) -> float | None:
    """Until when the crank stands from the first frame on; None where that is not long or not shown."""
    begins = times_s < times_s[0] + STOOD_S
    away = np.abs(turns - np.median(turns[begins]))
    near, far = (int(np.argmax(away > size)) or away.size for size in (STOOD, 4 * STOOD))
    if near == away.size or times_s[near] - times_s[0] < STOOD_S or np.mean(shown[:near]) < 0.5:
        return None
    # From rest an angle grows with the square of time: four times as far takes twice as long.
    return float(times_s[near] - (times_s[min(far, away.size - 1)] - times_s[near]))
