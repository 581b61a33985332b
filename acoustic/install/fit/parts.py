"""What is pressed together: bearing, cup, shell and spindle."""

from __future__ import annotations

import math
from dataclasses import dataclass

from acoustic.errors import InputError
from acoustic.install.fit.interference import Material, Ring, material, raceways_mm
from acoustic.install.fit.tolerances import Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedBearing:
    """A deep-groove ball bearing of bearing steel, as it comes from its box.

    Attributes
    ----------
    bore_mm, outside_mm : float
        Nominal diameters [mm].
    ball_diameter_mm, pitch_diameter_mm : float
        [mm]; the raceways must lie between bore and outside.
    group : str
        Clearance group of ISO 5753-1; an unmarked bearing is CN.
    outside, bore : Limits or None
        Deviations from the nominal diameters [um], if they were measured or are of a
        finer class; None is the normal class of ISO 492.

    Raises
    ------
    InputError
        The diameters leave a ring no wall.
    """

    bore_mm: float
    outside_mm: float
    ball_diameter_mm: float
    pitch_diameter_mm: float
    group: str = "CN"
    outside: Limits | None = None
    bore: Limits | None = None

    def __post_init__(self) -> None:
        inner_mm, outer_mm = raceways_mm(self.pitch_diameter_mm, self.ball_diameter_mm)
        if not (0 < self.bore_mm < inner_mm < outer_mm < self.outside_mm < math.inf):
            found = (
                f"raceways of {inner_mm:g} and {outer_mm:g} mm do not lie between a bore of {self.bore_mm:g} mm "
                f"and an outside of {self.outside_mm:g} mm"
            )
            raise InputError(found, hint="Correct the diameters of bearing, pitch circle or ball")

    @property
    def inner_ring(self) -> Ring:
        """From bore to raceway."""
        return Ring(self.bore_mm, raceways_mm(self.pitch_diameter_mm, self.ball_diameter_mm)[0], material("steel"))

    @property
    def outer_ring(self) -> Ring:
        """From raceway to outside."""
        return Ring(
            raceways_mm(self.pitch_diameter_mm, self.ball_diameter_mm)[1], self.outside_mm, material("steel")
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cup:
    """A cup that already sits on the bearing, with neither play nor pressure, and goes into the shell with it.

    Attributes
    ----------
    outside_mm : float
        Nominal outside diameter [mm].
    outside : Limits
        Its deviations [um]. No standard covers cups: measure them or ask the maker.
    material : Material
    """

    outside_mm: float
    outside: Limits
    material: Material


@dataclass(frozen=True, slots=True, kw_only=True)
class Shell:
    """The frame's shell about a seat.

    Attributes
    ----------
    material : Material
    outside_mm : float or None
        Outside diameter at the seat [mm]; None for a wall so thick that its end does not
        matter. Tubes welded or bonded on make it stiffer in places, which is not taken into account.
    finish : str
        Of the seat, as `roughness_allowance` takes it.
    """

    material: Material
    outside_mm: float | None
    finish: str = "turned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spindle:
    """The spindle where the inner ring sits.

    Attributes
    ----------
    outside_mm : float
        As measured [mm]: above the bore it is oversize, below it has play. With a sleeve
        between, the sleeve's outside.
    inside_mm : float
        0 for a solid one [mm].
    material : Material
    uncertainty_um : float
        Half width of the range that holds its true size [um], > 0.
    finish : str
        As `roughness_allowance` takes it.

    Raises
    ------
    InputError
        A size is out of its range.
    """

    outside_mm: float
    inside_mm: float
    material: Material
    uncertainty_um: float
    finish: str = "ground"

    def __post_init__(self) -> None:
        if not (0 <= self.inside_mm < self.outside_mm < math.inf and 0 < self.uncertainty_um < math.inf):
            found = (
                f"a spindle of {self.outside_mm} mm outside and {self.inside_mm} mm inside, "
                f"known to {self.uncertainty_um} um"
            )
            raise InputError(found, hint="Give an outside above the inside, and an uncertainty above 0")
