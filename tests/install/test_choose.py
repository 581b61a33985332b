"""Which unit for which frame: what a mechanic expects, the shop's own lives, and the table."""

from __future__ import annotations

from typing import Any

import pytest

from acoustic.install.choose import Situation, holds, rank_units, shop_record, spindle_of, unit_of, with_seat
from acoustic.install.fit.interference import material
from acoustic.install.fit.parts import FittedBearing, Shell
from acoustic.install.fit.seat import BoreReading, SizeLimits, drawn_seat, measure_seat
from acoustic.install.fit.sheet import FitSheet, fit_sheet
from acoustic.install.units import Point, Record, Unit, UnitTable, When, unit_table
from acoustic.lifetimes.lives import Life

TRUE = {"size": "right", "form": "true", "line": "true"}
DOUBLE = {"double_steel", "double_ceramic"}
NEEDS_A_TRUE_SEAT = {*DOUBLE, "thin_ring"}


def ranked(**known: Any) -> list[str]:
    return [one.unit.code for one in rank_units(Situation(**known)) if not one.ruled_out]


def seals(**known: Any) -> list[str]:
    return [one.unit.code for one in rank_units(Situation(**known), seals=True)]


# Common practice throughout: separate single rows forgive; one piece brings its own alignment; two rows last where
# the seat is true and forgive nothing; a thin ring wants a true frame; ceramic buys friction.
@pytest.mark.parametrize(
    ("known", "first"),
    [
        ({}, "separate"),
        ({"form": "untrue", "line": "true", "size": "right"}, "separate"),
        ({**TRUE, "line": "unknown"}, "separate"),
        ({**TRUE, "use": "everyday"}, "double_steel"),
        ({**TRUE, "use": "wet", "upkeep": "none"}, "double_steel"),
        ({**TRUE, "use": "off-road"}, "double_steel"),
        ({**TRUE, "line": "beyond"}, "one_piece"),
        ({**TRUE, "size": "wrong", "line": "crooked", "shell": "carbon"}, "one_piece"),
    ],
)
def test_what_comes_first(known: dict[str, Any], first: str) -> None:
    assert ranked(**known)[0] == first


@pytest.mark.parametrize("fact", ["size", "form", "line"])
@pytest.mark.parametrize("use", ["racing", "everyday", "wet", "off-road"])
def test_what_was_not_measured_rules_out_what_needs_a_true_seat(fact: str, use: str) -> None:
    left = ranked(**{**TRUE, fact: "unknown", "use": use})
    assert not NEEDS_A_TRUE_SEAT & set(left)
    assert "separate" in left
    assert set(ranked(**TRUE, use=use)) >= NEEDS_A_TRUE_SEAT


@pytest.mark.parametrize("worse", [{"form": "untrue"}, {"line": "crooked"}, {"size": "tight"}, {"size": "loose"}])
def test_two_rows_forgive_nothing(worse: dict[str, str]) -> None:
    assert not DOUBLE & set(ranked(**{**TRUE, **worse}))


def test_ceramic_is_for_racing_alone() -> None:
    assert "double_ceramic" in ranked(**TRUE, use="racing", upkeep="often")[:2]
    for use in ("everyday", "wet", "off-road"):
        assert ranked(**TRUE, use=use, upkeep="none")[-1] in ("double_ceramic", "thin_ring")


@pytest.mark.parametrize(
    ("known", "first"),
    [
        ({"use": "wet"}, "contact_seals"),
        ({"use": "off-road", "upkeep": "often"}, "contact_seals"),
        ({"use": "everyday", "upkeep": "none"}, "contact_seals"),
        ({"use": "racing"}, "shields"),
        ({"use": "racing", "upkeep": "often"}, "shields"),
    ],
)
def test_seals(known: dict[str, Any], first: str) -> None:
    assert seals(**known)[0] == first


def sheet(*readings: tuple[float, float, float], **more: Any) -> FitSheet:
    return fit_sheet(
        measure_seat([BoreReading(*reading) for reading in readings], uncertainty_um=1.0),
        FittedBearing(bore_mm=30.0, outside_mm=42.0, ball_diameter_mm=3.5, pitch_diameter_mm=36.0, group="C3"),
        Shell(material=material("aluminium"), outside_mm=48.0),
        **more,
    )


ROUND = ((41.985, 1.0, 0.0), (41.986, 1.0, 90.0), (41.985, 6.0, 0.0), (41.986, 6.0, 90.0))


@pytest.mark.parametrize(
    ("readings", "more", "tilt_rad", "known"),
    [
        (ROUND, {}, 0.0003, ("right", "true", "true")),
        (ROUND, {}, 0.0008, ("right", "true", "fair")),
        (ROUND, {}, 0.002, ("right", "true", "crooked")),
        (ROUND, {}, 0.004, ("right", "true", "beyond")),
        (ROUND, {"limits": SizeLimits(41.95, 41.96, "drawn")}, None, ("wrong", "true", "unknown")),
        (ROUND[:1], {}, None, ("right", "unknown", "unknown")),
        ([(size - 0.05, depth, at) for size, depth, at in ROUND], {}, None, ("tight", "true", "unknown")),
        ([(size + 0.02, depth, at) for size, depth, at in ROUND], {}, None, ("loose", "true", "unknown")),
        (((41.975, 1.0, 0.0), (41.995, 1.0, 90.0)), {}, None, ("right", "untrue", "unknown")),
    ],
)
def test_what_a_sheet_says(readings: Any, more: dict[str, Any], tilt_rad: float | None, known: Any) -> None:
    found = with_seat(Situation(use="wet"), sheet(*readings, **more), tilt_rad)
    assert (found.size, found.form, found.line) == known
    assert found.use == "wet"


def test_no_sheet_and_a_drawn_seat_are_not_measured() -> None:
    drawn = fit_sheet(
        drawn_seat(SizeLimits.of_hole("N7", 42.0)),
        FittedBearing(bore_mm=30.0, outside_mm=42.0, ball_diameter_mm=3.5, pitch_diameter_mm=36.0),
        Shell(material=material("aluminium"), outside_mm=48.0),
    )
    for found in (with_seat(Situation(), None, None), with_seat(Situation(), drawn, None)):
        assert (found.size, found.form, found.line) == ("unknown", "unknown", "unknown")


def test_spindles() -> None:
    assert [spindle_of(mm) for mm in (None, 24.0, 28.99, 30.0)] == ["unknown", "thin", "thick", "thick"]


def life(days: float, ended: bool = True, **labels: str) -> Life:
    return Life(days, ended, labels)


@pytest.mark.parametrize(
    ("labels", "code"),
    [
        ({"rows": "double row"}, "double_steel"),
        ({"rows": "double row", "designation": "6806 ceramic"}, "double_ceramic"),
        ({"rows": "single row", "shell": "one piece, threaded"}, "one_piece"),
        ({"shell": "threaded"}, "separate"),
        ({"rows": "single row", "shell": "41 mm direct"}, "thin_ring"),
        ({"designation": "6805"}, None),
    ],
)
def test_what_the_book_knows_a_unit_by(labels: dict[str, str], code: str | None) -> None:
    assert unit_of(life(100.0, **labels)) == code


def test_the_shop_s_own_lives_from_five_on() -> None:
    """Five that wore out after 100 to 500 days: half of them by 300 (Kaplan-Meier by hand: 4/5, 3/5, 2/5)."""
    lives = [life(days, rows="double row") for days in (100.0, 200.0, 300.0, 400.0, 500.0)]
    found = {one.unit.code: one.record for one in rank_units(Situation(), lives)}
    record = found["double_steel"]
    assert record is not None
    assert (record.lives, record.worn, record.median_days) == (5, 5, 300.0)
    assert record.low_days is not None and record.low_days < 300.0
    assert [code for code, one in found.items() if one] == ["double_steel"]
    assert shop_record(lives[:4]) is None


def test_every_point_can_hold_and_has_its_basis() -> None:
    table = unit_table()
    for point in table.point:
        first = {
            name: getattr(point.when, name)[0]
            for name in point.when.__struct_fields__
            if getattr(point.when, name)
        }
        assert holds(point, Situation(**first))
        assert len(point.basis.split()) >= 2
    assert {unit.code for unit in table.unit} == {code for point in table.point for code in point.units}


@pytest.mark.parametrize(
    ("point", "named"),
    [
        (Point(units=("other",), says="x", basis="y z", weight=1), "no such unit: other"),
        (Point(units=("one",), says="x", basis="y z"), "needs either a weight or rules_out"),
        (Point(units=("one",), says="x", basis="y z", weight=1, rules_out=True), "needs either"),
    ],
)
def test_a_table_that_does_not_hold_together(point: Point, named: str) -> None:
    unit = Unit(code="one", name="one", built="one")
    with pytest.raises(ValueError, match=named):
        UnitTable((unit,), (point,), (Record(unit="one", words=("one",)),))
    assert When() == When(size=())
