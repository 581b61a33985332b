"""Grease amounts against free volumes that makers' masses give."""

from __future__ import annotations

import math

import pytest

from acoustic.bearings.grease import free_volume_cm3, grease_amount

# SKF Rolling bearings, catalogue 17000 EN (2018): pi/4 B (D² - d²) less mass / 7.8: 6805 1.27, 6806 1.29 cm³ by
# the catalogue's masses; the other masses [g] from memory.
MASSES = {
    (25, 37, 7): 22,
    (30, 42, 7): 27,
    (10, 26, 8): 19,
    (17, 40, 12): 65,
    (25, 52, 15): 130,
    (15, 28, 7): 16,
    (10, 19, 5): 5.5,
    (20, 32, 7): 18,
    (17, 30, 7): 18,
    (35, 47, 7): 30,
    (40, 52, 7): 34,
    (50, 65, 7): 52,
    (55, 72, 9): 83,
}


@pytest.mark.parametrize(("size", "mass_g"), MASSES.items())
def test_free_volume_by_the_mass(size: tuple[float, float, float], mass_g: float) -> None:
    bore, outside, width = size
    by_mass = math.pi / 4 * width * (outside**2 - bore**2) / 1e3 - mass_g / 7.8
    assert free_volume_cm3(bore, outside, width) == pytest.approx(by_mass, rel=0.15)


def test_a_6805_takes_0_4_grams() -> None:
    """1.27 cm³ of 0.9 g/cm³: 35 % are 0.4 g (30 to 40 %: NTN, chapter 11), 60 % are 0.7 g (common practice)."""
    found = grease_amount(25.0, 37.0, 7.0)
    assert (found.least_g + found.most_g) / 2 == pytest.approx(0.4, abs=0.02)
    assert found.against_water_g == pytest.approx(0.69, abs=0.02)
    assert "0.3 to 0.5 g" in found.words and "about 0.7 g" in found.words
