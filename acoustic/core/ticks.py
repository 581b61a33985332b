"""A once-a-turn tick in the recording: find the train, and the crank angle from its times."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acoustic.core.clicks import Clicks

Floats = NDArray[np.float64]

SLOWEST_S = 5.0  # a crank slower than this is about to stand
FASTEST_S = 0.2  # 300 turns a minute
MOST_CLICKS = 160
SPEED_CHANGE = 0.2  # usual change of the interval from one turn to the next, over the interval
COST = 0.15  # of that change, in ticks
PRICE = 0.55
TEMPLATES = 8
LEAST_TICKS = 4
LEAST_SHARE = 0.7  # of the clicks as loud and alike: below, the train was picked from a defect's strikes


def tick_train(clicks: Clicks) -> Floats:
    """Choose from the clicks heard the train that a card on the crank would make.

    Parameters
    ----------
    clicks : Clicks
        All clicks, in order of time.

    Returns
    -------
    ndarray, shape (k,)
        Times of the train [s]; empty where fewer than four clicks fit one, or where
        as many others sound the same.

    Notes
    -----
    Each of the loudest clicks in turn is taken for a tick. A click is worth its
    strength and its likeness in spectrum to that tick, less a price, so that a
    defect's fainter or differently sounding strikes are passed over. The best
    path through the clicks, by dynamic programming over pairs, pays the square
    of the logarithm of every change of interval.
    """
    if clicks.times_s.size < LEAST_TICKS:
        return np.empty(0)
    keep = np.sort(np.argsort(clicks.strength)[-MOST_CLICKS:])
    times_s, strength, spectrum = clicks.times_s[keep], clicks.strength[keep], clicks.spectrum[keep]
    length = np.linalg.norm(np.maximum(spectrum, 0), axis=1)
    direction = np.maximum(spectrum, 0) / np.maximum(length, 1e-9)[:, np.newaxis]
    best: tuple[float, Floats] = (0.0, np.empty(0))
    for template in np.argsort(strength)[-TEMPLATES:]:
        likeness = direction @ direction[template]
        worth = np.minimum(strength / strength[template], 1.2) * likeness**2 - PRICE
        total, path = _best_path(times_s, worth)
        if len(path) >= LEAST_TICKS and total > best[0]:
            alike = (worth + PRICE > 0.6 * np.median(worth[path] + PRICE)) & (
                (times_s >= times_s[path[0]]) & (times_s <= times_s[path[-1]])
            )
            best = (total, times_s[path] if len(path) >= LEAST_SHARE * alike.sum() else np.empty(0))
    return best[1]


def _best_path(times_s: Floats, worth: Floats) -> tuple[float, list[int]]:
    """Score and members of the best train."""
    score, back = _best_pairs(times_s, worth)
    before_last, last = (int(k) for k in np.unravel_index(int(np.argmax(score)), score.shape))
    if not np.isfinite(score[before_last, last]):
        return 0.0, []
    path = [last, before_last]
    while back[path[-1], path[-2]] >= 0:
        path.append(int(back[path[-1], path[-2]]))
    return float(score[before_last, last]), path[::-1]


def _best_pairs(times_s: Floats, worth: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """Best score of a train that ends with each pair of clicks, and the click before the pair."""
    count = times_s.size
    gap = times_s[np.newaxis, :] - times_s[:, np.newaxis]
    possible = (gap >= FASTEST_S) & (gap <= SLOWEST_S)
    score = np.where(possible, worth[:, np.newaxis] + worth[np.newaxis, :], -np.inf)
    back = np.full((count, count), -1, dtype=np.intp)
    for middle in range(1, count):
        before = np.flatnonzero(possible[:, middle])
        after = np.flatnonzero(possible[middle])
        if before.size == 0 or after.size == 0:
            continue
        change = np.log(gap[middle, after][np.newaxis, :] / gap[before, middle][:, np.newaxis])
        cost = COST * (change / SPEED_CHANGE) ** 2
        reach = score[before, middle][:, np.newaxis] - cost
        chosen = reach.argmax(axis=0)
        total = reach[chosen, np.arange(after.size)] + worth[after]
        better = total > score[middle, after]
        score[middle, after] = np.where(better, total, score[middle, after])
        back[middle, after] = np.where(better, before[chosen], back[middle, after])
    return score, back
