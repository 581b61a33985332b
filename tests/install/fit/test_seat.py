"""Seats worked by hand, invariances of their readings, and refusals."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.errors import InputError
from acoustic.install.fit.seat import BoreReading, Seat, SizeLimits, judge_seat, measure_seat

# Mouth 41.962 and 41.950, deep 41.956 and 41.952 mm: section means 41.956 and 41.954.
READINGS = (
    BoreReading(41.962, depth_mm=1.0, direction_deg=0.0),
    BoreReading(41.950, depth_mm=1.0, direction_deg=90.0),
    BoreReading(41.956, depth_mm=6.0, direction_deg=0.0),
    BoreReading(41.952, depth_mm=6.0, direction_deg=90.0),
)


def seat_of(*readings: tuple[float, float | None, float | None], uncertainty_um: float = 2.0) -> Seat:
    return measure_seat([BoreReading(*reading) for reading in readings], uncertainty_um=uncertainty_um)


def test_a_seat_by_hand() -> None:
    """Mean (41.956 + 41.954) / 2 = 41.955; most oval at the mouth, 12 um; taper 2 um."""
    seat = measure_seat(READINGS, uncertainty_um=2.0)
    assert [section.depth_mm for section in seat.sections] == [1.0, 6.0]
    assert seat.mean_mm == pytest.approx(41.955)
    assert (seat.narrowest_mm, seat.widest_mm) == pytest.approx((41.954, 41.956))
    assert seat.ovality_um == pytest.approx(12.0)
    assert seat.taper_um == pytest.approx(2.0)


def test_what_was_not_read_is_not_known() -> None:
    single = seat_of((41.96, None, None))
    assert (single.ovality_um, single.taper_um) == (None, None)
    two_depths = seat_of((41.96, 1.0, None), (41.95, 6.0, None))
    assert two_depths.ovality_um is None
    assert two_depths.taper_um == pytest.approx(10.0)


def test_readings_without_a_direction_count_as_several() -> None:
    assert seat_of((41.96, None, None), (41.95, None, None)).ovality_um == pytest.approx(10.0)


def test_repeats_are_averaged_before_they_are_compared() -> None:
    """A gauge turned by 180 degrees reads the same diameter again: 41.960 and 41.950 are one of 41.955."""
    seat = seat_of((41.960, 1.0, 10.0), (41.950, 1.0, 190.0), (41.957, 1.0, 100.0))
    assert seat.ovality_um == pytest.approx(2.0)


@given(st.permutations(READINGS), st.floats(-720.0, 720.0), st.floats(-0.1, 0.1))
def test_order_and_origin_of_the_readings_do_not_matter(
    readings: list[BoreReading], turned_deg: float, shifted_mm: float
) -> None:
    """Another order, another zero of the angle, another bore by so much: the same form, the size shifted."""
    seat = measure_seat(READINGS, uncertainty_um=2.0)
    moved = measure_seat(
        [
            BoreReading(r.diameter_mm + shifted_mm, r.depth_mm, (r.direction_deg or 0) + turned_deg)
            for r in readings
        ],
        uncertainty_um=2.0,
    )
    assert moved.mean_mm == pytest.approx(seat.mean_mm + shifted_mm)
    assert moved.ovality_um == pytest.approx(seat.ovality_um)
    assert moved.taper_um == pytest.approx(seat.taper_um)


# Roundness is half the ovality, known to 2 / sqrt(2) = 1.41 um; IT4 over 30 up to 50 mm is 7 um (NTN, chapter 14;
# ISO 286-1): within up to 5.59 um, outside from 8.41 um on.
@pytest.mark.parametrize(
    ("ovality_um", "standing"),
    [(0.0, "within"), (11.0, "within"), (11.4, "open"), (16.6, "open"), (17.0, "outside")],
)
def test_form_against_the_catalogue_s_grade(ovality_um: float, standing: str) -> None:
    oval = seat_of((41.95, None, 0.0), (41.95 + ovality_um / 1e3, None, 90.0))
    found = judge_seat(oval, nominal_mm=42.0)
    assert (found.form_limit_um, found.roundness, found.cylindricity) == (7.0, standing, "unknown")
    tapered = seat_of((41.95, 1.0, None), (41.95 + ovality_um / 1e3, 6.0, None))
    found = judge_seat(tapered, nominal_mm=42.0)
    assert (found.roundness, found.cylindricity) == ("unknown", standing)


# Limits of a made-up drawing, 41.950 to 41.975 mm, readings to 2 um: only 41.952 to 41.973 is surely within.
@pytest.mark.parametrize(
    ("size_mm", "standing"),
    [
        (41.9475, "outside"),
        (41.949, "open"),
        (41.951, "open"),
        (41.953, "within"),
        (41.972, "within"),
        (41.974, "open"),
        (41.9775, "outside"),
    ],
)
def test_size_against_the_maker_s_limits(size_mm: float, standing: str) -> None:
    limits = SizeLimits(41.950, 41.975, "a drawing")
    found = judge_seat(seat_of((size_mm, None, None)), nominal_mm=42.0, limits=limits)
    assert found.size == standing
    assert "a drawing" in found.reasons[0]
    said = "do not settle whether it is within" if standing == "open" else standing
    assert said in found.reasons[0]


def test_one_diameter_outside_is_enough() -> None:
    """Two-point sizes each count, though their mean is within."""
    limits = SizeLimits(41.950, 41.975, "a drawing")
    seat = seat_of((41.940, None, 0.0), (41.970, None, 90.0))
    assert judge_seat(seat, nominal_mm=42.0, limits=limits).size == "outside"


def test_without_limits_no_band_is_assumed() -> None:
    found = judge_seat(seat_of((41.96, None, None)), nominal_mm=42.0)
    assert found.size == "unknown"
    assert "no maker's limits were given" in found.reasons[0]


def test_limits_of_a_drawing_that_names_a_zone() -> None:
    """42 N7 is 41.967 to 41.992 mm (NSK catalogue, appendix 11)."""
    limits = SizeLimits.of_hole("N7", 42.0)
    assert (limits.low_mm, limits.high_mm) == pytest.approx((41.967, 41.992))


@given(st.floats(0.1, 10.0), st.floats(0.0, 30.0))
def test_a_better_gauge_only_settles_what_was_open(uncertainty_um: float, ovality_um: float) -> None:
    readings = ((41.95, None, 0.0), (41.95 + ovality_um / 1e3, None, 90.0))
    worse = judge_seat(seat_of(*readings, uncertainty_um=uncertainty_um), nominal_mm=42.0).roundness
    better = judge_seat(seat_of(*readings, uncertainty_um=uncertainty_um / 2), nominal_mm=42.0).roundness
    assert worse in {better, "open"}


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: measure_seat([], uncertainty_um=2.0), "no reading"),
        (lambda: measure_seat(READINGS, uncertainty_um=0.0), "uncertainty above 0 um is needed, got 0.0"),
        (lambda: measure_seat(READINGS, uncertainty_um=math.nan), "got nan"),
        (lambda: seat_of((41.96, 1.0, None), (41.96, None, None)), "some readings of the bore have a depth"),
        (lambda: seat_of((41.96, None, None), (49.16, None, None)), "from 41.96 to 49.16 mm are too far apart"),
        (lambda: BoreReading(-1.0), "a bore of -1.0 mm"),
        (lambda: BoreReading(42.0, math.inf), "depth inf"),
        (lambda: SizeLimits(42.0, 41.0, "a drawing"), "limits 42.0 to 41.0 mm"),
        (lambda: judge_seat(seat_of((130.0, None, None)), nominal_mm=130.0), "IT4 .* the size is 130 mm"),
    ],
)
def test_refusals(call: Any, named: str) -> None:
    with pytest.raises(InputError, match=named) as caught:
        call()
    assert caught.value.hint
