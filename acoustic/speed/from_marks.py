"""Motion from the times of one mark per crank turn, from any source of marks.

Marks from a file are used as they are, or refused; marks heard in a recording come here reconstructed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.levels.background import still_parts
from acoustic.dsp.tacho.run_down import likely_run_downs, smooth_angle, standing_s
from acoustic.dsp.tacho.train import MarkTrain
from acoustic.errors import InputError
from acoustic.model import Motion
from acoustic.speed.kind import kind_of_spin

# Three marks lie on some smooth course always (FREE_MARKS in acoustic/dsp/tacho/train.py); the fourth tells.
LEAST_MARKS = 4
PUSH_S = 0.3  # the crank gathers speed before its first mark, and passes it within a turn
LONG_FIRST, LONG_LAST = 1.75, 2.3  # a crank about to stand takes about twice as long for its last turn
ENOUGH_TO_TELL = 7  # marks; through fewer some run-down always passes
LONG_STOP = 2.5  # last turns until it stops: under dry friction 2.4 at most
# Judgement: a block of the level on either side; after the stand, what the crank still rocks.
CLEAR_S, LEAST_CLEAR_S = 0.1, 0.2
# Judgement, relative times the count: what a filled-in turn and an end without neighbours may be off.
MISSED_DOUBT, FEW_DOUBT = 0.01, 0.006
SUDDEN = 1.6  # times the mean of its neighbours; a missed mark makes 2, a crank slowing to a stand 1.2


def motion_from_marks(
    marks_s: Sequence[float] | NDArray[np.float64],
    *,
    duration_s: float,
    source: str,
    timing_s: float,
    own_sound: bool = False,
) -> Motion:
    """Run a smooth crank angle through marks made once per turn.

    Parameters
    ----------
    marks_s : sequence of float
        Times of the marks [s].
    duration_s : float
        Length of the recording [s].
    source : str
        The motion's source code.
    timing_s : float
        Usual error of one mark [s].
    own_sound : bool
        Whether the marks are sounds in the recording, no evidence of the bearing.

    Returns
    -------
    Motion

    Raises
    ------
    InputError
        Too few marks, out of order, or with one missing.
    """
    marks = np.asarray(marks_s, dtype=float)
    if marks.size < LEAST_MARKS:
        raise InputError(
            f"{marks.size} marks of crank turns were found; {LEAST_MARKS} or more are needed",
            hint="Mark every turn of the spin once, at the same position of the crank.",
        )
    if not np.all(np.isfinite(marks)):
        raise InputError(
            f"mark {int(np.argmin(np.isfinite(marks))) + 1} is not a time",
            hint="Give every mark as a number of seconds.",
        )
    intervals = np.diff(marks)
    if np.any(intervals <= 0):
        at = int(np.argmax(intervals <= 0))
        raise InputError(
            f"mark {at + 2} at {marks[at + 1]:.3f} s does not come after the one before it at {marks[at]:.3f} s",
            hint="Put the marks in order of time, each once.",
        )
    _require_even(marks, intervals)
    train = MarkTrain(marks, np.arange(marks.size))
    before_s, after_s = _clear_of_turning(train)
    still = still_parts(duration_s, float(marks[0]), float(marks[-1]), before_s=before_s, after_s=after_s)
    angle = smooth_angle(marks, train.turns)
    own_clicks_s = marks if own_sound else np.empty(0)
    return _motion(train, angle, source=source, timing_s=timing_s, own_clicks_s=own_clicks_s, still=still)


def motion_from_train(
    train: MarkTrain,
    *,
    duration_s: float,
    source: str,
    timing_s: float,
    own_sound: bool,
    sounding_s: tuple[float, float],
) -> Motion:
    """Run a smooth crank angle through marks that were heard, over the turns that were missed.

    Parameters
    ----------
    train : MarkTrain
        Four marks or more.
    duration_s : float
        Length of the recording [s].
    source : str
        The motion's source code.
    timing_s : float
        Usual error of one mark [s]: the angle may pass it that far off.
    own_sound : bool
        Whether the marks sound in the judged channel, a missed one perhaps too faintly to be found.
    sounding_s : (float, float)
        The part that sounds like turning, as `turning_part` finds it [s]: the first marks or
        the last may have gone unheard, and what sounds so is not still.

    Returns
    -------
    Motion
    """
    times_s, turns = smooth_angle(train.times_s, train.turns, timing_s=timing_s)
    missed = np.setdiff1d(np.arange(train.turns[-1] + 1), train.turns)
    marks_s = np.sort(np.concatenate([train.times_s, np.interp(missed, turns, times_s)]))
    start_s, stop_s = float(train.times_s[0]), float(train.times_s[-1])
    before_s, after_s = _clear_of_turning(train)
    if sounding_s[0] > 0 or sounding_s[1] < duration_s - CLEAR_S:  # else its level does not tell turning
        before_s = max(before_s, start_s - sounding_s[0] + CLEAR_S)
        after_s = max(after_s, sounding_s[1] - stop_s + CLEAR_S)
    return _motion(
        train,
        (times_s, turns),
        source=source,
        timing_s=timing_s,
        own_clicks_s=marks_s if own_sound else np.empty(0),
        still=still_parts(duration_s, start_s, stop_s, before_s=before_s, after_s=after_s),
    )


def _clear_of_turning(train: MarkTrain) -> tuple[float, float]:
    """Time before the first mark and past the last one in which the crank may turn."""
    turn_s = np.diff(train.times_s) / np.diff(train.turns)
    before_s, last_s = PUSH_S + float(turn_s[0]), float(turn_s[-1])
    stand_s = standing_s(train.times_s, train.turns.astype(float))
    if stand_s is None:
        return before_s, LONG_STOP * last_s
    return before_s, stand_s - float(train.times_s[-1]) + max(LEAST_CLEAR_S, last_s / 4)


def _motion(
    train: MarkTrain,
    angle: tuple[NDArray[np.float64], NDArray[np.float64]],
    *,
    source: str,
    timing_s: float,
    own_clicks_s: NDArray[np.float64],
    still: tuple[tuple[float, float], ...],
) -> Motion:
    count, lasting_s = int(train.turns[-1]) + 1, float(train.times_s[-1] - train.times_s[0])
    return Motion(
        times_s=angle[0],
        turns=angle[1],
        source=source,
        spin=kind_of_spin(train.times_s, train.turns.astype(float), may_be_driven=False),
        # A turn that was filled in may hold none, or two: the fewer marks, the more it matters.
        relative_uncertainty=0.001 + timing_s / lasting_s + (MISSED_DOUBT * train.missed + FEW_DOUBT) / count,
        scale_known=True,
        still=still,
        own_clicks_s=own_clicks_s,
    )


def _require_even(marks: NDArray[np.float64], intervals: NDArray[np.float64]) -> None:
    """Refuse a missing or a doubled mark: a turn takes about as long as its neighbours do on the whole."""
    share = intervals[1:-1] / np.sqrt(intervals[:-2] * intervals[2:])
    oddest = int(np.argmax(np.abs(np.log(share))))
    if 1 / SUDDEN <= share[oddest] <= SUDDEN:
        _require_even_ends(marks)
        return
    at = oddest + 1
    kind = "one seems to be missing" if share[oddest] > 1 else "one seems to be marked twice"
    raise InputError(
        f"the turn from {marks[at]:.3f} to {marks[at + 1]:.3f} s takes {intervals[at]:.2f} s, its neighbours "
        f"{intervals[at - 1]:.2f} and {intervals[at + 1]:.2f} s",
        hint=f"Look at the marks there: {kind}. Each turn needs one.",
    )


def _require_even_ends(marks: NDArray[np.float64]) -> None:
    """Refuse a first turn far longer than the second, or a last one far longer than the one before.

    Except for a crank that had almost stopped at its last mark: then a run-down passes through all of them.
    """
    intervals = np.diff(marks)
    coasts = (
        marks.size >= ENOUGH_TO_TELL and likely_run_downs(marks, np.arange(marks.size, dtype=float)) is not None
    )
    for first, other, end, most in ((0, 1, "first", LONG_FIRST), (-1, -2, "last", LONG_LAST)):
        if intervals[first] > most * intervals[other] and not coasts:
            raise InputError(
                f"the {end} turn takes {intervals[first]:.2f} s, the one beside it {intervals[other]:.2f} s",
                hint=f"A mark seems to be missing there. If not, leave the {end} mark out: the crank was still "
                "being pushed, or had almost stopped.",
            )
