"""Defect orders against published multiples, against hand derivation and against the contact speeds.

Geometries of public test rigs are from memory unless a source stands beside them, and so are the
multiples; the rows of the housed-unit catalogue were read there.
"""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from acoustic.dsp.geometry import BearingGeometry, defect_orders

INCH = 25.4
# name: (balls, ball mm, pitch mm, angle deg), cage, outer, inner, twice the ball's spin
PUBLISHED = {
    # Case Western Reserve University bearing data centre, drive end and fan end: tables from memory,
    # whose "rolling element" column is twice the spin
    "6205 drive end": ((9, 0.3126 * INCH, 1.537 * INCH, 0.0), 0.3983, 3.5848, 5.4152, 4.7135),
    "6203 fan end": ((8, 0.2656 * INCH, 1.122 * INCH, 0.0), 0.3816, 3.0531, 4.9469, 3.9874),
    # Society for Machinery Failure Prevention Technology, fault data set
    "MFPT": ((8, 0.235 * INCH, 1.245 * INCH, 0.0), 0.4056, 3.2450, 4.7550, 5.1091),
    # NASA data repository, University of Cincinnati run-to-failure rig, ZA-2115
    "ZA-2115": ((16, 0.331 * INCH, 2.815 * INCH, 15.17), 0.4433, 7.0921, 8.9079, 8.3950),
    # University of Ottawa variable-speed data, ER16K
    "ER16K": ((9, 7.94, 38.52, 0.0), 0.3969, 3.5724, 5.4276, 4.6453),
    # Xi'an Jiaotong University data, UER204 (geometry from an article on the set)
    "UER204": ((8, 7.92, 34.55, 0.0), 0.3854, 3.0831, 4.9169, 4.1331),
    # FEMTO-ST institute, 20 x 32 x 7 mm
    "20x32x7": ((13, 3.5, 25.6, 0.0), 0.4316, 5.6113, 7.3887, 7.1776),
}
# Timken housed-unit catalogue, Table A-9 on p. A-13: cage, ball spin (once), outer, inner
CATALOGUE_ROWS = {
    "9104": (0.398, 2.339, 3.578, 5.422),
    "9106": (0.417, 2.933, 4.588, 6.412),
    "202K": (0.391, 2.175, 3.125, 4.875),
    "203K": (0.382, 1.994, 3.053, 4.947),
    "205K": (0.397, 2.328, 3.574, 5.426),
}
LAST_DIGIT = 0.0005  # half a unit of the third decimal

angles = st.floats(0.0, 60.0)
pitches = st.floats(8.0, 120.0)


@st.composite
def geometries(draw: st.DrawFn) -> BearingGeometry:
    balls = draw(st.integers(3, 40))
    pitch = draw(pitches)
    widest = pitch * math.sin(math.pi / balls)
    ball = draw(st.floats(0.05, 0.999)) * widest
    return BearingGeometry(
        balls=balls,
        ball_diameter_mm=ball,
        pitch_diameter_mm=pitch,
        contact_angle_deg=draw(angles),
        turning=draw(st.sampled_from(["inner", "outer"])),
    )


def build(balls: int, ball: float, pitch: float, angle: float = 0.0, **more: Any) -> BearingGeometry:
    return BearingGeometry(
        balls=balls, ball_diameter_mm=ball, pitch_diameter_mm=pitch, contact_angle_deg=angle, **more
    )


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_multiples(name: str) -> None:
    """Tables print four decimals; the last may be cut off in place of rounded, hence 1.2e-4.

    The ball's order goes with the inverse ratio, and the diameters are known to 1e-4 in at best:
    half of that in a ball of 0.26 in is 1.9e-4. The spin once in place of twice would fail, and so
    would a lost contact angle (3.5 per cent of the ratio in ZA-2115: 2e-3 of its cage order).
    """
    numbers, cage, outer, inner, ball = PUBLISHED[name]
    orders = defect_orders(build(*numbers))
    assert orders.cage == pytest.approx(cage, abs=1.2e-4)
    assert orders.outer_raceway == pytest.approx(outer, abs=1.2e-4)
    assert orders.inner_raceway == pytest.approx(inner, abs=1.2e-4)
    assert orders.ball == pytest.approx(ball, rel=2e-4)


@pytest.mark.parametrize(
    ("name", "speed_hz", "part", "times", "printed_hz"),
    [
        # Rig frequencies as commonly quoted (from memory); "times" 0.5 is the spin itself
        ("ZA-2115", 2000 / 60, "outer_raceway", 1.0, 236.4),
        ("ZA-2115", 2000 / 60, "inner_raceway", 1.0, 296.9),
        ("ZA-2115", 2000 / 60, "ball", 0.5, 139.9),
        ("ZA-2115", 2000 / 60, "cage", 1.0, 14.8),
        ("MFPT", 25.0, "outer_raceway", 1.0, 81.12),
        ("MFPT", 25.0, "inner_raceway", 1.0, 118.88),
        ("UER204", 35.0, "outer_raceway", 1.0, 107.91),
        ("UER204", 35.0, "inner_raceway", 1.0, 172.09),
        ("20x32x7", 30.0, "outer_raceway", 1.0, 168.3),
        ("20x32x7", 30.0, "inner_raceway", 1.0, 221.7),
        ("20x32x7", 30.0, "ball", 0.5, 107.7),
    ],
)
def test_published_frequencies(name: str, speed_hz: float, part: str, times: float, printed_hz: float) -> None:
    """Printed to 0.1 or 0.01 Hz: half a digit of 0.1 Hz everywhere."""
    order = getattr(defect_orders(build(*PUBLISHED[name][0])), part)
    assert order * times * speed_hz == pytest.approx(printed_hz, abs=0.05)


def test_both_ball_conventions_of_one_bearing() -> None:
    """One rig, two cards: 4.7135 a turn is twice the spin, 70.6 Hz is the spin.

    The second card (data card AI4Manufacturing/CWRU) prints 107.4 / 162.2 / 70.6 / 11.9 Hz
    without the speed; outer + inner = balls x speed gives 29.96 Hz. Half a digit of 0.1 Hz in
    both sums to 0.011 Hz of speed, times 2.36 makes 0.03 Hz; with 70.6's own half digit 0.08 Hz.
    """
    orders = defect_orders(build(*PUBLISHED["6205 drive end"][0]))
    speed_hz = (107.4 + 162.2) / 9
    assert orders.ball == pytest.approx(4.7135, abs=1.2e-4)
    assert orders.ball / 2 * speed_hz == pytest.approx(70.6, abs=0.08)
    assert orders.cage * speed_hz == pytest.approx(11.9, abs=0.05)


@pytest.mark.parametrize("name", CATALOGUE_ROWS)
def test_catalogue_rows_follow_from_two_of_their_columns(name: str) -> None:
    """The raceway columns give count and diameter ratio; cage and spin must then come out.

    Half a digit in both raceways moves the ratio by 1e-3 / balls, the spin by that over
    2 ratio^2: 1.6e-3 at most; with the printed spin's own half digit 2.1e-3.
    """
    cage, spin, outer, inner = CATALOGUE_ROWS[name]
    balls = round(outer + inner)
    assert outer + inner == pytest.approx(balls, abs=2 * LAST_DIGIT)
    orders = defect_orders(build(balls, 100 * (inner - outer) / balls, 100.0))
    assert orders.cage == pytest.approx(cage, abs=1.2 * LAST_DIGIT)
    assert orders.ball / 2 == pytest.approx(spin, abs=2.1e-3)


def counts_agree(cage: float, outer: float) -> bool:
    """Outer = balls x cage, within what three decimals allow, for some whole number of balls."""
    told = outer / cage
    rounding = told * (LAST_DIGIT / cage + LAST_DIGIT / outer)
    return abs(told - round(told)) <= rounding


def test_the_identities_catch_a_misprinted_catalogue_row() -> None:
    """Row 305K of the same table prints cage 0.367 beside outer 3.574: 9.74 balls."""
    assert all(counts_agree(cage, outer) for cage, _, outer, _ in CATALOGUE_ROWS.values())
    assert not counts_agree(0.367, 3.574)


def test_round_numbers() -> None:
    """Derived by hand: 8 balls of 10 mm on 50 mm.

    The ratio is 10/50 = 0.2. Cage (1 - 0.2)/2 = 0.4; outer 8 x 0.4 = 3.2; inner 8 x 0.6 = 4.8;
    spin 50/20 x (1 - 0.04) = 2.4, so the ball strikes 4.8 times a turn.
    """
    orders = defect_orders(build(8, 10.0, 50.0))
    assert orders.cage == pytest.approx(0.4, rel=1e-12)
    assert orders.outer_raceway == pytest.approx(3.2, rel=1e-12)
    assert orders.inner_raceway == pytest.approx(4.8, rel=1e-12)
    assert orders.ball == pytest.approx(4.8, rel=1e-12)


def test_round_numbers_at_sixty_degrees() -> None:
    """cos 60 = 1/2 halves the ratio to 0.1: cage 0.45, outer 3.6, inner 4.4, ball 5 x 0.99 = 4.95."""
    orders = defect_orders(build(8, 10.0, 50.0, 60.0))
    assert orders.cage == pytest.approx(0.45, rel=1e-12)
    assert orders.outer_raceway == pytest.approx(3.6, rel=1e-12)
    assert orders.inner_raceway == pytest.approx(4.4, rel=1e-12)
    assert orders.ball == pytest.approx(4.95, rel=1e-12)


def test_outer_ring_turning_round_numbers() -> None:
    """Seen from the turning ring nothing changes but the cage: it turns 1 - 0.4 = 0.6."""
    inner, outer = (defect_orders(build(8, 10.0, 50.0, turning=ring)) for ring in ("inner", "outer"))
    assert outer.cage == pytest.approx(0.6, rel=1e-12)
    assert outer.outer_raceway == inner.outer_raceway
    assert outer.inner_raceway == inner.inner_raceway
    assert outer.ball == inner.ball


@given(geometry=geometries())
def test_orders_agree_with_the_speeds_of_the_contacts(geometry: BearingGeometry) -> None:
    """An independent road: contact points that do not slip, ring and cage speeds, then differences."""
    half_ball = geometry.ball_diameter_mm / 2 * math.cos(math.radians(geometry.contact_angle_deg))
    mid = geometry.pitch_diameter_mm / 2
    inner_turns, outer_turns = (1.0, 0.0) if geometry.turning == "inner" else (0.0, 1.0)
    inner_speed = inner_turns * (mid - half_ball)
    outer_speed = outer_turns * (mid + half_ball)
    cage = (inner_speed + outer_speed) / 2 / mid  # the ball's centre moves at the mean of its contacts
    spin = abs(inner_turns - cage) * (mid - half_ball) / (geometry.ball_diameter_mm / 2)
    orders = defect_orders(geometry)
    assert orders.cage == pytest.approx(cage, rel=1e-9)
    assert orders.outer_raceway == pytest.approx(geometry.balls * abs(outer_turns - cage), rel=1e-9)
    assert orders.inner_raceway == pytest.approx(geometry.balls * abs(inner_turns - cage), rel=1e-9)
    assert orders.ball == pytest.approx(2 * spin, rel=1e-9)


@given(geometry=geometries())
def test_identities(geometry: BearingGeometry) -> None:
    """Outer + inner = balls; outer = balls x cage with the inner ring turning, inner with the outer."""
    orders = defect_orders(geometry)
    assert orders.outer_raceway + orders.inner_raceway == pytest.approx(geometry.balls, rel=1e-12)
    passed = orders.outer_raceway if geometry.turning == "inner" else orders.inner_raceway
    assert passed == pytest.approx(geometry.balls * orders.cage, rel=1e-12)
    assert orders.outer_raceway < geometry.balls / 2 < orders.inner_raceway


@given(geometry=geometries(), scale=st.floats(0.1, 10.0))
def test_only_the_ratio_of_the_diameters_counts(geometry: BearingGeometry, scale: float) -> None:
    assume(geometry.ball_diameter_mm < 0.99 * geometry.pitch_diameter_mm * math.sin(math.pi / geometry.balls))
    scaled = build(
        geometry.balls,
        geometry.ball_diameter_mm * scale,
        geometry.pitch_diameter_mm * scale,
        geometry.contact_angle_deg,
        turning=geometry.turning,
    )
    one, other = defect_orders(geometry), defect_orders(scaled)
    for part in ("cage", "outer_raceway", "inner_raceway", "ball"):
        assert getattr(other, part) == pytest.approx(getattr(one, part), rel=1e-9)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"balls": 2}, "whole number from 3 to 99, got 2"),
        ({"balls": 100}, "whole number from 3 to 99, got 100"),
        ({"balls": 8.5}, "whole number from 3 to 99, got 8.5"),
        ({"ball": 0.0}, "diameters must be above 0 mm"),
        ({"pitch": math.nan}, "diameters must be above 0 mm"),
        ({"ball": 50.0}, "smaller than the pitch circle"),
        ({"angle": 90.0}, "0 to below 90 degrees, got 90"),
        ({"angle": math.nan}, "0 to below 90 degrees"),
        ({"turning": "both"}, "'inner' or 'outer', got 'both'"),
        ({"balls": 16}, "16 balls of 10.0 mm do not fit round a 50.0 mm pitch circle .at most 9.75 mm"),
    ],
)
def test_impossible_bearings_are_refused(changes: dict[str, Any], message: str) -> None:
    """Good numbers with one spoilt. 16 balls: 50 sin(180/16 degrees) = 9.75 mm."""
    with pytest.raises(ValueError, match=message):
        build(**{"balls": 8, "ball": 10.0, "pitch": 50.0} | changes)


def test_balls_that_touch_still_fit() -> None:
    """Six equal circles round a seventh touch: pitch 20 mm for balls of 10 mm."""
    assert build(6, 10.0, 20.0).balls == 6
