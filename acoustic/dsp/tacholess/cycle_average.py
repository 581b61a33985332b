"""Cycle average: intervals from impact to impact laid over each other, and where a train runs early or late."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Floats

# Judgement: an impact that rings for an eighth of its interval has no more.
HARMONICS = 8
STRETCH = 8  # intervals looked at together
CLEAR = 2.5  # standard deviations of noise by which a stretch must be like the others
# Judgement [impacts]: balls shift in their pockets by as much.
SMALLEST_ERROR = 0.01
# Judgement: fewer stretches say nothing of how the lateness goes on.
FEWEST = 4
BESIDE = 4  # stretches that make the first pattern
# Resolution: the common pattern settles in two or three rounds.
ROUNDS = 3
SHIFTS = 48  # of an impact, to which lateness is told
MOST_LATE = 6  # impacts either way
MOST_SCORE = 8.0  # one loud stretch must not bend the path
USUAL_CHANGE = 0.06  # of lateness from one stretch to the next [impacts]


@dataclass(frozen=True, slots=True, eq=False)
class Delays:
    """By how much stretches of a train come later than a guess of its course has them.

    Attributes
    ----------
    impacts : ndarray, shape (k,)
        Middles of the stretches, counted in impacts of the guess.
    late : ndarray, shape (k,)
        Lateness, in impacts.
    error : ndarray, shape (k,)
        Its standard error.
    """

    impacts: Floats
    late: Floats
    error: Floats


def stretch_delays(profiles: Floats) -> Delays | None:
    """Follow how late each few intervals come against the pattern of all.

    Parameters
    ----------
    profiles : ndarray, shape (intervals, phases)
        As `impact_train.folded` gives them.

    Returns
    -------
    Delays or None
        Of the stretches that are clearly like the rest; None where fewer than four are.

    Notes
    -----
    The pattern is learnt from the stretches as they are aligned, the path through
    their shifts found by dynamic programming. The error follows from the curvature
    at the best fit and the scatter of single intervals.
    """
    if len(profiles) < 3 * STRETCH:
        return None
    harmonic = np.arange(1, HARMONICS + 1)
    lines = np.fft.rfft(profiles, axis=1)[:, harmonic]
    noise = np.maximum(np.mean(np.abs(lines) ** 2, axis=0), 1e-12)
    firsts = np.arange(0, len(lines) - STRETCH + 1, STRETCH // 2)
    sums = np.concatenate([np.zeros((1, HARMONICS)), np.cumsum(lines, axis=0)])
    parts = (sums[firsts + STRETCH] - sums[firsts]) / STRETCH / np.sqrt(noise)
    turn = np.exp(2j * np.pi * np.outer(np.arange(SHIFTS) / SHIFTS, harmonic))
    # A guess that drifts by more than an impact blurs the mean of all: a few stretches side by side begin.
    side = np.lib.stride_tricks.sliding_window_view(parts, BESIDE, axis=0).mean(axis=2)
    pattern = side[int((np.abs(side) ** 2).sum(axis=1).argmax())]
    late = np.zeros(firsts.size)
    for _ in range(ROUNDS):
        size = float((np.abs(pattern) ** 2).sum())
        fit = (parts * pattern.conj()) @ turn.T
        score = fit.real / np.sqrt(size / 2 / STRETCH + 1e-12)
        late = _tracked(score)
        aligned = parts * np.exp(2j * np.pi * np.outer(late, harmonic))
        pattern = aligned.mean(axis=0)
    size = float((np.abs(pattern) ** 2).sum())
    bend = float(((2 * np.pi * harmonic) ** 2 * np.abs(pattern) ** 2).sum())
    best = (aligned * pattern.conj()).real.sum(axis=1)
    clear = best / np.sqrt(size / 2 / STRETCH + 1e-12) > CLEAR
    if np.count_nonzero(clear) < FEWEST:
        return None
    share = np.maximum(best / max(size, 1e-12), 0.05)
    error = np.maximum(SMALLEST_ERROR, 1 / (np.sqrt(2 * STRETCH * bend + 1e-12) * share))
    return Delays((firsts + STRETCH / 2)[clear], late[clear], error[clear])


def _tracked(score: Floats) -> Floats:
    """Lateness of each stretch on the path of little change, shape (stretches,); it may add up past an impact."""
    reach = MOST_LATE * SHIFTS
    states = np.arange(-reach, reach + 1)
    gain = np.clip(score, -MOST_SCORE, MOST_SCORE)[:, states % SHIFTS]
    changes = np.arange(-SHIFTS // 4, SHIFTS // 4 + 1)
    cost = 0.5 * (changes / SHIFTS / USUAL_CHANGE) ** 2
    total = gain[0]
    back = np.zeros(gain.shape, dtype=np.int8)
    for place in range(1, len(gain)):
        padded = np.pad(total, SHIFTS // 4, constant_values=-np.inf)
        reached = np.lib.stride_tricks.sliding_window_view(padded, states.size) - cost[:, np.newaxis]
        back[place] = changes[reached.argmax(axis=0)]
        total = reached.max(axis=0) + gain[place]
    path = [int(total.argmax())]
    for place in range(len(gain) - 1, 0, -1):
        path.append(path[-1] + int(back[place, path[-1]]))
    late: Floats = states[np.array(path[::-1])] / SHIFTS
    return late
