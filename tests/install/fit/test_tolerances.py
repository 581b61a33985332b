"""The tables against the rules of ISO 286-1 that make them, against a second typing, and their refusals."""

from __future__ import annotations

import tomllib
from importlib import resources
from itertools import pairwise
from typing import Any

import pytest

from acoustic.errors import InputError
from acoustic.install.fit.tolerances import (
    GROUPS,
    Limits,
    bore_limits,
    grade_width_um,
    hole_limits,
    outside_limits,
    radial_clearance,
    roughness_allowance,
)

TABLE: dict[str, list[dict[str, Any]]] = tomllib.loads(
    resources.files("acoustic.install.fit").joinpath("tolerances.toml").read_text(encoding="utf-8")
)

# Fundamental deviations of shafts k, m, n, p by sizes over and up to [um], ISO 286-1 (from memory). A hole of the
# same letter has the upper deviation -shaft + delta, delta being its grade's width less the next finer one's.
SHAFTS = {
    8.0: {"K": 1, "M": 6, "N": 10, "P": 15},
    15.0: {"K": 1, "M": 7, "N": 12, "P": 18},
    24.0: {"K": 2, "M": 8, "N": 15, "P": 22},
    42.0: {"K": 2, "M": 9, "N": 17, "P": 26},
    72.0: {"K": 2, "M": 11, "N": 20, "P": 32},
    100.0: {"K": 3, "M": 13, "N": 23, "P": 37},
}

# GOST 24810-2013, table 2 (ISO 5753-1), typed apart from the table: by bore, C2, CN, C3, C4 [um]
CLEARANCES = {
    12.0: ((0, 9), (3, 18), (11, 25), (18, 33)),
    24.0: ((0, 10), (5, 20), (13, 28), (20, 36)),
    25.0: ((1, 11), (5, 20), (13, 28), (23, 41)),
    30.0: ((1, 11), (5, 20), (13, 28), (23, 41)),
    35.0: ((1, 11), (6, 20), (15, 33), (28, 46)),
    # ISO 5753-1, from memory
    8.0: ((0, 7), (2, 13), (8, 23), (14, 29)),
    45.0: ((1, 11), (6, 23), (18, 36), (30, 51)),
    55.0: ((1, 15), (8, 28), (23, 43), (38, 61)),
    80.0: ((1, 15), (10, 30), (25, 51), (46, 71)),
}


@pytest.mark.parametrize("size_mm", SHAFTS)
@pytest.mark.parametrize("zone", ["K7", "M7", "N6", "N7", "P6", "P7"])
def test_holes_by_the_standard_s_own_rule(zone: str, size_mm: float) -> None:
    grade = int(zone[1])
    width_um = grade_width_um(f"IT{grade}", size_mm)
    delta_um = width_um - grade_width_um(f"IT{grade - 1}", size_mm)
    upper_um = -SHAFTS[size_mm][zone[0]] + delta_um
    found = hole_limits(zone, size_mm)
    assert (found.low_um, found.high_um) == (upper_um - width_um, upper_um)


def test_a_basic_hole_begins_at_its_nominal_size() -> None:
    found = hole_limits("H7", 42.0)
    assert (found.low_um, found.high_um) == (0.0, grade_width_um("IT7", 42.0))


# NSK catalogue of rolling bearings, appendix 11
@pytest.mark.parametrize(
    ("grade", "size_mm", "width_um"),
    [
        ("IT4", 42.0, 7),
        ("IT6", 42.0, 16),
        ("IT7", 42.0, 25),
        ("IT7", 25.0, 21),
        ("IT6", 30.0, 13),
        ("IT6", 50.0, 16),
    ],
)
def test_grades(grade: str, size_mm: float, width_um: float) -> None:
    assert grade_width_um(grade, size_mm) == width_um


def test_a_grade_is_some_1_6_times_the_next_finer_one() -> None:
    """ISO 286-1: from IT6 on the widths rise by the fifth root of ten, 1.585, rounded (from memory)."""
    assert grade_width_um("IT7", 42.0) == round(16 * 10**0.2)
    assert grade_width_um("IT7", 25.0) == round(13 * 10**0.2)


# ISO 492, normal class, typed apart from the table, by the size's step: 42 and 30 mm as in the NSK catalogue,
# appendix 11, the others from memory.
@pytest.mark.parametrize(
    ("size_mm", "outside_um", "bore_um"),
    [(10.0, -8, -8), (13.0, -8, -8), (19.0, -9, -10), (42.0, -11, -12), (72.0, -13, -15), (80.0, -13, -15)],
)
def test_normal_class_bearings(size_mm: float, outside_um: float, bore_um: float) -> None:
    outside, bore = outside_limits(size_mm), bore_limits(size_mm)
    assert (outside.low_um, outside.high_um, bore.low_um, bore.high_um) == (outside_um, 0, bore_um, 0)


def test_every_bore_from_6_to_80_and_outside_to_110_mm() -> None:
    for bore_mm in range(6, 81):
        assert bore_limits(bore_mm).high_um == 0
        assert [radial_clearance(group, bore_mm) for group in GROUPS]
    for outside_mm in range(10, 111):
        assert outside_limits(outside_mm).low_um < 0
        assert grade_width_um("IT4", outside_mm) > 0
        assert hole_limits("P7", outside_mm).high_um < 0


@pytest.mark.parametrize("bore_mm", CLEARANCES)
def test_clearance_groups(bore_mm: float) -> None:
    found = [radial_clearance(group, bore_mm) for group in GROUPS]
    assert tuple((limits.low_um, limits.high_um) for limits in found) == CLEARANCES[bore_mm]


@pytest.mark.parametrize("bore_mm", [6.0, 10.1, 18.0, 18.1, 24.0, 24.1, 30.0, 30.1, 40.0, 45.0, 55.0, 70.0])
def test_groups_rise_and_overlap_their_neighbours(bore_mm: float) -> None:
    for smaller, larger in pairwise(radial_clearance(group, bore_mm) for group in GROUPS):
        assert smaller.low_um < larger.low_um <= smaller.high_um < larger.high_um


def test_turned_surfaces_take_more_than_ground_ones() -> None:
    """NTN catalogue 2203/E, section 17.4: 5 to 7 um for turned surfaces; ground ones from memory."""
    turned, ground = roughness_allowance("turned"), roughness_allowance("ground")
    assert (turned.low_um, turned.middle_um, turned.high_um) == (5.0, 6.0, 7.0)
    assert ground.high_um < turned.low_um


def test_every_row_names_its_source() -> None:
    rows = [row for rows in TABLE.values() for row in rows]
    assert len(rows) > 30
    assert all(len(row["source"].split()) > 3 for row in rows)


def test_no_two_rows_of_a_name_overlap() -> None:
    for kind, rows in TABLE.items():
        for name in {row["name"] for row in rows}:
            same = sorted((r.get("over_mm", 0), r.get("up_to_mm", 1)) for r in rows if r["name"] == name)
            assert all(one[1] <= other[0] for one, other in pairwise(same)), f"{kind} {name}"


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: hole_limits("N7", 5.0), "ISO 286-2 hole N7 .* over 80 up to 120 mm, but the size is 5 mm"),
        (lambda: hole_limits("N7", 120.1), "N7 .* the size is 120.1 mm"),
        (lambda: hole_limits("n7", 42.0), "hole 'n7' is not known here"),
        (lambda: grade_width_um("IT9", 42.0), "grade 'IT9' is not known here"),
        (lambda: grade_width_um("IT4", 125.0), "IT4 .* the size is 125 mm"),
        (lambda: outside_limits(152.0), "outside .* the size is 152 mm"),
        (lambda: bore_limits(90.0), "bore .* the size is 90 mm"),
        (lambda: radial_clearance("CN", 81.0), "ISO 5753-1 clearance group CN .* the size is 81 mm"),
        (lambda: radial_clearance("CN", float("nan")), "CN .* the size is nan mm"),
        (lambda: radial_clearance("C9", 30.0), "group 'C9' is not known here"),
        (lambda: roughness_allowance("polished"), "surface finish 'polished' is not known here"),
        (lambda: Limits(1.0, 0.0, "measured"), "limits 1.0 to 0.0 um"),
        (lambda: Limits(float("nan"), 0.0, "measured"), "limits nan"),
    ],
)
def test_refusals_name_what_was_asked_for(call: Any, named: str) -> None:
    with pytest.raises(InputError, match=named) as caught:
        call()
    assert caught.value.hint
