"""Trains of once-a-turn marks: which events belong, which turns were missed, and a smooth angle through them.

The crank's inertia is what mends a train: one turn takes about as long as the next, and the change from turn
to turn is itself smooth. An interval twice as long as its neighbours' course holds a missed mark, and an event
in the middle of a smooth interval is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Floats, Ints, lock_fields
from acoustic.dsp.tacho.run_down import angles_of, fit_each_drag, fit_run_down, likely_run_downs

FASTEST_S, SLOWEST_S = 0.25, 5.0  # 240 turns a minute; slower than 12, a crank is about to stand
MOST_TURNS = 3  # an interval may hold two missed marks
# One more than FREE_MARKS below.
LEAST_MARKS = 4
LEAST_EVIDENCE = 7.0  # nats: 1000 to 1
# Prices of a path, in sure marks.
MISSED = 0.5
CHANGE, CHANGE_PRICE = 0.15, 0.06  # a turn's length against the one before, in ln
BEND, BEND_PRICE, MOST_BENT = 0.05, 0.2, 25.0  # that change against what the drag before makes of it
USUAL_CHANGE = 0.03  # a coasting crank slows by some per cent a turn
IN_STEP = 0.025  # turns from the smooth course: the card, its flick and the timing together
# Judgement: turns; a few degrees even where the marks scatter less.
SURELY_IN_STEP = 0.008
OFF_STEP = 0.08  # farther from every mark, an event is at another angle of the crank
NEXT_STEP = 0.08  # turns, of a mark at an end or foretold by its few neighbours alone
UNSURE = 0.15  # turns: a mark at an end that the others foretell no better proves nothing
NEAREST = 5  # marks that tell of the next where the crank is pedalled
FREE_MARKS = 3  # that many always lie on some smooth course


@dataclass(frozen=True, slots=True, eq=False)
class MarkTrain:
    """Marks of one angle of the crank, as far as they were found.

    Attributes
    ----------
    times_s : ndarray, shape (k,)
    turns : ndarray of int, shape (k,)
        Turn of each mark, from 0; where it jumps, marks were missed.
    evidence : float
        Log odds [nats] that these are marks and not events at random, the search counted in.
    """

    times_s: Floats
    turns: Ints
    evidence: float = 0.0

    def __post_init__(self) -> None:
        lock_fields(self, "times_s", "turns")

    @property
    def stands_out(self) -> bool:
        """Whether it is surely a train of marks."""
        return self.evidence >= LEAST_EVIDENCE

    @property
    def missed(self) -> int:
        """Turns whose mark was not found."""
        return int(self.turns[-1]) + 1 - self.turns.size if self.turns.size else 0


# No train: no evidence at all.
NOTHING = MarkTrain(np.empty(0), np.empty(0, dtype=np.intp), -np.inf)


def smooth_path(times_s: Floats, worth: Floats) -> tuple[Ints, Ints]:
    """Choose the events that lie on the smoothest and worthiest course of turns.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
        Increasing [s].
    worth : ndarray, shape (k,)
        How sure each event is a mark: 1 surely, -1 surely not.

    Returns
    -------
    members, turns : ndarray of int, shape (j,)
        Indices of the chosen events and the turn each marks, from 0; empty where no
        two events are a turn apart.

    Notes
    -----
    Dynamic programming over pairs of events with one to three turns between them.
    A path earns its members' worth and pays for missed turns, for the change of
    the interval from turn to turn, and for the change of the drag from that of
    the best path into each pair.
    """
    count, held = times_s.size, np.arange(1, MOST_TURNS + 1)
    gap_s = times_s[np.newaxis, :] - times_s[:, np.newaxis]
    turn_s = gap_s[:, :, np.newaxis] / held
    possible = (turn_s >= FASTEST_S) & (turn_s <= SLOWEST_S)
    if not possible.any():
        return np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp)
    price = MISSED * (held - 1)
    score = np.where(possible, worth[:, np.newaxis, np.newaxis] + worth[:, np.newaxis] - price, -np.inf)
    back = np.full(score.shape, -1, dtype=np.intp)
    slowing = np.full(score.shape, np.nan)
    for middle in range(1, count - 1):
        first, before = np.nonzero(possible[:, middle])
        last, after = np.nonzero(possible[middle])
        if first.size == 0 or last.size == 0:
            continue
        one_s, next_s = turn_s[first, middle, before][:, np.newaxis], turn_s[middle, last, after]
        lasting_s = (gap_s[first, middle][:, np.newaxis] + gap_s[middle, last]) / 2
        drag = (1 / one_s - 1 / next_s) / lasting_s
        known = slowing[first, middle, before][:, np.newaxis]
        reach = score[first, middle, before][:, np.newaxis] - _roughness(one_s, next_s, drag, known)
        best = reach.argmax(axis=0)
        column = np.arange(last.size)
        total = reach[best, column] + worth[last] - price[after]
        better = total > score[middle, last, after]
        at = (middle, last[better], after[better])
        score[at] = total[better]
        back[at] = (first * MOST_TURNS + before)[best][better]
        slowing[at] = drag[best, column][better]
    return _traced(score, back)


def _roughness(one_s: Floats, next_s: Floats, drag: Floats, drag_before: Floats) -> Floats:
    """Price of a turn's length beside the one before, and of the drag that this takes beside the drag before.

    A crank about to stand takes ever longer for a turn under one and the same drag.
    """
    change = np.abs(np.log(next_s / one_s)) / CHANGE
    known = np.isfinite(drag_before)
    bend = np.where(known, (drag - drag_before) * one_s * next_s, drag * one_s * next_s - USUAL_CHANGE) / BEND
    price: Floats = CHANGE_PRICE * np.where(change < 1, change**2, 2 * change - 1) + np.where(
        known, BEND_PRICE, BEND_PRICE / 3
    ) * np.minimum(bend**2, MOST_BENT)
    return price


def _traced(score: Floats, back: Ints) -> tuple[Ints, Ints]:
    """Follow the best path from its end to its start."""
    first, last, held = (int(k) for k in np.unravel_index(int(np.argmax(score)), score.shape))
    path, steps = [last, first], [held + 1]
    while (before := int(back[path[-1], path[-2], steps[-1] - 1])) >= 0:
        path.append(before // MOST_TURNS)
        steps.append(before % MOST_TURNS + 1)
    turns = np.concatenate([[0], np.cumsum(steps[::-1])])
    return np.array(path[::-1], dtype=np.intp), turns.astype(np.intp)


def off_course(times_s: Floats, turns: Ints) -> Floats:
    """How far each mark lies from the course of the others.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
        Increasing [s], k >= 4.
    turns : ndarray of int, shape (k,)

    Returns
    -------
    ndarray, shape (k,)
        Its turn less the one that its neighbours' cubic asks for; where a run-down
        fits more of the marks, less that.
    """
    angle = turns.astype(float)
    local = _against_neighbours(times_s, angle)
    if np.all(np.abs(local) < IN_STEP):
        return local
    whole = angle - fit_run_down(times_s, angle, robust=True).turns(times_s)
    more = np.count_nonzero(np.abs(whole) < IN_STEP) > np.count_nonzero(np.abs(local) < IN_STEP)
    return whole if more else local


def _against_neighbours(times_s: Floats, angle: Floats) -> Floats:
    """Turns off the polynomial through the two marks either side; at the ends, through the nearest three."""
    count = times_s.size
    at = np.arange(count)
    reach = np.array([-2, -1, 1, 2])
    off = np.empty(count)
    inner = at[2:-2]
    off[inner] = angle[inner] - _through(times_s, angle, inner[:, np.newaxis] + reach, inner)
    for k in [*at[:2], *at[max(2, count - 2) :]]:
        nearest = np.sort(np.argsort(np.abs(at - k), kind="stable")[1:4])
        off[k] = (angle[[k]] - _through(times_s, angle, nearest[np.newaxis, :], np.array([k])))[0]
    return off


def _through(times_s: Floats, angle: Floats, marks: Ints, at: Ints) -> Floats:
    """Lagrange's polynomial through marks (rows, m) at the times of the marks `at` (rows,)."""
    x, total = times_s[marks], np.zeros(at.size)
    for k in range(marks.shape[1]):
        others = np.delete(x, k, axis=1)
        share = (times_s[at][:, np.newaxis] - others) / (x[:, [k]] - others)
        total += angle[marks[:, k]] * share.prod(axis=1)
    return total


def evidence(times_s: Floats, turns: Ints, others_s: Floats) -> float:
    """Log odds that a train marks one angle of the crank, and was not picked from events at random.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
    turns : ndarray of int, shape (k,)
        The train.
    others_s : ndarray, shape (j,)
        All events that sound like its members, or look like them; members may be among them.

    Returns
    -------
    float
        Nats, the choice among trains counted in; at most 0 where the others are as regular.

    Notes
    -----
    How likely a turn would hold such an event by chance is read off the other
    angles: their mean, or the fullest of them where events keep a rhythm of
    their own. The strikes of a defect fill many angles alike, and go on before
    the first and after the last that was picked.
    """
    count = int(turns[-1]) + 1
    off = np.abs(off_course(times_s, turns))
    hits = int(np.count_nonzero(off[1:-1] < _in_step(off)) + np.count_nonzero(off[[0, -1]] < NEXT_STEP))
    if hits < LEAST_MARKS or (times_s[1] - times_s[0]) / (turns[1] - turns[0]) < 1.15 * FASTEST_S:
        return -np.inf  # a train that begins at the fastest crank's pace went on before it
    inside = (others_s > times_s[0] - 0.01) & (others_s < times_s[-1] + 0.01)
    start_s, stop_s = unsure_ends(times_s, turns)
    angle = np.interp(others_s[inside], times_s, turns)
    angle = angle[np.abs(angle - np.round(angle)) > OFF_STEP]
    fullest = _fullest(angle)
    random = min(0.84, max((angle.size + 1) * 2 * IN_STEP / count, fullest / count if fullest > 1 else 0.0))
    sure = float(np.clip(hits / count, 0.5, 0.9))
    random = min(random, 0.98 * sure)
    odds = (hits - FREE_MARKS) * np.log(sure / random) + (count - hits) * np.log((1 - sure) / (1 - random))
    outside = int(np.count_nonzero((others_s < start_s) | (others_s > stop_s)))
    return float(odds - 2 * np.log(hits + angle.size) - 3 * max(0.0, outside - max(1.0, hits / 4)))


def unsure_ends(times_s: Floats, turns: Ints) -> tuple[float, float]:
    """From and until when an event may be a mark that could not be told: one more turn, the last a long one."""
    turn_s = np.diff(times_s[[0, 1, -2, -1]])[[0, 2]] / np.diff(turns[[0, 1, -2, -1]])[[0, 2]]
    return float(times_s[0] - 1.5 * turn_s[0]), float(times_s[-1] + 3 * turn_s[1])


def _in_step(off: Floats) -> float:
    """How far off the course [turns] a mark may lie where the usual one lies so near."""
    return min(IN_STEP, SURELY_IN_STEP + 4 * float(np.median(np.abs(off))))


def _fullest(angle: Floats) -> int:
    """In how many turns the fullest of all angles, a window of the crank's turn, holds an event."""
    centres = np.arange(OFF_STEP + 2 * IN_STEP, 1 - OFF_STEP - IN_STEP, 0.8 * IN_STEP)
    off = angle[np.newaxis, :] - centres[:, np.newaxis]
    turn = np.round(off)
    near = np.abs(off - turn) < IN_STEP
    return max((np.unique(turn[k][near[k]]).size for k in range(centres.size)), default=0)


def reconstructed(times_s: Floats, worth: Floats, alike_s: Floats) -> MarkTrain:
    """Find the marks among events, drop the false ones, and count the turns whose mark is missing.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
        Events that may be marks [s], increasing.
    worth : ndarray, shape (k,)
        How sure each is a mark: 1 surely, -1 surely not.
    alike_s : ndarray, shape (j,)
        All events that are as good as marks [s], increasing.

    Returns
    -------
    MarkTrain
        No marks where fewer than four are in step.
    """
    path, turns = smooth_path(times_s, worth)
    if path.size < LEAST_MARKS:
        return NOTHING
    marks_s, turns = mended(times_s[path], turns, alike_s)
    if marks_s.size < LEAST_MARKS:
        return NOTHING
    return MarkTrain(marks_s, turns, evidence(marks_s, turns, alike_s))


def mended(times_s: Floats, turns: Ints, more_s: Floats) -> tuple[Floats, Ints]:
    """Leave out the marks that are off the course, and take in those that lie on it before and after.

    Parameters
    ----------
    times_s : ndarray, shape (k,)
    turns : ndarray of int, shape (k,)
    more_s : ndarray, shape (j,)
        Events that may be marks too [s], increasing.

    Returns
    -------
    times_s, turns
        Turns counted from 0 again; fewer than four marks where too few are in step.
    """
    while times_s.size > LEAST_MARKS:
        off = np.abs(off_course(times_s, turns))[1:-1]
        if off.max() < _in_step(off):
            break
        # A false mark throws its neighbours off too, but itself most.
        times_s, turns = np.delete(times_s, off.argmax() + 1), np.delete(turns, off.argmax() + 1)
    for end in (1, -1):
        # A course bends to meet a mark at its end, so that each must be foretold by the others.
        while times_s.size > LEAST_MARKS:
            last = times_s.size - 1 if end > 0 else 0
            rest_s, rest = np.delete(times_s, last), np.delete(turns, last)
            if _foretold_turns(rest_s, rest, times_s[[last]], end)[0] == turns[last]:
                break
            times_s, turns = rest_s, rest
        while times_s.size >= LEAST_MARKS:
            found = _next_mark(times_s, turns, more_s, end)
            if found is None:
                break
            at = times_s.size if end > 0 else 0
            times_s, turns = np.insert(times_s, at, found[0]), np.insert(turns, at, found[1])
    # A lone mark past missed turns proves nothing: any event may come there by chance.
    while times_s.size > LEAST_MARKS and turns[-1] - turns[-2] > 1:
        times_s, turns = times_s[:-1], turns[:-1]
    while times_s.size > LEAST_MARKS and turns[1] - turns[0] > 1:
        times_s, turns = times_s[1:], turns[1:]
    return times_s, turns - (turns[0] if turns.size else 0)


def _next_mark(times_s: Floats, turns: Ints, more_s: Floats, end: int) -> tuple[float, int] | None:
    """The next event on the course past the last mark (end 1), or before the first (end -1)."""
    last_s, last = (float(times_s[-1]), int(turns[-1])) if end > 0 else (float(times_s[0]), int(turns[0]))
    beyond = more_s[more_s > last_s + FASTEST_S] if end > 0 else more_s[more_s < last_s - FASTEST_S][::-1]
    foretold = _foretold_turns(times_s, turns, beyond, end)
    ahead = end * (foretold - last)
    in_step = np.flatnonzero((ahead >= 1) & (ahead <= MOST_TURNS))
    return (float(beyond[in_step[0]]), int(foretold[in_step[0]])) if in_step.size else None


def _foretold_turns(times_s: Floats, turns: Ints, at_s: Floats, end: int) -> Floats:
    """The turn that events past an end of the train would mark, by every run-down that fits it.

    Where none does, as of a pedalled crank, the last few marks foretell the next turn alone. NaN
    where an event is out of step, the crank stands, or the run-downs part by more than `UNSURE`.
    """
    angle = turns.astype(float)
    likely = likely_run_downs(times_s, angle)
    if likely is None:
        near = slice(-NEAREST, None) if end > 0 else slice(None, NEAREST)
        times_s, drags = times_s[near], np.zeros(1)
        fits = fit_each_drag(times_s, angle[near], np.ones(times_s.size), drags)[0]
        give = NEXT_STEP
    else:
        (drags, fits), give = likely, IN_STEP
    since = (at_s - times_s[0]) / (times_s[-1] - times_s[0])
    foretold = angles_of(since, drags, fits)
    # Past its top the fitted angle falls again: there the crank stands.
    standing = (foretold < angles_of(since - 0.001, drags, fits)).all(axis=0)
    least, greatest = foretold.min(axis=0), foretold.max(axis=0)
    turn = np.round((least + greatest) / 2)
    within = (least - give < turn) & (turn < greatest + give) & (greatest - least < UNSURE) & ~standing
    if likely is None:
        within &= np.abs(turn - (turns[-1] if end > 0 else turns[0])) <= 1
    return np.where(within, turn, np.nan)
