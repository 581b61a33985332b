"""Trains of marks: what belongs to one, what is missing, what is false, and the angle through it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acoustic.dsp.tacho.run_down import fit_run_down, smooth_angle, standing_s
from acoustic.dsp.tacho.train import (
    FASTEST_S,
    IN_STEP,
    LEAST_EVIDENCE,
    MarkTrain,
    evidence,
    mended,
    off_course,
    reconstructed,
    smooth_path,
    unsure_ends,
)
from acoustic.simulator.kinematics import coast_drag, pedalled, run_down

Floats = NDArray[np.float64]


def coasting_s(turns: float, *, start_hz: float = 1.8, viscous: float = 0.5, first_s: float = 1.0) -> Floats:
    """Times of whole turns while a crank coasts to a stand, from the simulator's closed form."""
    drag, viscous_per_s = coast_drag(start_hz=start_hz, turns=turns, viscous_share=viscous)
    times_s = np.linspace(0, 200, 200_001)
    angle, speed_hz = run_down(times_s, start_hz=start_hz, coulomb_hz_per_s=drag, viscous_per_s=viscous_per_s)
    moving = speed_hz > 0
    return first_s + np.interp(np.arange(0.3, turns), angle[moving], times_s[moving])


def pedalling_s(lasting_s: float, *, mean_hz: float = 1.25, drift: float = 0.04, seed: int = 1) -> Floats:
    """Times of whole turns of a foot that drifts by several per cent."""
    times_s = np.linspace(0, lasting_s, int(1000 * lasting_s) + 1)
    rng = np.random.default_rng(seed)
    angle, _ = pedalled(times_s, mean_hz=mean_hz, wobble=0.0, drift=drift, rng=rng)
    return np.interp(np.arange(0.0, angle[-1]), angle, times_s)


def sure(times_s: Floats) -> MarkTrain:
    """What repair makes of events that all look like marks."""
    return reconstructed(times_s, np.ones(times_s.size), times_s)


WHOLE = {"coasting": coasting_s(12.0), "viscous": coasting_s(14.0, viscous=0.85), "pedalling": pedalling_s(14.0)}
whole_trains = pytest.mark.parametrize("marks_s", WHOLE.values(), ids=WHOLE)


class TestRepaired:
    @whole_trains
    def test_a_whole_train_stays_whole(self, marks_s: Floats) -> None:
        train = sure(marks_s)
        assert train.times_s == pytest.approx(marks_s)
        assert train.turns.tolist() == list(range(marks_s.size))
        assert (train.missed, train.stands_out) == (0, True)

    @whole_trains
    @pytest.mark.parametrize("missing", [(3,), (3, 4), (2, 6), (5, 6, 9)], ids=str)
    def test_missed_marks_are_counted(self, missing: tuple[int, ...], marks_s: Floats) -> None:
        """Two turns in one interval, three in one, or several such: every later mark keeps its own turn."""
        kept = np.delete(np.arange(marks_s.size), missing)
        train = sure(marks_s[kept])
        assert train.times_s == pytest.approx(marks_s[kept])
        assert train.turns.tolist() == kept.tolist()
        assert (train.missed, train.stands_out) == (len(missing), True)

    @whole_trains
    @pytest.mark.parametrize("share", [0.2, 0.5, 0.7])
    @pytest.mark.parametrize("turn", [2, 6])
    def test_a_false_mark_in_a_smooth_interval_is_dropped(self, turn: int, share: float, marks_s: Floats) -> None:
        false_s = marks_s[turn] + share * (marks_s[turn + 1] - marks_s[turn])
        train = sure(np.sort(np.append(marks_s, false_s)))
        assert false_s not in train.times_s
        assert train.times_s == pytest.approx(marks_s)
        assert train.stands_out

    def test_a_missed_and_a_false_one_in_one_spin(self) -> None:
        marks_s = coasting_s(13.0)
        events_s = np.sort(np.append(np.delete(marks_s, 7), marks_s[2] + 0.31))
        train = sure(events_s)
        assert train.turns.tolist() == [k for k in range(marks_s.size) if k != 7]
        assert train.times_s == pytest.approx(np.delete(marks_s, 7))

    @given(
        turns=st.floats(7.0, 20.0),
        start_hz=st.floats(1.0, 2.6),
        viscous=st.floats(0.1, 0.9),
        late_s=st.floats(0.0, 50.0),
        seed=st.integers(0, 1000),
    )
    @settings(max_examples=40, deadline=None, derandomize=True)
    def test_any_spin_with_a_mark_missing_inside(
        self, turns: float, start_hz: float, viscous: float, late_s: float, seed: int
    ) -> None:
        """Jittered by a thousandth of a turn. The long last turns may be left out; of a very short spin all
        may be, but what stands out is never counted wrong."""
        rng = np.random.default_rng(seed)
        marks_s = coasting_s(turns, start_hz=start_hz, viscous=viscous, first_s=late_s)
        marks_s = marks_s + 0.001 * rng.standard_normal(marks_s.size) * np.gradient(marks_s)
        kept = np.delete(np.arange(marks_s.size), int(rng.integers(2, marks_s.size - 3)))
        train = sure(marks_s[kept])
        if turns < 9 and not train.stands_out:
            return
        assert train.stands_out
        chosen = np.searchsorted(marks_s, train.times_s)
        assert train.turns.tolist() == (chosen - chosen[0]).tolist()
        assert chosen[0] <= 1 and chosen[-1] >= marks_s.size - 3


class TestRefused:
    @pytest.mark.parametrize("count", [0, 1, 3])
    def test_fewer_than_four(self, count: int) -> None:
        train = sure(coasting_s(9.0)[:count])
        assert train.times_s.size == 0
        assert not train.stands_out

    def test_events_at_random(self) -> None:
        """Sixteen in ten seconds, twenty times over: none is taken for a train."""
        rng = np.random.default_rng(4)
        found = [sure(np.sort(rng.uniform(0, 10, 16))).stands_out for _ in range(20)]
        assert found == [False] * 20

    @pytest.mark.parametrize("order", [4.4, 7.1, 8.9])
    def test_strikes_many_times_a_turn(self, order: float) -> None:
        """All alike and regular: at whatever pace some are picked, the others are as regular beside them."""
        marks_s = coasting_s(10.0)
        strikes_s = np.interp(np.arange(0, marks_s.size - 1, 1 / order), np.arange(marks_s.size), marks_s)
        assert not sure(strikes_s).stands_out

    def test_a_train_that_begins_at_the_fastest_pace(self) -> None:
        """Strikes that slow down come within a crank's paces late: the train went on before its first mark."""
        strikes_s = coasting_s(40.0, start_hz=12.0)
        slow = np.flatnonzero(np.diff(strikes_s) > FASTEST_S)
        assert evidence(strikes_s[slow], np.arange(slow.size), strikes_s[slow]) == -np.inf

    def test_more_alike_events_before_and_after_speak_against_a_train(self) -> None:
        marks_s = coasting_s(10.0)
        turns = np.arange(marks_s.size)
        start_s, stop_s = unsure_ends(marks_s, turns)
        near = np.append(marks_s, stop_s - 0.1)
        far = np.append(marks_s, stop_s + np.array([0.5, 1.1, 1.9, 2.2, 3.1, 3.3, 4.0, 5.2]))
        alone = evidence(marks_s, turns, marks_s)
        assert start_s < marks_s[0]
        assert alone > LEAST_EVIDENCE
        assert evidence(marks_s, turns, near) == pytest.approx(alone)
        assert evidence(marks_s, turns, far) < alone - 10


class TestEvidence:
    def test_more_marks_more_evidence(self) -> None:
        marks_s = coasting_s(14.0)
        turns = np.arange(marks_s.size)
        found = [evidence(marks_s[:k], turns[:k], marks_s[:k]) for k in (5, 8, 13)]
        assert found == sorted(found)

    def test_other_events_and_missed_marks_lessen_it(self) -> None:
        marks_s = coasting_s(14.0)
        turns = np.arange(marks_s.size)
        alone = evidence(marks_s, turns, marks_s)
        rng = np.random.default_rng(2)
        others_s = np.sort(np.append(marks_s, rng.uniform(marks_s[0], marks_s[-1], 20)))
        kept = np.delete(turns, [3, 4, 8])
        assert evidence(marks_s, turns, others_s) < alone - 5
        assert evidence(marks_s[kept], kept, marks_s[kept]) < alone - 5


class TestCourse:
    @whole_trains
    def test_true_marks_are_on_it(self, marks_s: Floats) -> None:
        """Inner marks; at the ends a course can only be extrapolated."""
        off = off_course(marks_s, np.arange(marks_s.size))
        assert np.abs(off[1:-1]).max() < IN_STEP

    def test_a_late_mark_is_off_by_what_it_is_late(self) -> None:
        """50 ms at 1.25 turns a second are 0.0625 turns: it comes where the angle is that much farther. The mark
        itself still draws the robust fit a little its way."""
        marks_s = 1 + np.arange(12) / 1.25
        marks_s[5] += 0.05
        off = off_course(marks_s, np.arange(12))
        assert np.argmax(np.abs(off)) == 5
        assert off[5] == pytest.approx(-0.0625, abs=0.004)

    def test_the_late_mark_is_left_out(self) -> None:
        marks_s = 1 + np.arange(12) / 1.25
        late_s = marks_s.copy()
        late_s[5] += 0.05
        times_s, turns = mended(late_s, np.arange(12), late_s)
        assert times_s == pytest.approx(np.delete(marks_s, 5))
        assert turns.tolist() == [k for k in range(12) if k != 5]

    def test_marks_before_and_after_are_taken_in(self) -> None:
        """Half of the train was found: the rest lies on its course, and one event beside it does not."""
        marks_s = coasting_s(13.0)
        events_s = np.sort(np.append(marks_s, marks_s[9] + 0.4))
        times_s, turns = mended(marks_s[3:8], np.arange(5), events_s)
        assert times_s.size >= 11
        assert np.isin(times_s, marks_s).all()
        assert (
            turns.tolist() == (np.searchsorted(marks_s, times_s) - np.searchsorted(marks_s, times_s[0])).tolist()
        )

    def test_no_path_without_events_a_turn_apart(self) -> None:
        assert smooth_path(np.array([1.0, 1.1, 1.2]), np.ones(3))[0].size == 0
        assert smooth_path(np.empty(0), np.empty(0))[0].size == 0


class TestRunDown:
    @pytest.mark.parametrize("viscous", [0.15, 0.5, 0.85])
    def test_the_fit_is_the_motion(self, viscous: float) -> None:
        """The closed form has the fit's own shape, up to the steps in which viscous drag is tried."""
        marks_s = coasting_s(12.0, viscous=viscous)
        turns = np.arange(marks_s.size, dtype=float)
        assert fit_run_down(marks_s, turns).turns(marks_s) == pytest.approx(turns, abs=0.01)

    @pytest.mark.parametrize("viscous", [0.15, 0.5])
    def test_when_it_stands(self, viscous: float) -> None:
        """Never before it does, from the closed form ln(1 + w0 b/c)/b; at most a third of the spin later."""
        drag, viscous_per_s = coast_drag(start_hz=1.8, turns=12.0, viscous_share=viscous)
        true_s = 1.0 + np.log(1 + 1.8 * viscous_per_s / drag) / viscous_per_s
        marks_s = coasting_s(12.0, viscous=viscous)
        found_s = standing_s(marks_s, np.arange(marks_s.size, dtype=float))
        assert found_s is not None
        assert -0.1 < found_s - true_s < (true_s - 1.0) / 3

    def test_a_pedalled_crank_does_not_come_to_a_stand(self) -> None:
        marks_s = pedalling_s(14.0)
        assert standing_s(marks_s, np.arange(marks_s.size, dtype=float)) is None


class TestAngle:
    @whole_trains
    def test_it_runs_through_every_mark(self, marks_s: Floats) -> None:
        times_s, turns = smooth_angle(marks_s, np.arange(marks_s.size))
        assert np.all(np.diff(times_s) > 0) and np.all(np.diff(turns) > 0)
        assert np.interp(marks_s, times_s, turns) == pytest.approx(np.arange(marks_s.size), abs=2e-3)
        assert (times_s[0], times_s[-1]) == (marks_s[0], marks_s[-1])

    @pytest.mark.parametrize("missing", [(), (4,), (4, 5), (2, 8)], ids=str)
    @pytest.mark.parametrize("viscous", [0.15, 0.85])
    def test_between_the_marks_it_is_the_crank_s(self, viscous: float, missing: tuple[int, ...]) -> None:
        """Against the closed form at all times; 0.005 turns are a thirtieth of a ball pass. The last turn
        takes two to four times as long as the first."""
        marks_s = coasting_s(12.0, viscous=viscous)
        kept = np.delete(np.arange(marks_s.size), missing)
        times_s, turns = smooth_angle(marks_s[kept], kept)
        drag, viscous_per_s = coast_drag(start_hz=1.8, turns=12.0, viscous_share=viscous)
        true, _ = run_down(times_s - 1.0, start_hz=1.8, coulomb_hz_per_s=drag, viscous_per_s=viscous_per_s)
        assert turns == pytest.approx(true - 0.3, abs=0.005)

    @pytest.mark.parametrize("jitter_s", [0.002, 0.01])
    def test_jitter_is_smoothed_and_no_more_than_it_may_be(self, jitter_s: float) -> None:
        """Nearer to the truth than through every mark, and never far beyond the timing from the marks."""
        marks_s = coasting_s(16.0)
        turns = np.arange(marks_s.size)
        rough_error, smooth_error = [], []
        for seed in range(12):
            late_s = marks_s + jitter_s * np.random.default_rng(seed).standard_normal(marks_s.size)
            through = smooth_angle(late_s, turns)
            smooth = smooth_angle(late_s, turns, timing_s=jitter_s)
            rough_error.append(np.abs(np.interp(marks_s, *through) - turns)[1:-1].mean())
            smooth_error.append(np.abs(np.interp(marks_s, *smooth) - turns)[1:-1].mean())
            misfit_s = (np.interp(late_s, *smooth) - turns) / np.gradient(turns, late_s)
            assert np.sqrt(np.mean(misfit_s**2)) < 1.1 * jitter_s
        assert np.mean(smooth_error) < 0.85 * np.mean(rough_error)
