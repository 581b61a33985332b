"""A fresh install by ear: what the seat did, and whether the final spin runs clean."""

from __future__ import annotations

import pytest
from checked import check

from acoustic.check.document import CheckDocument
from acoustic.install.spins import compared, drags_more, runs_clean, what_the_seat_did

QUIET = {"rumble": -20.0, "outer_raceway": -30.0, "inner_raceway": -28.0, "ball": -33.0, "tight": 0.2}


def document(*, level: str = "clean", drag: float | None = 0.1, **findings: float | None) -> CheckDocument:
    """A quiet bearing but for the findings given; None takes one out."""
    severities = {name: value for name, value in {**QUIET, **findings}.items() if value is not None}
    return check(level=level, drag=drag, **severities)


class TestSeat:
    def test_as_it_was_in_the_hand(self) -> None:
        told = what_the_seat_did([document()], [document(rumble=-18.5, tight=0.4)])
        assert told.outcome == "as before"
        assert "preload" in told.advice[0]

    @pytest.mark.parametrize("condition", ["tight", "rumble", "outer_raceway", "inner_raceway", "ball"])
    def test_what_the_seat_brought_on(self, condition: str) -> None:
        told = what_the_seat_did([document()], [document(**{condition: 4.0})])
        assert told.outcome == "rougher"
        assert len(told.reasons) == 1
        assert told.advice[0].startswith("Pull the bearing")

    def test_what_could_not_be_judged_in_the_hand_counts_too(self) -> None:
        told = what_the_seat_did([document(tight=None)], [document(tight=4.0)])
        assert told.outcome == "rougher"

    def test_rough_in_the_hand_is_not_the_seat_s_doing(self) -> None:
        told = what_the_seat_did([document(rumble=-3.0)], [document(rumble=5.0)])
        assert told.outcome == "rough in the hand"
        assert told.advice[0].startswith("Do not fit it")

    def test_nothing_is_said_of_what_was_not_heard(self) -> None:
        for free, pressed in (
            ([document(rumble=None)], [document()]),
            ([document()], [document(inner_raceway=None)]),
        ):
            assert what_the_seat_did(free, pressed).outcome == "open"

    def test_the_worst_of_several_recordings_counts_in_any_order(self) -> None:
        recordings = [document(), document(tight=4.0)]
        told = [what_the_seat_did([document()], some) for some in (recordings, recordings[::-1])]
        assert told[0] == told[1]
        assert told[0].outcome == "rougher"


def test_what_is_compared_of_both() -> None:
    rows = {one.name: one for one in compared([document(ball=None)], [document(tight=4.0)])}
    tight = rows["a tight, notchy run"]
    assert (tight.before_db, tight.after_db, tight.heard_before, tight.heard_after) == (0.2, 4.0, False, True)
    ball = rows["strikes of a ball"]
    assert (ball.before_db, ball.after_db, ball.heard_before, ball.heard_after) == (None, -33.0, False, False)
    assert compared([], []) == ()


class TestFinalSpin:
    def test_clean(self) -> None:
        told = runs_clean(document(drag=0.123))
        assert told.outcome == "clean"
        assert "0.12 turns/s" in told.reasons[1]
        assert "play" in told.advice[0]

    def test_not_clean(self) -> None:
        tight = runs_clean(document(level="service", tight=4.0))
        assert (tight.outcome, tight.reasons) == ("not clean", ("it is service",))
        assert tight.advice[0].startswith("Loosen the preload")
        assert runs_clean(document(level="replace", ball=0.0)).advice[0].startswith("Pull the bearing")

    def test_what_was_not_judged_does_not_read_as_clean(self) -> None:
        assert runs_clean(document(tight=None)).outcome == "open"
        assert runs_clean(document(level="undecided")).outcome == "open"


def test_more_drag_than_fresh() -> None:
    """By half as much again; never where either is not known."""
    assert drags_more(document(drag=0.149), document(drag=0.1)) is None
    told = drags_more(document(drag=0.2), document(drag=0.1))
    assert told is not None and "2.0 times" in told
    assert drags_more(document(drag=None), document(drag=0.1)) is None
    assert drags_more(document(drag=0.2), document(drag=None)) is None
    assert drags_more(check(spin=None, **QUIET), document()) is None
