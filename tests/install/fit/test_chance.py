"""Chances against a Monte Carlo of its own, the fits that a 6806 must get, and a catalogue's likely range."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from acoustic.install.fit.chance import Chances, chances_of
from acoustic.install.fit.clearance import reckon_fit
from acoustic.install.fit.interference import material
from acoustic.install.fit.parts import FittedBearing, Shell, Spindle
from acoustic.install.fit.seat import BoreReading, SizeLimits, drawn_seat, measure_seat
from acoustic.install.fit.sheet import FitSheet, fit_sheet

STEEL, ALUMINIUM = material("steel"), material("aluminium")
SIZE = {"bore_mm": 30.0, "outside_mm": 42.0, "ball_diameter_mm": 3.5, "pitch_diameter_mm": 36.0}
SHELLS_MM = (45.0, 46.0, 47.0, 48.0, 50.0, 52.0, 54.0, 60.0, math.inf)
GROUPS = {
    "C2": (1, 11),
    "CN": (5, 20),
    "C3": (13, 28),
    "C4": (23, 41),
}  # GOST 24810-2013, table 2, over 24 up to 30
COMBINATIONS = [(shell_mm, group) for shell_mm in SHELLS_MM for group in GROUPS]
CLOSE = 0.02  # what the project asks of every chance
GAUGE_UM = 5.0
DRAWS = 40_000  # a chance of one half to 0.0025


def sheet(bore_mm: float, shell_mm: float = 48.0, group: str = "CN", **more: Any) -> FitSheet:
    return fit_sheet(
        measure_seat([BoreReading(bore_mm)], uncertainty_um=GAUGE_UM),
        FittedBearing(**SIZE, group=group),
        Shell(material=ALUMINIUM, outside_mm=None if shell_mm == math.inf else shell_mm),
        **more,
    )


def wall_yields(inside_mm: float, outside_mm: float) -> float:
    """(outside² + inside²) / (outside² - inside²) of a ring; Roark, thick cylinders (from memory)."""
    if outside_mm == math.inf:
        return 1.0
    return (outside_mm**2 + inside_mm**2) / (outside_mm**2 - inside_mm**2)


def share_of(shell_mm: float) -> float:
    """How much of a press fit's interference the raceway loses: the textbook's pressure of two rings, then the
    inner surface of a ring under it. 6806 in aluminium: 39.5, 42 mm.
    """
    compliance = (wall_yields(42.0, shell_mm) + 0.33) / 70_000 + (wall_yields(39.5, 42.0) - 0.3) / 206_000
    pressure_mpa = 1.0 / 42.0 / compliance
    return 39.5 * pressure_mpa * 2 * 42.0**2 / (42.0**2 - 39.5**2) / 206_000


@dataclass
class Drawn:
    """The same sizes drawn by rejection, by another generator, from what the tables and the gauge say."""

    rng: np.random.Generator

    def made(self, low_um: float, high_um: float) -> NDArray[np.float64]:
        sigma = (high_um - low_um) / 2 / 2.5758
        some = self.rng.normal((low_um + high_um) / 2, sigma, 2 * DRAWS)
        return some[(some >= low_um) & (some <= high_um)][:DRAWS]

    def chances(self, bore_mm: float, shell_mm: float, group: str) -> tuple[float, float, float]:
        """Of play, of preload, of more than P7 allows (ISO 286-2: 42 um)."""
        read_um = self.rng.uniform(-GAUGE_UM, GAUGE_UM, DRAWS)
        met_um = 1e3 * (42.0 - bore_mm) + self.made(-11, 0) - read_um
        pressed_um = np.clip(met_um - self.rng.uniform(5, 7, DRAWS), 0, None)
        left_um = self.made(*GROUPS[group]) - share_of(shell_mm) * pressed_um
        return float((met_um <= 0).mean()), float((left_um < 0).mean()), float((met_um > 42).mean())


def against(found: Chances, drawn: tuple[float, float, float]) -> None:
    assert (found.play, found.preload, found.too_tight) == pytest.approx(drawn, abs=CLOSE)


# What the seat measures, by interference with a bearing of nominal size, and with the likeliest one, 5.5 um
# smaller.
@pytest.mark.parametrize(
    ("bore_mm", "fit"),
    [
        (41.950, "tight"),
        (41.9445, "tight"),
        (41.988, "fits"),
        (41.9825, "fits"),
        (41.9945, "loose"),
        (42.000, "loose"),
        (42.005, "loose"),
        (42.010, "loose"),
    ],
)
@pytest.mark.parametrize(("shell_mm", "group"), COMBINATIONS)
def test_a_6806_in_aluminium(bore_mm: float, fit: str, shell_mm: float, group: str) -> None:
    """50 um tight, 12 um fits a single row, 0 to 10 um of play loose: whatever the shell and the clearance."""
    found = sheet(bore_mm, shell_mm, group)
    drawn = Drawn(np.random.default_rng(round(1e4 * bore_mm))).chances(bore_mm, shell_mm, group)
    against(found.chances, drawn)
    assert (found.fit, found.verdict) == (fit, fit)
    if fit == "fits":
        assert found.rows.rows == "single"


def test_what_other_sizes_chances_are() -> None:
    """Between those fits, where chances are neither 0 nor 1."""
    rng = np.random.default_rng(7)
    middling = 0
    for _ in range(60):
        bore_mm, shell_mm = rng.uniform(41.93, 42.0), SHELLS_MM[rng.integers(len(SHELLS_MM))]
        group = list(GROUPS)[rng.integers(4)]
        drawn = Drawn(rng).chances(bore_mm, shell_mm, group)
        against(sheet(bore_mm, shell_mm, group).chances, drawn)
        middling += any(0.1 < chance < 0.9 for chance in drawn)
    assert middling > 20


def test_a_spindle_and_an_oval_seat_by_monte_carlo() -> None:
    """Spindle 30.012 mm to 1 um, hollow 26 mm, in a bore of 30 less 0 to 10 um, ground: 0.638 of it is lost (NTN
    table 8.5); the seat 41.964 and 41.976 mm, so 6 um more are lost across the narrow diameter.
    """
    rng = np.random.default_rng(3)
    drawn = Drawn(rng)
    met_um = 30.0 + drawn.made(-11, 0) + rng.uniform(-1, 1, DRAWS)
    lost_um = share_of(48.0) * np.clip(met_um - rng.uniform(5, 7, DRAWS), 0, None) + 6.0
    over_um = 12.0 - drawn.made(-10, 0) + rng.uniform(-1, 1, DRAWS)
    lost_um = lost_um + 0.638 * np.clip(over_um - rng.uniform(1, 2.5, DRAWS), 0, None)
    numbers = reckon_fit(
        measure_seat([BoreReading(41.964, None, 0.0), BoreReading(41.976, None, 90.0)], uncertainty_um=1.0),
        FittedBearing(**SIZE, group="C4"),
        Shell(material=ALUMINIUM, outside_mm=48.0),
        spindle=Spindle(outside_mm=30.012, inside_mm=26.0, material=STEEL, uncertainty_um=1.0),
    )
    found = chances_of(numbers, 30.0)
    for group, limits in GROUPS.items():
        preload = float((drawn.made(*limits) < lost_um).mean())
        assert found.preload_by_group[group] == pytest.approx(preload, abs=CLOSE)
    assert 0.1 < found.preload_by_group["C3"] < 0.99
    assert found.loss.likely_um == pytest.approx(float(np.median(lost_um)), abs=0.2)


def test_the_catalogue_s_likely_range() -> None:
    """SKF Rolling bearings (2018), example C.2: 6207 in N6 meets by 5 to 29 um, likely 17; the corners are 1 and
    33.

    The catalogue adds the tolerances by their squares; cut off at the limits the ends come 1.3 um further in.
    """
    numbers = reckon_fit(
        drawn_seat(SizeLimits.of_hole("N6", 72.0)),
        FittedBearing(bore_mm=35.0, outside_mm=72.0, ball_diameter_mm=11.112, pitch_diameter_mm=53.5),
        Shell(material=STEEL, outside_mm=None, finish="none"),
    )
    found = chances_of(numbers, 35.0)
    met = found.interference
    assert (met.low_um, met.likely_um, met.high_um) == pytest.approx((5.0, 17.0, 29.0), abs=1.5)
    corners = numbers.shell.interference
    assert (corners.low_um, corners.high_um) == pytest.approx((1.0, 33.0))
    assert (found.loss.low_um, found.loss.likely_um, found.loss.high_um) == pytest.approx((4, 15, 25), abs=1.7)
    assert found.left_by_group["CN"].likely_um == pytest.approx(-2, abs=0.5)
    assert found.left_by_group["C3"].likely_um == pytest.approx(9, abs=0.5)


@given(st.floats(41.85, 42.1), st.floats(0.0, 0.1))
def test_a_narrower_seat_is_never_likelier_to_have_play_nor_less_likely_to_squeeze(
    bore_mm: float, narrower_mm: float
) -> None:
    wide, narrow = sheet(bore_mm).chances, sheet(bore_mm - narrower_mm).chances
    assert narrow.play <= wide.play
    assert narrow.too_tight >= wide.too_tight
    assert all(narrow.preload_by_group[group] >= wide.preload_by_group[group] for group in GROUPS)


def test_more_clearance_is_never_likelier_squeezed() -> None:
    for bore_mm in (41.94, 41.96, 41.98):
        found = list(sheet(bore_mm).chances.preload_by_group.values())
        assert found == sorted(found, reverse=True)
