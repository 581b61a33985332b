"""What fits leave of a clearance: the catalogue's worked example, sheets worked by hand, invariances, refusals."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.errors import InputError
from acoustic.install.fit.clearance import FitNumbers, clearance_left, reckon_fit
from acoustic.install.fit.interference import Ring, Span, material, raceways_mm, shell_fit
from acoustic.install.fit.parts import Cup, FittedBearing, Shell, Spindle, Temperatures
from acoustic.install.fit.seat import BoreReading, measure_seat
from acoustic.install.fit.tolerances import Limits, radial_clearance

STEEL, ALUMINIUM, POLYAMIDE = material("steel"), material("aluminium"), material("polyamide")
SIZE_6806 = {"bore_mm": 30.0, "outside_mm": 42.0, "ball_diameter_mm": 3.5, "pitch_diameter_mm": 36.0}
SIZE_24X37 = {"bore_mm": 24.0, "outside_mm": 37.0, "ball_diameter_mm": 3.175, "pitch_diameter_mm": 30.5}
EXACT_UM = 1e-6  # of a seat given by its size alone


def reckon(
    *diameters_mm: float,
    size: dict[str, float] = SIZE_6806,
    uncertainty_um: float = 2.0,
    shell_mm: float | None = 48.0,
    group: str | None = "CN",
    **more: Any,
) -> FitNumbers:
    """A fit of a bore read once in each of so many directions."""
    readings = [BoreReading(size_mm, None, 10.0 * number) for number, size_mm in enumerate(diameters_mm)]
    return reckon_fit(
        measure_seat(readings, uncertainty_um=uncertainty_um),
        FittedBearing(**size, group=group),
        Shell(material=ALUMINIUM, outside_mm=shell_mm),
        **more,
    )


def ends(span: Span) -> tuple[float, float, float]:
    return span.low_um, span.likely_um, span.high_um


# SKF Rolling bearings, catalogue 17000 EN (2018), example C.2: 6207 in a housing N6, interference 5, 17, 29 um by
# its likely range, of which 0.87 is lost: 4, 15, 25 um. What is left of CN (6 to 20 um) and of C3 (15 to 33 um):
@pytest.mark.parametrize(("group", "left"), [("CN", (-19, -2, 16)), ("C3", (-10, 9, 29))])
def test_the_catalogue_s_worked_example(group: str, left: tuple[int, int, int]) -> None:
    loss = Span(5.0, 17.0, 29.0).map(lambda um: 0.87 * um)
    assert [round(um) for um in ends(loss)] == [4, 15, 25]
    found = clearance_left(radial_clearance(group, 35.0), loss)
    assert tuple(round(um) for um in ends(found)) == left


def test_the_catalogue_s_factor_by_thick_rings() -> None:
    """The example's 0.87, read off a chart for mean rings, against 0.897 at the groove: a micrometre of loss.

    6207: pitch circle 53.5 mm, balls 11.112 mm (from memory).
    """
    _, outer = raceways_mm(53.5, 11.112)
    share = shell_fit(Ring(outer, 72.0, STEEL), Ring(72.0, math.inf, STEEL)).share
    assert [share * um for um in (5.0, 17.0, 29.0)] == pytest.approx([4, 15, 25], abs=1.1)


def test_a_42_mm_seat_of_41_96_mm() -> None:
    """Worked apart from this code: 29 to 40 um, effective 22 to 35; in shells of 48 to 50 mm outside 9 to 17 um
    are lost; CN ends at -12 to +11 um, C3 at -4 to +19 um.
    """
    thin = reckon(41.96, uncertainty_um=EXACT_UM, shell_mm=48.0)
    thick = reckon(41.96, uncertainty_um=EXACT_UM, shell_mm=50.0)
    assert (thin.shell.interference.low_um, thin.shell.interference.high_um) == pytest.approx((29.0, 40.0))
    assert (thin.shell.effective.low_um, thin.shell.effective.high_um) == pytest.approx((22.0, 35.0))
    assert (thin.loss.low_um, thick.loss.high_um) == pytest.approx((9.0, 17.0), abs=0.5)
    for group, low_um, high_um in (("CN", -12, 11), ("C3", -4, 19)):
        assert thick.left_by_group[group].low_um == pytest.approx(low_um, abs=0.5)
        assert thin.left_by_group[group].high_um == pytest.approx(high_um, abs=0.5)


def test_50_um_in_a_42_mm_seat_squeezes_a_normal_clearance() -> None:
    """A forum tells of a stiff and notchy crank at 50 um: 18 to 22 um of the 5 to 20 um are lost."""
    measured = Limits(0.0, 0.0, "measured")
    losses = [
        reckon_fit(
            measure_seat([BoreReading(41.95)], uncertainty_um=EXACT_UM),
            FittedBearing(**SIZE_6806, outside=measured),
            Shell(material=ALUMINIUM, outside_mm=shell_mm),
        ).loss
        for shell_mm in (48.0, 50.0)
    ]
    assert (losses[0].low_um, losses[1].high_um) == pytest.approx((18.0, 22.0), abs=0.5)


def test_24x37_in_a_37_mm_seat_by_hand() -> None:
    """The arithmetic stands beside `reckon_fit`."""
    found = reckon(36.985, size=SIZE_24X37, shell_mm=46.0)
    assert ends(found.shell.interference) == pytest.approx((2.0, 9.5, 17.0))
    assert ends(found.shell.effective) == pytest.approx((0.0, 3.5, 12.0))
    assert found.shell.press.share == pytest.approx(0.423, abs=5e-4)
    assert ends(found.left) == pytest.approx((-0.1, 11.0, 20.0), abs=0.05)


def test_24x37_in_a_cup_in_a_41_mm_seat_by_hand() -> None:
    """The arithmetic stands beside `reckon_fit`."""
    cup = Cup(outside_mm=41.0, outside=Limits(-2.0, 2.0, "measured"), material=ALUMINIUM)
    found = reckon(40.980, size=SIZE_24X37, shell_mm=46.0, cup=cup)
    assert ends(found.shell.interference) == pytest.approx((16.0, 20.0, 24.0))
    assert found.shell.press.share == pytest.approx(0.222, abs=5e-4)
    assert ends(found.loss) == pytest.approx((2.0, 3.1, 4.2), abs=0.05)
    assert ends(found.left) == pytest.approx((0.8, 9.4, 18.0), abs=0.05)


def test_a_pressed_spindle_takes_its_share_too() -> None:
    """30.010 mm to 1 um, bore 30 less 0 to 10 um: 9, 15, 21 um; ground, so effective 6.5, 13.25, 20 um; of which
    0.638 is lost (hollow, 26 mm: NTN table 8.5), on top of the shell's part.
    """
    spindle = Spindle(outside_mm=30.010, inside_mm=26.0, material=STEEL, uncertainty_um=1.0)
    with_it, without = reckon(41.98, spindle=spindle), reckon(41.98)
    assert with_it.spindle is not None
    assert ends(with_it.spindle.interference) == pytest.approx((9.0, 15.0, 21.0))
    assert ends(with_it.spindle.effective) == pytest.approx((6.5, 13.25, 20.0))
    by_spindle = [more - less for more, less in zip(ends(with_it.loss), ends(without.loss), strict=True)]
    assert by_spindle == pytest.approx([0.638 * um for um in (6.5, 13.25, 20.0)], abs=0.01)


def test_a_measured_bore_stands_in_for_the_class() -> None:
    """30.002 mm as measured, spindle 30.010 mm to 1 um: 7, 8, 9 um."""
    found = reckon_fit(
        measure_seat([BoreReading(41.98)], uncertainty_um=2.0),
        FittedBearing(**SIZE_6806, bore=Limits(2.0, 2.0, "measured")),
        Shell(material=ALUMINIUM, outside_mm=48.0),
        spindle=Spindle(outside_mm=30.010, inside_mm=26.0, material=STEEL, uncertainty_um=1.0),
    )
    assert found.spindle is not None
    assert ends(found.spindle.interference) == pytest.approx((7.0, 8.0, 9.0))


def test_a_slip_fit_takes_nothing() -> None:
    spindle = Spindle(outside_mm=29.97, inside_mm=26.0, material=STEEL, uncertainty_um=1.0)
    assert reckon(41.98, spindle=spindle).loss == reckon(41.98).loss


def test_a_warmer_inner_ring_takes_clearance() -> None:
    """SKF catalogue (2018): 0.012 x 10 K x 36 mm = 4.32 um."""
    warm, even = reckon(41.98, temperatures=Temperatures(inner_warmer_k=10.0)), reckon(41.98)
    assert [e - w for w, e in zip(ends(warm.left), ends(even.left), strict=True)] == pytest.approx([4.32] * 3)


def test_temperatures_of_the_shell() -> None:
    """Aluminium 23, steel 12 um a kelvin and metre, by hand: ridden at 0 C a 42 mm seat shrinks onto its bearing
    by (23 - 12) x 0.042 x 20 = 9.24 um; measured at 5 C by a gauge at 20 C it was 23 x 0.042 x 15 = 14.49 um
    wider at 20 C than read; warmed to 80 C it opens by 23 x 0.042 x 60 = 57.96 um.
    """
    even = reckon(41.96).shell.interference.likely_um
    cold = reckon(41.96, temperatures=Temperatures(ridden_c=0.0))
    assert cold.shell.interference.likely_um == pytest.approx(even + 9.24)
    assert cold.at_pressing_um is None
    read_cold = reckon(41.96, temperatures=Temperatures(measured_c=5.0))
    assert read_cold.shell.interference.likely_um == pytest.approx(even - 14.49)
    warm = reckon(41.96, temperatures=Temperatures(pressed_c=80.0))
    assert warm.shell.interference.likely_um == pytest.approx(even)
    assert warm.at_pressing_um == pytest.approx(even - 57.96)


def test_an_angular_contact_bearing_has_no_clearance_of_its_own() -> None:
    found = reckon(41.96, group=None)
    assert (found.left, dict(found.left_by_group)) == (None, {})


def test_an_oval_seat_pinches_across_its_narrow_diameter() -> None:
    """12 um oval about the same mean: 6 um less there, and the rest as before."""
    oval, round_ = reckon(41.964, 41.976), reckon(41.970, 41.970)
    assert oval.pinch_um == pytest.approx(6.0)
    assert oval.left.low_um == pytest.approx(round_.left.low_um - 6.0)
    assert (oval.left.likely_um, oval.left.high_um) == pytest.approx((round_.left.likely_um, round_.left.high_um))


def test_an_oval_seat_cannot_press_by_more_than_it_meets() -> None:
    """Mean 42.004 mm: at most 0 + 2 - 4 = -2 um, and 6 um more across the narrow diameter: 4 um."""
    assert reckon(41.998, 42.010).pinch_um == pytest.approx(4.0)
    assert reckon(42.048, 42.060).pinch_um == 0.0


def test_taper_widens_the_range_on_both_sides() -> None:
    readings = [BoreReading(41.955, 1.0), BoreReading(41.965, 6.0)]
    found = reckon_fit(
        measure_seat(readings, uncertainty_um=2.0),
        FittedBearing(**SIZE_6806),
        Shell(material=ALUMINIUM, outside_mm=48.0),
    )
    assert ends(found.shell.interference) == pytest.approx((42e3 - 11 - 41967, 34.5, 42e3 - 41953))


bores = st.floats(41.85, 42.1)
cups = st.sampled_from([None, ALUMINIUM, POLYAMIDE])


@given(bores, st.floats(0.0, 0.1), st.floats(0.0, 0.02), cups)
def test_more_interference_never_leaves_more_clearance(
    bore_mm: float, narrower_mm: float, oval_mm: float, cup_of: Any
) -> None:
    if cup_of is None:
        size, cup = SIZE_6806, None
    else:
        size = SIZE_24X37
        cup = Cup(outside_mm=42.0, outside=Limits(-11.0, 0.0, "drawn"), material=cup_of)
    wide = reckon(bore_mm, bore_mm + oval_mm, size=size, cup=cup)
    narrow = reckon(bore_mm - narrower_mm, bore_mm - narrower_mm + oval_mm, size=size, cup=cup)
    assert narrow.shell.interference.likely_um >= wide.shell.interference.likely_um
    for tight, easy in zip(ends(narrow.left), ends(wide.left), strict=True):
        assert tight <= easy + 1e-9


@given(bores, st.floats(29.95, 30.1), st.floats(0.0, 0.05))
def test_a_thicker_spindle_never_leaves_more_clearance(
    bore_mm: float, spindle_mm: float, thicker_mm: float
) -> None:
    def left(outside_mm: float) -> Span:
        spindle = Spindle(outside_mm=outside_mm, inside_mm=26.0, material=STEEL, uncertainty_um=1.0)
        return reckon(bore_mm, spindle=spindle).left

    for tight, easy in zip(ends(left(spindle_mm + thicker_mm)), ends(left(spindle_mm)), strict=True):
        assert tight <= easy + 1e-9


@given(bores, st.floats(0.0, 0.02), st.floats(0.1, 20.0), st.sampled_from(["C2", "CN", "C3", "C4"]))
def test_low_likely_and_high_are_in_order(
    bore_mm: float, oval_mm: float, uncertainty_um: float, group: str
) -> None:
    found = reckon(bore_mm, bore_mm + oval_mm, uncertainty_um=uncertainty_um, group=group)
    for span in (found.shell.interference, found.shell.effective, found.loss, found.left):
        assert list(ends(span)) == sorted(ends(span))
    assert found.left == found.left_by_group[group]


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: reckon(41.0), "the seat and what goes into it differ by 0.99 mm"),
        (lambda: reckon(41.98, shell_mm=41.0), "42 mm inside and 41 mm outside has no wall"),
        (lambda: reckon(41.98, group="C9"), "clearance group 'C9' is not known"),
        (lambda: Temperatures(inner_warmer_k=math.nan), "temperature in kelvins is needed, got nan"),
        (lambda: reckon(129.98, size={**SIZE_6806, "outside_mm": 130.0}, shell_mm=140.0), "size is 130 mm"),
        (lambda: Temperatures(ridden_c=150.0), "from -30 to 100 C is needed, got 150"),
        (
            lambda: reckon(
                41.98, spindle=Spindle(outside_mm=24.0, inside_mm=0.0, material=STEEL, uncertainty_um=1.0)
            ),
            "the spindle and the bearing's bore differ by 6.00 mm",
        ),
        (
            lambda: Spindle(outside_mm=30.0, inside_mm=31.0, material=STEEL, uncertainty_um=1.0),
            "30.0 mm outside and 31.0 mm inside",
        ),
        (
            lambda: Spindle(outside_mm=30.0, inside_mm=0.0, material=STEEL, uncertainty_um=0.0),
            "known to 0.0 um",
        ),
        (
            lambda: FittedBearing(**{**SIZE_6806, "ball_diameter_mm": 6.5}),
            "raceways of 29.5 and 42.5 mm do not lie between a bore of 30 mm and an outside of 42 mm",
        ),
    ],
)
def test_refusals(call: Any, named: str) -> None:
    with pytest.raises(InputError, match=named) as caught:
        call()
    assert caught.value.hint
