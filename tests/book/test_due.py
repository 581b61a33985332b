"""What is due of a bike: by its last grade and what was done since, by its install, or to be heard again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from checked import plain_check

from acoustic.book.due import DueList, due_list
from acoustic.book.records import Fitted, Judged, Visit
from acoustic.report.due_text import NAMED, due_document, due_text

DAY = date(2026, 3, 1)
QUIET = {"rumble": -20.0, "outer_raceway": -30.0, "inner_raceway": -28.0, "ball": -33.0, "tight": 0.2}
EVEN = (-16.9, -15.0, -13.3, -11.8, -10.6)  # dB, every two months


def visit(
    level: str, days: int = 0, *, bike: str = "red", kind: Any = "check", done: Any = "nothing", **db: float
) -> Visit:
    document = plain_check(level=level, **{**QUIET, **db})
    for finding in document["findings"]:
        finding["detected"] = finding["condition"] == "outer_raceway" and finding["severity_db"] > -28
    judged = Judged(
        sha256="0" * 64,
        suffix=".wav",
        name="x",
        bytes=1,
        asked={},
        document=document,
        judged_at=datetime(2026, 3, 1),
    )
    return Visit(bike=bike, on_date=DAY + timedelta(days=days), kind=kind, done=done, verdicts=(judged,))


def listed(*visits: Visit, days: int = 10, fitted: tuple[Fitted, ...] = ()) -> DueList:
    return due_list(visits, fitted, DAY + timedelta(days=days))


def flat(found: DueList) -> str:
    return " ".join(due_text(found, within_days=None).split())


def test_a_service_does_not_answer_a_grade_that_asks_for_a_new_bearing() -> None:
    (one,) = listed(visit("replace", done="service")).due
    assert (one.next_grade, one.by, one.serviced) == ("replacement", "last visit", True)
    assert "A service was done since, which does not answer that grade." in flat(
        listed(visit("replace", done="service"))
    )
    later = replace(visit("replace", 5, done="service"), verdicts=())
    assert listed(visit("replace"), later).due[0].serviced
    assert not listed(visit("service", done="service")).due
    assert not listed(visit("service"), later).due
    assert not listed(visit("replace", done="replacement")).due
    assert not listed(visit("replace"), replace(later, done="replacement")).due
    assert not listed(visit("replace"), fitted=(Fitted(bike="red", installed_on=DAY + timedelta(days=2)),)).due


def test_a_watched_bearing_is_to_be_heard_again_after_four_weeks() -> None:
    watched = visit("watch", outer_raceway=-15.0)
    assert not listed(watched, days=28).hear_again
    (one,) = listed(watched, days=29).hear_again
    assert (one.on, one.watched) == (date(2026, 3, 29), True)
    found = listed(watched, days=29)
    assert "red To be heard again since 2026-03-29: the visit on 2026-03-01 asked for it." in flat(found)
    assert not listed(visit("watch", done="service"), days=60).hear_again
    assert not listed(watched, visit("clean", 10), days=60).hear_again


def test_a_rough_bearing_just_pressed_in_is_pulled_not_replaced() -> None:
    free, pressed = visit("clean", kind="free"), visit("replace", kind="pressed", outer_raceway=-2.0)
    found = listed(free, pressed, fitted=(Fitted(bike="red", installed_on=DAY),))
    assert [(one.by, one.next_grade) for one in found.due] == [("install", "the install")]
    told = flat(found)
    assert "The install is not finished. Pull the bearing and spin it in the hand" in told
    assert "Replacement is due" not in told
    assert ".." not in told
    worn = listed(free, pressed, visit("replace", 5, outer_raceway=-2.0))
    assert [one.by for one in worn.due] == ["last visit"]


def test_a_likely_rise_is_named_with_the_day_to_record_again() -> None:
    visits = [visit("clean", 61 * number, outer_raceway=value) for number, value in enumerate(EVEN)]
    found = listed(*visits, days=61 * 4)
    (one,) = found.hear_again
    assert (found.due, found.not_rising, found.too_few, one.watched) == ((), (), (), False)
    assert one.on > visits[-1].on_date
    assert f"red Likely rising, not yet sure; record again about {one.on}, by the trend of: outer ring." in flat(
        found
    )
    (block,) = due_document(found, DAY, None).hear_again
    assert (block.bike, block.on, block.by, block.of) == ("red", one.on.isoformat(), "trend", "outer_raceway")
    soon = due_list(visits, (), visits[-1].on_date, within_days=0)
    assert (soon.hear_again, soon.later) == ((), ("red",))
    watched = listed(*visits[:-1], visit("watch", 61 * 4, outer_raceway=EVEN[-1]), days=61 * 4 + 29)
    assert watched.hear_again[0].watched
    assert "Likely rising, not yet sure, by the trend of: outer ring." in flat(watched)


def test_what_is_later_than_today_is_left_out() -> None:
    visits = (visit("replace"), visit("clean", 40, done="replacement"))
    out = Fitted(bike="red", installed_on=DAY, removed_on=DAY + timedelta(days=40), removed_because="worn")
    assert [one.bike for one in listed(*visits, days=39, fitted=(out,)).due] == ["red"]
    assert not listed(*visits, days=40, fitted=(out,)).due


def test_few_bikes_are_named_and_many_are_counted() -> None:
    few = [visit("clean", bike=f"ticket {number}") for number in range(NAMED)]
    assert "5 bikes with too few visits to tell (ticket 0, ticket 1, ticket 2, ticket 3, ticket 4)" in flat(
        listed(*few)
    )
    many = listed(*few, visit("clean", bike="ticket 9"))
    assert flat(many).endswith("Besides: 6 bikes with too few visits to tell.")
