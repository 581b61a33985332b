"""A seat's bore from several readings: its size, ovality and taper, and whether they are within limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from acoustic.errors import InputError
from acoustic.install.fit.tolerances import grade_width_um, hole_limits

Standing = Literal["within", "open", "outside", "unknown"]
# Roundness and cylindricity of a housing seat: NTN Ball and Roller Bearings CAT 2203/E, chapter 14
# (cylindricity in the same line from memory).
FORM_GRADE = "IT4"
_STANDING = {
    "within": "within",
    "open": "the readings do not settle whether it is within",
    "outside": "outside",
    "unknown": "not known",
}
WIDEST_SPREAD_UM = 500.0  # readings of one bore do not differ by half a millimetre; one is misread


@dataclass(frozen=True, slots=True)
class BoreReading:
    """A bore's diameter read across two points.

    Attributes
    ----------
    diameter_mm : float
        [mm], > 0.
    depth_mm : float or None
        From the mouth [mm]; None where it was not noted.
    direction_deg : float or None
        Of the measured diameter round the bore [deg]; 180 on is the same diameter.

    Raises
    ------
    InputError
        A number is not finite, or the diameter is not above 0.
    """

    diameter_mm: float
    depth_mm: float | None = None
    direction_deg: float | None = None

    def __post_init__(self) -> None:
        numbers = (self.diameter_mm, self.depth_mm, self.direction_deg)
        if not all(math.isfinite(number) for number in numbers if number is not None) or self.diameter_mm <= 0:
            found = f"a bore of {self.diameter_mm} mm, at depth {self.depth_mm}, direction {self.direction_deg}"
            raise InputError(found, hint="Give a diameter above 0 mm; leave out depth or direction if not known")


@dataclass(frozen=True, slots=True)
class SizeLimits:
    """The smallest and the largest size that a maker allows a seat [mm], and where that is written."""

    low_mm: float
    high_mm: float
    source: str

    def __post_init__(self) -> None:
        if not (0 < self.low_mm <= self.high_mm < math.inf):
            found = f"the limits {self.low_mm} to {self.high_mm} mm are not a range of sizes"
            raise InputError(found, hint="Give the smaller diameter first, both in millimetres")

    @classmethod
    def of_hole(cls, zone: str, nominal_mm: float) -> SizeLimits:
        """Limits of a drawing that names an ISO 286 zone such as 'N7'; raises InputError if it is not known."""
        limits = hole_limits(zone, nominal_mm)
        return cls(nominal_mm + limits.low_um / 1e3, nominal_mm + limits.high_um / 1e3, limits.source)


@dataclass(frozen=True, slots=True)
class Section:
    """One depth of a bore.

    Attributes
    ----------
    depth_mm : float or None
    diameters_mm : tuple of float
        One a direction, repeats averaged [mm].
    """

    depth_mm: float | None
    diameters_mm: tuple[float, ...]

    @property
    def mean_mm(self) -> float:
        """Mean diameter [mm]."""
        return math.fsum(self.diameters_mm) / len(self.diameters_mm)

    @property
    def ovality_um(self) -> float | None:
        """Largest less smallest diameter [um]; None for a single one."""
        if len(self.diameters_mm) < 2:
            return None
        return 1e3 * (max(self.diameters_mm) - min(self.diameters_mm))


@dataclass(frozen=True, slots=True)
class Seat:
    """A measured bore.

    Attributes
    ----------
    sections : tuple of Section
        From the mouth inwards.
    uncertainty_um : float
        Half width of the range about a reading that holds the true size [um].
    drawn : bool
        Not measured: the size is the middle of its maker's limits, the uncertainty half their width.
    """

    sections: tuple[Section, ...]
    uncertainty_um: float
    drawn: bool = False

    @property
    def mean_mm(self) -> float:
        """Mean of the sections' means [mm]."""
        return math.fsum(section.mean_mm for section in self.sections) / len(self.sections)

    @property
    def narrowest_mm(self) -> float:
        """Mean diameter of the narrowest section [mm]."""
        return min(section.mean_mm for section in self.sections)

    @property
    def widest_mm(self) -> float:
        """Mean diameter of the widest section [mm]."""
        return max(section.mean_mm for section in self.sections)

    @property
    def ovality_um(self) -> float | None:
        """The most oval section's [um]; None where no section was read in two directions."""
        return max((s.ovality_um for s in self.sections if s.ovality_um is not None), default=None)

    @property
    def taper_um(self) -> float | None:
        """Widest less narrowest section mean [um]; None where only one depth was read."""
        return 1e3 * (self.widest_mm - self.narrowest_mm) if len(self.sections) > 1 else None


@dataclass(frozen=True, slots=True)
class SeatJudgement:
    """A seat against limits.

    Attributes
    ----------
    size, roundness, cylindricity : {'within', 'open', 'outside', 'unknown'}
        'open' where the limit lies within the readings' uncertainty, 'unknown'
        where there is no limit or no reading that could tell.
    form_limit_um : float
        What roundness and cylindricity are held against [um].
    reasons : tuple of str
    """

    size: Standing
    roundness: Standing
    cylindricity: Standing
    form_limit_um: float
    reasons: tuple[str, ...]


def measure_seat(readings: Sequence[BoreReading], *, uncertainty_um: float) -> Seat:
    """Put readings of one bore together.

    Parameters
    ----------
    readings : sequence of BoreReading
        At least one. Those of one depth make a section; within it those of one
        direction are averaged, and those without a direction count as so many directions.
    uncertainty_um : float
        Half width of the range about a reading that holds the true size [um], > 0.
        It is not made smaller by reading more often: most of it is the gauge's setting.

    Raises
    ------
    InputError
        No readings; some with a depth and some without; an impossible uncertainty;
        or readings too far apart to be of one bore.
    """
    if not (math.isfinite(uncertainty_um) and uncertainty_um > 0):
        found = f"an uncertainty above 0 um is needed, got {uncertainty_um}"
        raise InputError(found, hint="Give the gauge's own, with that of the ring or micrometer it was set by")
    if not readings:
        raise InputError("no reading of the bore was given; at least one is needed", hint="Measure the seat")
    depths = dict.fromkeys(reading.depth_mm for reading in readings)
    if None in depths and len(depths) > 1:
        found = "some readings of the bore have a depth and some have none"
        raise InputError(found, hint="Give every reading its depth, or none of them")
    sizes = [reading.diameter_mm for reading in readings]
    if 1e3 * (max(sizes) - min(sizes)) > WIDEST_SPREAD_UM:
        found = f"readings from {min(sizes):g} to {max(sizes):g} mm are too far apart to be of one bore"
        raise InputError(found, hint="Look for a misread or mistyped one")
    ordered = sorted(depths, key=lambda depth: depth or 0.0)
    sections = (_section(depth, [r for r in readings if r.depth_mm == depth]) for depth in ordered)
    return Seat(tuple(sections), uncertainty_um)


def drawn_seat(limits: SizeLimits) -> Seat:
    """A seat that was not measured, as its maker's limits have it."""
    middle_mm, half_um = (limits.low_mm + limits.high_mm) / 2, 500 * (limits.high_mm - limits.low_mm)
    return Seat((Section(None, (middle_mm,)),), half_um, drawn=True)


def _section(depth_mm: float | None, readings: Sequence[BoreReading]) -> Section:
    groups: dict[object, list[float]] = {}
    for number, reading in enumerate(readings):
        own = ("nowhere", number) if reading.direction_deg is None else round(reading.direction_deg % 180, 6) % 180
        groups.setdefault(own, []).append(reading.diameter_mm)
    return Section(depth_mm, tuple(math.fsum(group) / len(group) for group in groups.values()))


def judge_seat(seat: Seat, *, nominal_mm: float, limits: SizeLimits | None = None) -> SeatJudgement:
    """Compare a seat with the maker's limits of size and the catalogues' limits of form.

    Parameters
    ----------
    seat : Seat
    nominal_mm : float
        Nominal diameter [mm], which the grade of form is taken for.
    limits : SizeLimits or None
        The maker's own. None leaves the size unjudged: no band is assumed, since for
        shells only hobby lists state any (for example 41.96 mm for a 42 mm seat).

    Returns
    -------
    SeatJudgement

    Raises
    ------
    InputError
        The grade of form is not known for this size.

    Notes
    -----
    Every single diameter must lie within the limits of size (ISO 14405-1, two-point sizes, from memory).
    Roundness and cylindricity are measured on the radius (ISO 1101, from memory), so half the ovality and half the
    taper are held against the grade. Two points do not see a bore of three lobes.
    Uncertainty counts against any claim, good or bad (ISO 14253-1, from memory).
    """
    form_limit_um = grade_width_um(FORM_GRADE, nominal_mm)
    # A difference of two readings is known to sqrt(2) of one, and half of it is judged.
    form_uncertainty_um = seat.uncertainty_um / math.sqrt(2)
    at = f"{seat.mean_mm:.2f}"
    standings: list[Standing] = []
    reasons = [_size_reason(seat, limits)]
    for name, cause, spread_um in (
        ("round", f"read it in two directions or more: --bore {at}@5/0, --bore {at}@5/90", seat.ovality_um),
        ("straight", f"read it at two depths or more: --bore {at}@1, --bore {at}@6", seat.taper_um),
    ):
        if spread_um is None:
            standings.append("unknown")
            reasons.append(f"whether the seat is {name} is not known: {cause}")
            continue
        standing = _standing(spread_um / 2, form_limit_um, form_uncertainty_um)
        standings.append(standing)
        reasons.append(
            f"the seat is off {name} by {hundredths(spread_um)} between diameters, give or take "
            f"{2 * form_uncertainty_um:.0f} µm; the bearing makers allow {2 * form_limit_um:g} µm (twice "
            f"{FORM_GRADE}): {_STANDING[standing]}"
        )
    return SeatJudgement(_size(seat, limits), standings[0], standings[1], form_limit_um, tuple(reasons))


def _size(seat: Seat, limits: SizeLimits | None) -> Standing:
    if limits is None or seat.drawn:
        return "unknown"
    sizes = [size for section in seat.sections for size in section.diameters_mm]
    may_be_off_mm = seat.uncertainty_um / 1e3
    if min(sizes) + may_be_off_mm < limits.low_mm or max(sizes) - may_be_off_mm > limits.high_mm:
        return "outside"
    if min(sizes) - may_be_off_mm >= limits.low_mm and max(sizes) + may_be_off_mm <= limits.high_mm:
        return "within"
    return "open"


def _size_reason(seat: Seat, limits: SizeLimits | None) -> str:
    got = "was not measured; by its maker's limits it has" if seat.drawn else "measures"
    size = f"the seat {got} {seat.mean_mm:.2f} mm ({seat.mean_mm:.3f}, give or take {seat.uncertainty_um:g} µm)"
    if seat.drawn:
        return size
    if limits is None:
        return f"{size}; no maker's limits were given, so its size is judged by the fit alone"
    return (
        f"{size}, against {limits.low_mm:.3f} to {limits.high_mm:.3f} mm ({limits.source}): "
        f"{_STANDING[_size(seat, limits)]}"
    )


def hundredths(um: float) -> str:
    """A difference of diameters as a calliper shows it, with the micrometres beside."""
    return f"{um / 1e3:.2f} mm ({um:.0f} µm)"


def _standing(value: float, limit: float, uncertainty: float) -> Standing:
    if value + uncertainty <= limit:
        return "within"
    return "outside" if value - uncertainty > limit else "open"
