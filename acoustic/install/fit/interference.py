"""What a press fit does to a raceway: thick rings under pressure, plane stress, each of its own material.

Lamé's solution for a ring of inside diameter a and outside diameter b, modulus E and Poisson's ratio nu,
pressed by p from outside: the outside shrinks by b p ((b² + a²) / (b² - a²) - nu) / E and the inside by
2 a b² p / ((b² - a²) E). Pressed by p from inside, the inside widens by a p ((b² + a²) / (b² - a²) + nu) / E
and the outside by 2 a² b p / ((b² - a²) E). (S. Timoshenko and J. N. Goodier, Theory of Elasticity, the chapter
on polar coordinates, from memory.)

Raceway diameters are those at the bottom of the groove, pitch circle less or more a ball. The rings are thicker
at their shoulders. Mean ring diameters of the catalogues are for thicker rings: for a 6806 they give 34.0 and
37.6 mm in place of 32.5 and 39.5 mm.

The shell that is there is solved for: catalogue factors are for solid steel spindles and thick steel housings,
and a thin aluminium shell passes on a third to a half of the interference only.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from acoustic.errors import InputError
from acoustic.install.fit.tolerances import Limits, material_row

# By definition.
MM_PER_UM = 1e-3
STEEL_STRAIN_PER_K = 12e-6  # SKF Rolling bearings (2018): 0.012 um of clearance for 1 K and 1 mm of pitch circle
INNER_RING_MPA = 127.0  # most tension in an inner ring; NTN Ball and Roller Bearings CAT 2203/E
SPINDLE_SHARE = 0.0007  # most interference of a spindle over its diameter; NSK catalogue of rolling bearings


@dataclass(frozen=True, slots=True)
class Material:
    """What a ring is made of.

    Attributes
    ----------
    name : str
    modulus_mpa : float
        Young's modulus [MPa], > 0.
    poisson : float
        Poisson's ratio, 0 to 0.5.
    source : str
        Who says so.
    strain_per_k : float
        How much it grows for each kelvin [1/K].

    Raises
    ------
    InputError
        A number is out of its range.
    """

    name: str
    modulus_mpa: float
    poisson: float
    source: str
    strain_per_k: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.modulus_mpa) and self.modulus_mpa > 0 and 0 <= self.poisson <= 0.5):
            found = f"{self.name} with a modulus of {self.modulus_mpa} MPa and a Poisson's ratio of {self.poisson}"
            raise InputError(found, hint="Give a modulus above 0 and a ratio from 0 to 0.5")


def material(name: str) -> Material:
    """Look a material up by its name in the table; raises InputError for any other."""
    row = material_row(name)
    return Material(row.name, row.modulus_mpa, row.poisson, row.source, row.strain_per_k)


@dataclass(frozen=True, slots=True)
class Ring:
    """A plain ring.

    Attributes
    ----------
    inside_mm : float
        Inside diameter [mm]; 0 for a solid bar.
    outside_mm : float
        Outside diameter [mm], above the inside; math.inf for a body without end.
    material : Material

    Raises
    ------
    InputError
        The diameters leave no wall.
    """

    inside_mm: float
    outside_mm: float
    material: Material

    def __post_init__(self) -> None:
        if not (0 <= self.inside_mm < self.outside_mm and self.inside_mm < math.inf):
            found = f"a ring of {self.inside_mm:g} mm inside and {self.outside_mm:g} mm outside has no wall"
            raise InputError(found, hint="The outside diameter must be above the inside diameter: check both")


@dataclass(frozen=True, slots=True)
class PressFit:
    """A press fit for each micrometre of effective interference; all of it is in proportion.

    Attributes
    ----------
    share : float
        Loss of radial clearance over effective interference, both on diameter.
    pressure_mpa_per_um : float
        Pressure between the fitted surfaces [MPa/um].
    tension_mpa_per_um : float
        Hoop stress at the bore of the outer of the two parts, where it is highest [MPa/um].
    """

    share: float
    pressure_mpa_per_um: float
    tension_mpa_per_um: float


@dataclass(frozen=True, slots=True)
class Span:
    """The least, the most and the likeliest value [um]."""

    low_um: float
    likely_um: float
    high_um: float

    def map(self, function: Callable[[float], float]) -> Span:
        """Apply a rising function to all three."""
        return Span(function(self.low_um), function(self.likely_um), function(self.high_um))


@dataclass(frozen=True, slots=True)
class Scatter:
    """How one size strays from its likeliest value: by at most so much [um], as makers make or as gauges read.

    `made` parts lie about the middle of their tolerance; a gauge may be off by anything within its own.
    """

    half_um: float
    made: bool


@dataclass(frozen=True, slots=True)
class Joint:
    """One press fit of a bearing in numbers.

    Attributes
    ----------
    interference : Span
        On diameter; below 0 is play. Least and most are the corners of all tolerances at once.
    allowance : Limits
        What the surfaces' peaks take off.
    press : PressFit
    scatter : tuple of Scatter
        What makes the interference stray from its likeliest value, each by itself.
    """

    interference: Span
    allowance: Limits
    press: PressFit
    scatter: tuple[Scatter, ...] = ()

    @property
    def effective(self) -> Span:
        """Interference less what the surfaces' peaks take off; 0 or more."""
        return effective_interference(self.interference, self.allowance)

    @property
    def loss(self) -> Span:
        """Radial clearance that the fit takes."""
        return self.effective.map(lambda um: self.press.share * um)

    @property
    def pressure_mpa(self) -> float:
        """Pressure between the surfaces at the most interference [MPa]."""
        return self.press.pressure_mpa_per_um * self.effective.high_um

    @property
    def tension_mpa(self) -> float:
        """Hoop stress at the bore of the outer part at the most interference [MPa]."""
        return self.press.tension_mpa_per_um * self.effective.high_um


def raceways_mm(pitch_diameter_mm: float, ball_diameter_mm: float) -> tuple[float, float]:
    """Diameters of the inner and the outer raceway [mm], at the bottom of the groove."""
    return pitch_diameter_mm - ball_diameter_mm, pitch_diameter_mm + ball_diameter_mm


def shell_fit(outer_ring: Ring, shell: Ring, cup: Ring | None = None) -> PressFit:
    """Press an outer ring, in a cup or without one, into a shell.

    Parameters
    ----------
    outer_ring : Ring
        From raceway to outside.
    shell : Ring
        From seat to outside. A shell without end of the ring's material gives what
        catalogues call a rigid housing.
    cup : Ring or None
        Between the two; it touches the ring with neither play nor pressure before.

    Returns
    -------
    PressFit
        `share` is how far the raceway shrinks.

    Raises
    ------
    InputError
        The parts do not follow on one another.
    """
    holder = "the cup" if cup else "the shell"
    _check_joint("the outer ring", outer_ring.outside_mm, holder, (cup or shell).inside_mm)
    yielding, passed = _outside_yields(outer_ring), 1.0
    if cup is not None:
        _check_joint("the cup", cup.outside_mm, "the shell", shell.inside_mm)
        # Cup and ring keep in touch: the pressure between them is what makes both shrink alike there.
        passed = _inside_follows(cup) / (yielding + _inside_yields(cup))
        yielding = _outside_yields(cup) - passed * _outside_follows(cup)
    pressure_mpa = MM_PER_UM / (shell.inside_mm * (yielding + _inside_yields(shell)))
    shrinks_mm = outer_ring.inside_mm * _inside_follows(outer_ring) * passed * pressure_mpa
    return PressFit(shrinks_mm / MM_PER_UM, pressure_mpa, pressure_mpa * _bore_tension(shell))


def spindle_fit(inner_ring: Ring, spindle: Ring) -> PressFit:
    """Press an inner ring onto a spindle, hollow or solid.

    Parameters
    ----------
    inner_ring : Ring
        From bore to raceway.
    spindle : Ring
        From its bore to the seat.

    Returns
    -------
    PressFit
        `share` is how far the raceway widens.

    Raises
    ------
    InputError
        The parts do not follow on one another.
    """
    _check_joint("the spindle", spindle.outside_mm, "the inner ring", inner_ring.inside_mm)
    yielding = _outside_yields(spindle) + _inside_yields(inner_ring)
    pressure_mpa = MM_PER_UM / (spindle.outside_mm * yielding)
    widens_mm = inner_ring.outside_mm * _outside_follows(inner_ring) * pressure_mpa
    return PressFit(widens_mm / MM_PER_UM, pressure_mpa, pressure_mpa * _bore_tension(inner_ring))


def effective_interference(interference: Span, allowance: Limits) -> Span:
    """Interference that is left once the surfaces' peaks are pressed flat [um]; 0 where there is none.

    Parameters
    ----------
    interference : Span
        On diameter, as measured; below 0 is play.
    allowance : Limits
        What the peaks take off.
    """
    return Span(
        max(0.0, interference.low_um - allowance.high_um),
        max(0.0, interference.likely_um - allowance.middle_um),
        max(0.0, interference.high_um - allowance.low_um),
    )


def thermal_loss_um(inner_warmer_k: float, pitch_diameter_mm: float) -> float:
    """Clearance lost [um] where the inner ring is warmer than the outer one, by kelvins; below 0 is a gain.

    References
    ----------
    SKF Rolling bearings, catalogue 17000 EN (2018): 0.012 um for each kelvin and millimetre of pitch circle.
    """
    return STEEL_STRAIN_PER_K * inner_warmer_k * pitch_diameter_mm / MM_PER_UM


def _check_joint(inner: str, inner_mm: float, outer: str, outer_mm: float) -> None:
    if not math.isclose(inner_mm, outer_mm):
        found = f"{inner} ends at {inner_mm:g} mm but {outer} begins at {outer_mm:g} mm"
        raise InputError(found, hint="Give both by the nominal diameter of the surface that they share")


def _hollow(ring: Ring) -> float:
    return (ring.inside_mm / ring.outside_mm) ** 2


def _outside_yields(ring: Ring) -> float:
    """Strain of the outside per pressure on the outside [1/MPa]."""
    return (_bore_tension(ring) - ring.material.poisson) / ring.material.modulus_mpa


def _inside_yields(ring: Ring) -> float:
    """Strain of the inside per pressure on the inside [1/MPa]."""
    return (_bore_tension(ring) + ring.material.poisson) / ring.material.modulus_mpa


def _inside_follows(ring: Ring) -> float:
    """Strain of the inside per pressure on the outside [1/MPa]."""
    return 2 / (1 - _hollow(ring)) / ring.material.modulus_mpa


def _outside_follows(ring: Ring) -> float:
    """Strain of the outside per pressure on the inside [1/MPa]."""
    return 2 * _hollow(ring) / (1 - _hollow(ring)) / ring.material.modulus_mpa


def _bore_tension(ring: Ring) -> float:
    """Hoop stress at the bore per pressure on the bore."""
    return (1 + _hollow(ring)) / (1 - _hollow(ring))
