"""How much grease goes into a bearing, from its boundary sizes.

Free volume is what rings, balls and cage leave of the ring between bore and outside. SKF Rolling bearings,
catalogue 17000 EN (2018), takes it from the mass: pi/4 B (D² - d²) less mass over the density of steel. Catalogue
rows have no mass, but the share that is left is much the same in all these bearings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# Share of the ring between bore and outside that is free: by masses that makers print, 0.27 (6806) to 0.33 (6902);
# 12 bearings from 6800 to 6811 and 6000 to 6205 (SKF for 6805 and 6806, the rest from memory).
FREE_SHARE = 0.31
# What makers fill [share of the free volume]: NTN Ball and Roller Bearings CAT 2203/E, chapter 11.
MAKERS_LEAST, MAKERS_MOST = 0.30, 0.40
AGAINST_WATER = 0.60  # what the trade fills where water gets in, at some drag (common practice)
GREASE_G_PER_CM3 = 0.9  # of the usual greases, 0.88 to 0.95 (from memory)


@dataclass(frozen=True, slots=True)
class GreaseAmount:
    """Grease for one bearing [g]: the makers' least and most, and what is filled against water."""

    least_g: float
    most_g: float
    against_water_g: float

    @property
    def words(self) -> str:
        """The amounts in words."""
        return (
            f"{self.least_g:.1f} to {self.most_g:.1f} g a bearing (30 to 40 % of its free volume, the makers' "
            f"filling), about {self.against_water_g:.1f} g where water gets in (60 %, common practice)"
        )


def free_volume_cm3(bore_mm: float, outside_mm: float, width_mm: float) -> float:
    """Room for grease in a ball bearing [cm³], good to 15 %, from its boundary sizes [mm]."""
    return FREE_SHARE * math.pi / 4 * width_mm * (outside_mm**2 - bore_mm**2) / 1e3


def grease_amount(bore_mm: float, outside_mm: float, width_mm: float) -> GreaseAmount:
    """Grease for one bearing, from its boundary sizes [mm]."""
    full_g = GREASE_G_PER_CM3 * free_volume_cm3(bore_mm, outside_mm, width_mm)
    return GreaseAmount(MAKERS_LEAST * full_g, MAKERS_MOST * full_g, AGAINST_WATER * full_g)
