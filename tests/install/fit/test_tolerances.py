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

# Fundamental deviations of shafts k, m, n, p over 30 up to 50 mm [um], ISO 286-1 (from memory). A hole of the same
# letter has the upper deviation -shaft + delta, delta being its grade's width less the next finer one's.
SHAFTS_30_TO_50 = {"K": 2, "M": 9, "N": 17, "P": 26}

# GOST 24810-2013, table 2 (ISO 5753-1), typed apart from the table: by bore, C2, CN, C3, C4 [um]
CLEARANCES = {
    12.0: ((0, 9), (3, 18), (11, 25), (18, 33)),
    24.0: ((0, 10), (5, 20), (13, 28), (20, 36)),
    25.0: ((1, 11), (5, 20), (13, 28), (23, 41)),
    30.0: ((1, 11), (5, 20), (13, 28), (23, 41)),
    35.0: ((1, 11), (6, 20), (15, 33), (28, 46)),
}


@pytest.mark.parametrize("zone", ["K7", "M7", "N6", "N7", "P6", "P7"])
def test_holes_by_the_standard_s_own_rule(zone: str) -> None:
    grade = int(zone[1])
    width_um = grade_width_um(f"IT{grade}", 42.0)
    delta_um = width_um - grade_width_um(f"IT{grade - 1}", 42.0)
    upper_um = -SHAFTS_30_TO_50[zone[0]] + delta_um
    found = hole_limits(zone, 42.0)
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


def test_normal_class_bearings() -> None:
    """NSK catalogue of rolling bearings, appendix 11."""
    outside, bore = outside_limits(42.0), bore_limits(30.0)
    assert (outside.low_um, outside.high_um, bore.low_um, bore.high_um) == (-11, 0, -10, 0)


@pytest.mark.parametrize("bore_mm", CLEARANCES)
def test_clearance_groups(bore_mm: float) -> None:
    found = [radial_clearance(group, bore_mm) for group in GROUPS]
    assert tuple((limits.low_um, limits.high_um) for limits in found) == CLEARANCES[bore_mm]


@pytest.mark.parametrize("bore_mm", [10.1, 18.0, 18.1, 24.0, 24.1, 30.0, 30.1, 40.0])
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
        (lambda: hole_limits("N7", 30.0), "ISO 286-2 hole N7 .* over 30 up to 50 mm, but the size is 30 mm"),
        (lambda: hole_limits("N7", 50.1), "N7 .* the size is 50.1 mm"),
        (lambda: hole_limits("n7", 42.0), "hole 'n7' is not known here"),
        (lambda: grade_width_um("IT9", 42.0), "grade 'IT9' is not known here"),
        (lambda: grade_width_um("IT4", 25.0), "IT4 .* the size is 25 mm"),
        (lambda: outside_limits(52.0), "outside .* the size is 52 mm"),
        (lambda: bore_limits(17.0), "bore .* the size is 17 mm"),
        (lambda: radial_clearance("CN", 41.0), "ISO 5753-1 clearance group CN .* the size is 41 mm"),
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
