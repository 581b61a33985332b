"""From visits to points and work."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from checked import plain_check

from acoustic.book.records import Fitted, Judged, Visit
from acoustic.book.series import found_conditions, points_of, works
from acoustic.trend.points import Event

DAY = date(2026, 3, 1)
AT = float(DAY.toordinal())


def judged(**said: Any) -> Judged:
    return Judged(
        sha256="0" * 64,
        suffix=".wav",
        name="x",
        bytes=1,
        asked={},
        document=plain_check(**said),
        judged_at=datetime(2026, 3, 1),
    )


def visit(*verdicts: Judged, **said: Any) -> Visit:
    return Visit(bike="red", on_date=DAY, verdicts=verdicts, **said)


def test_a_point_for_every_recording_that_tells_of_it() -> None:
    heard = visit(judged(ball=-12.0), judged(rumble=1.0), judged(ball=-9.0), distance_km=800.0)
    points = points_of([heard], "ball")
    assert [(point.day, point.value, point.km) for point in points] == [(AT, -12.0, 800.0), (AT, -9.0, 800.0)]
    assert points_of([heard], "cage") == ()


def test_what_is_too_faint_to_follow_is_cut_off() -> None:
    assert [point.value for point in points_of([visit(judged(ball=-40.0), judged(ball=-29.0))], "ball")] == [
        -30.0,
        -29.0,
    ]


def test_drag_where_it_is_known() -> None:
    heard = [visit(judged(drag=0.12), judged(drag=None), judged(spin="pedal"))]
    assert [point.value for point in points_of(heard, "drag")] == [0.12]
    assert points_of([visit(judged(spin=None))], "drag") == ()


def test_recorder_spin_and_side_are_kept_apart() -> None:
    heard = [
        visit(judged(ball=-9.0), judged(ball=-9.0, spin="pedal"), judged(ball=-9.0, side="drive")),
        visit(judged(ball=-9.0), recorder="old phone"),
    ]
    groups = [point.group for point in points_of(heard, "ball")]
    assert len(set(groups)) == 4
    assert groups[3].startswith("old phone")


def test_a_bearing_in_the_hand_is_no_stage_and_a_final_spin_follows_the_replacement() -> None:
    kinds = [visit(judged(ball=-9.0), kind=kind) for kind in ("check", "free", "pressed", "final")]
    assert [point.after for point in points_of(kinds, "ball")] == ["", "replacement", "replacement"]


def test_work_by_day_each_once() -> None:
    visits = [visit(done="service"), visit(done="service"), visit(kind="final")]
    bearings = [Fitted(bike="red", installed_on=DAY), Fitted(bike="red", installed_on=date(2026, 2, 1))]
    assert works(visits, bearings) == (
        Event(float(date(2026, 2, 1).toordinal()), "replacement"),
        Event(AT, "replacement"),
        Event(AT, "service"),
    )


def test_conditions_found_most_often_come_first() -> None:
    heard = [visit(judged(ball=-5.0, rumble=-3.0)), visit(judged(rumble=-20.0, ball=-4.0))]
    assert found_conditions(heard) == ("ball", "rumble")


def test_a_plugin_s_own_condition_has_no_series() -> None:
    """Nothing here knows its limits; it stays in the visit's document."""
    heard = visit(judged(**{"squeal.band": 3.0, "creak": 3.0}))
    assert found_conditions([heard]) == ("creak",)
