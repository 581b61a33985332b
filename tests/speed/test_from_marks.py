"""Motion from marks: what it holds, and every refusal with its words."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acoustic.errors import EXIT_UNUSABLE, InputError
from acoustic.model import Motion
from acoustic.speed.from_marks import LEAST_MARKS, motion_from_marks

STEADY = [2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]
COASTING = [1.5, 2.1, 2.8, 3.6, 4.6, 5.9, 7.7]


def motion(marks_s: list[float], *, duration_s: float = 12.0, timing_s: float = 0.003) -> Motion:
    return motion_from_marks(marks_s, duration_s=duration_s, source="marks", timing_s=timing_s)


class TestMotion:
    def test_a_steady_crank_by_hand(self) -> None:
        """A mark a second: 1 turn a second, 6 turns from 2 to 8 s; straight lines are exact, 1e-9."""
        found = motion(STEADY)
        assert (found.start_s, found.stop_s) == (2.0, 8.0)
        assert found.total_turns == pytest.approx(6, abs=1e-9)
        assert found.speed_hz == pytest.approx(1.0, abs=1e-9)
        assert found.spin == "pedal"
        assert found.source == "marks"
        assert found.scale_known

    def test_a_coasting_crank(self) -> None:
        """Each turn longer than the last, 0.6 to 1.8 s: a push and coast."""
        found = motion(COASTING)
        assert found.spin == "hand"
        assert found.total_turns == pytest.approx(6, abs=1e-9)
        assert np.interp(COASTING, found.times_s, found.turns) == pytest.approx(np.arange(7), abs=1e-4)
        speed = found.speed_hz
        assert speed[0] > 2 * speed[-1]

    def test_slowing_a_little_is_pedalling(self) -> None:
        """Nine seconds of a cadence that sinks by a tenth."""
        assert motion([1.0, 2.0, 3.02, 4.06, 5.12, 6.2, 7.3]).spin == "pedal"

    @pytest.mark.parametrize(("timing_s", "spread"), [(0.003, 0.0005), (0.05, 0.05 / 6)])
    def test_the_speed_is_as_sure_as_the_marks(self, timing_s: float, spread: float) -> None:
        """A mark's error over 6 s, and a thousandth for the spline: at least the one, not twice both."""
        found = motion(STEADY, timing_s=timing_s).relative_uncertainty
        assert spread <= found <= 2 * (spread + 0.001)

    def test_still_parts_leave_the_push_and_the_last_turns_out(self) -> None:
        """Before: a turn, and 0.3 s for the push, before the first mark: 1 - 0.3 where turns take 1 s and
        the first mark comes at 2 s. After: the crank goes on turning past the last mark at 7.7 s for turns of
        1.8 s and more, so the room is heard only well past 9.5 s."""
        found = motion(COASTING, duration_s=16.0)
        (before_s, before_stop_s), (after_s, after_stop_s) = found.still
        assert before_s == 0.0
        assert before_stop_s <= 1.5 - 0.6
        assert 9.5 <= after_s < 16.0
        assert after_stop_s == 16.0
        assert motion(STEADY, duration_s=8.2).still == ((0.0, pytest.approx(0.7)),)

    def test_the_room_is_heard_again_once_the_crank_stands(self) -> None:
        """Dry friction alone, by hand: from 2 turns/s, slowing by 0.2 turns/s each second, it stands after 10 s.

        The last mark but for the end is at 9 of 10 turns: 10 - sqrt(10) = 6.84 s on, and its turn took 1.31 s.
        """
        marks_s = [2.0 + 10 - math.sqrt(100 - 10 * k) for k in range(10)]
        (_, _), (after_s, after_stop_s) = motion(marks_s, duration_s=15.0).still
        assert 12.0 <= after_s <= 12.0 + 1.31 / 4 + 0.2
        assert after_stop_s == 15.0

    def test_marks_heard_in_the_recording_are_no_evidence(self) -> None:
        heard = motion_from_marks(STEADY, duration_s=12.0, source="ticks", timing_s=0.002, own_sound=True)
        assert heard.own_clicks_s.tolist() == STEADY
        assert heard.source == "ticks"
        assert motion(STEADY).own_clicks_s.size == 0

    def test_the_motion_cannot_be_written(self) -> None:
        found = motion(STEADY)
        for values in (found.times_s, found.turns):
            with pytest.raises(ValueError, match="read-only"):
                values[0] = 1.0

    def test_the_last_turn_may_be_long(self) -> None:
        """A crank about to stand takes twice as long for its last turn: no mark is missing."""
        assert motion([1.0, 1.6, 2.3, 3.1, 4.1, 6.1]).total_turns == pytest.approx(5, abs=1e-9)

    @given(
        late_s=st.floats(0.0, 60.0),
        slowing=st.lists(st.floats(0.95, 1.5), min_size=4, max_size=20),
    )
    @settings(max_examples=30, deadline=None, derandomize=True)
    def test_any_plausible_spin_is_taken(self, late_s: float, slowing: list[float]) -> None:
        """Turns of 0.6 s and each up to half as long again as the last: accepted, and counted right."""
        marks_s = late_s + np.concatenate([[0.0], np.cumsum(0.6 * np.cumprod([1.0, *slowing]))])
        found = motion(marks_s.tolist(), duration_s=float(marks_s[-1]) + 1)
        assert found.total_turns == pytest.approx(len(slowing) + 1, abs=1e-6)
        assert np.all(np.diff(found.turns) > 0)


class TestRefusals:
    @pytest.mark.parametrize("marks_s", [[], [1.0], STEADY[: LEAST_MARKS - 1]])
    def test_too_few(self, marks_s: list[float]) -> None:
        with pytest.raises(InputError, match=f"{LEAST_MARKS} or more are needed") as caught:
            motion(marks_s)
        assert caught.value.found.startswith(f"{len(marks_s)} marks of crank turns were found")
        assert "Mark every turn" in caught.value.hint
        assert caught.value.exit_code == EXIT_UNUSABLE

    @pytest.mark.parametrize("broken", [math.nan, math.inf])
    def test_marks_that_are_no_times(self, broken: float) -> None:
        with pytest.raises(InputError, match=f"mark {len(STEADY) + 1} is not a time"):
            motion([*STEADY, broken])

    @pytest.mark.parametrize(
        ("marks_s", "message"),
        [
            (
                [1.0, 2.0, 1.5, 3.0, 4.0],
                "mark 3 at 1.500 s does not come after the one before it at 2.000 s",
            ),
            ([1.0, 2.0, 3.0, 3.0], "mark 4 at 3.000 s does not come after the one before it at 3.000 s"),
            ([2.0, 1.0, 3.0, 4.0], "mark 2 at 1.000 s does not come after the one before it at 2.000 s"),
        ],
    )
    def test_out_of_order(self, marks_s: list[float], message: str) -> None:
        with pytest.raises(InputError) as caught:
            motion(marks_s)
        assert message in caught.value.found
        assert "order of time" in caught.value.hint

    @pytest.mark.parametrize("left_out", [2, 3, 4])
    def test_one_missing(self, left_out: int) -> None:
        """Without mark k the turn from k - 1 takes 2 s between turns of 1 s: named, with both times."""
        marks_s = [mark for k, mark in enumerate(STEADY) if k != left_out]
        with pytest.raises(InputError) as caught:
            motion(marks_s)
        start_s, stop_s = STEADY[left_out - 1], STEADY[left_out + 1]
        assert f"from {start_s:.3f} to {stop_s:.3f} s takes 2.00 s" in caught.value.found
        assert "its neighbours 1.00 and 1.00 s" in caught.value.found
        assert "one seems to be missing" in caught.value.hint

    def test_one_marked_twice(self) -> None:
        """Turns of 1 s with a second tap 50 ms after the fourth mark."""
        with pytest.raises(InputError, match=r"takes 0\.05 s.*marked twice"):
            motion([1.0, 2.0, 3.0, 4.0, 4.05, 5.0, 6.0])

    @pytest.mark.parametrize("left_out", [2, 3, 5, 6])
    def test_one_missing_while_coasting(self, left_out: int) -> None:
        """Turns of 0.63 s growing to 1.59: without the fifth they take 0.81, 1.95, 1.24 s, and so on."""
        spin = [2.00, 2.63, 3.31, 4.05, 4.87, 5.78, 6.82, 8.05, 9.64]
        assert motion(spin).total_turns == pytest.approx(8, abs=1e-9)
        with pytest.raises(InputError, match="one seems to be missing"):
            motion([mark for k, mark in enumerate(spin) if k != left_out])


def test_a_crank_that_all_but_stood_at_its_last_mark() -> None:
    """Dry and viscous drag, from 2 turns/s, b = 0.1/s: the last turn of 12 ends as it stands, and takes very long.

    By hand: w(t) = (w0 + c/b) exp(-b t) - c/b; angle w0/b - (c/b) T over the whole run-down of length T.
    """
    b, c, w0 = 0.1, 0.046, 2.0
    lasting_s = math.log(1 + w0 * b / c) / b
    since = [lasting_s * k / 4000 for k in range(4001)]
    turns = [((w0 + c / b) * (1 - math.exp(-b * t)) - c * t) / b for t in since]
    marks_s = np.interp(np.arange(math.floor(turns[-1]) + 1) + turns[-1] % 1 - 0.001, turns, since)
    assert np.diff(marks_s)[-1] > 2.3 * np.diff(marks_s)[-2]
    found = motion([round(2 + t, 3) for t in marks_s], duration_s=40.0)
    assert found.total_turns == pytest.approx(marks_s.size - 1)
    with pytest.raises(InputError, match=r"the (last )?turn"):
        motion([round(2 + t, 3) for t in np.delete(marks_s, -2)], duration_s=40.0)


@pytest.mark.parametrize(
    ("marks_s", "end"),
    [([1.0, 3.0, 4.0, 5.0, 6.0], "first"), ([1.0, 2.0, 3.0, 4.0, 6.5], "last")],
)
def test_a_mark_missing_at_an_end(marks_s: list[float], end: str) -> None:
    """A first turn of 2 s before turns of 1 s; a last one of 2.5 s after one of 1 s."""
    with pytest.raises(InputError, match=f"the {end} turn takes") as caught:
        motion(marks_s)
    assert f"leave the {end} mark out" in caught.value.hint
