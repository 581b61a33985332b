"""What is pressed together: bearing, cup, shell and spindle."""

from __future__ import annotations

import math
from dataclasses import dataclass

from acoustic.bearings.grease import GreaseAmount, grease_amount
from acoustic.errors import InputError
from acoustic.install.fit.interference import Material, Ring, material, raceways_mm
from acoustic.install.fit.tolerances import Limits

ROOM_C = 20.0  # the temperature at which sizes are stated: ISO 1
# Judgement: no frame is measured or ridden colder, and paint, glue and grease bear no more.
COLDEST_C, HOTTEST_C = -30.0, 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedBearing:
    """A ball bearing as it comes from its box.

    Attributes
    ----------
    bore_mm, outside_mm : float
        Nominal diameters [mm].
    ball_diameter_mm, pitch_diameter_mm : float
        [mm]; the raceways must lie between bore and outside.
    group : str or None
        Clearance group of ISO 5753-1; an unmarked bearing is CN. None for one that has no clearance of its
        own: an angular-contact bearing gets it when its preload is set.
    rings : str
        What the rings are made of: 'steel' or 'stainless'.
    width_mm : float or None
        [mm]; without it no grease is weighed out.
    rows : {1, 2}
        Rows of balls.
    outside, bore : Limits or None
        Deviations from the nominal diameters [um], if they were measured or are of a
        finer class; None is the normal class of ISO 492.
    note : str
        What the catalogue says to whoever presses it.

    Raises
    ------
    InputError
        The diameters leave a ring no wall.
    """

    bore_mm: float
    outside_mm: float
    ball_diameter_mm: float
    pitch_diameter_mm: float
    group: str | None = "CN"
    rings: str = "steel"
    width_mm: float | None = None
    rows: int = 1
    outside: Limits | None = None
    bore: Limits | None = None
    note: str = ""

    def __post_init__(self) -> None:
        inner_mm, outer_mm = raceways_mm(self.pitch_diameter_mm, self.ball_diameter_mm)
        if not (0 < self.bore_mm < inner_mm < outer_mm < self.outside_mm < math.inf):
            found = (
                f"raceways of {inner_mm:g} and {outer_mm:g} mm do not lie between a bore of {self.bore_mm:g} mm "
                f"and an outside of {self.outside_mm:g} mm"
            )
            raise InputError(found, hint="Correct the diameters of bearing, pitch circle or ball")

    @property
    def grease(self) -> GreaseAmount | None:
        """What goes into it."""
        return None if self.width_mm is None else grease_amount(self.bore_mm, self.outside_mm, self.width_mm)

    @property
    def inner_ring(self) -> Ring:
        """From bore to raceway."""
        inner_mm, _ = raceways_mm(self.pitch_diameter_mm, self.ball_diameter_mm)
        return Ring(self.bore_mm, inner_mm, material(self.rings))

    @property
    def outer_ring(self) -> Ring:
        """From raceway to outside."""
        _, outer_mm = raceways_mm(self.pitch_diameter_mm, self.ball_diameter_mm)
        return Ring(outer_mm, self.outside_mm, material(self.rings))


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
class Temperatures:
    """When the sizes hold and when the fit is asked about [C].

    Attributes
    ----------
    measured_c : float
        Of the shell while its bore was read by a gauge at 20 C.
    ridden_c : float
        Of shell, bearing and spindle alike, in use.
    pressed_c : float or None
        Of the shell while a bearing at 20 C goes in; None where it is not warmed.
    inner_warmer_k : float
        How much warmer the inner ring runs than the outer one [K]; next to nothing in a crank.

    Raises
    ------
    InputError
        One is not a temperature that a workshop or a road has.
    """

    measured_c: float = ROOM_C
    ridden_c: float = ROOM_C
    pressed_c: float | None = None
    inner_warmer_k: float = 0.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.inner_warmer_k):
            found = f"a difference of temperature in kelvins is needed, got {self.inner_warmer_k}"
            raise InputError(found, hint="Give a number, or leave it out")
        for temperature_c in (self.measured_c, self.ridden_c, self.pressed_c):
            if temperature_c is not None and not COLDEST_C <= temperature_c <= HOTTEST_C:
                found = f"a temperature from {COLDEST_C:g} to {HOTTEST_C:g} C is needed, got {temperature_c:g}"
                raise InputError(found, hint="Give degrees Celsius. More heat spoils paint, glue and grease")


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
