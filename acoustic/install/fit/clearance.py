"""What the fits leave of a bearing's radial clearance, from the parts' sizes.

Low and high are corners of all tolerances at once: the worst case. What is likely stands in chance.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from acoustic.errors import InputError
from acoustic.install.fit.interference import (
    Joint,
    Ring,
    Scatter,
    Span,
    shell_fit,
    spindle_fit,
    thermal_loss_um,
)
from acoustic.install.fit.parts import ROOM_C, Cup, FittedBearing, Shell, Spindle, Temperatures
from acoustic.install.fit.seat import Seat
from acoustic.install.fit.tolerances import (
    GROUPS,
    Limits,
    bore_limits,
    hole_limits,
    outside_limits,
    radial_clearance,
    roughness_allowance,
)

# The tightest fit that bearing makers list for an outer ring in a housing, for thin walls and light metals:
# NTN Ball and Roller Bearings CAT 2203/E, chapter 7 (from memory).
TIGHTEST_HOLE = "P7"
AT_ROOM = Temperatures()
FARTHEST_UM = 300.0  # parts further apart than this were not made for one another


@dataclass(frozen=True, slots=True)
class FitNumbers:
    """A fit in numbers; low and high are the corners of all tolerances and uncertainties at once.

    Attributes
    ----------
    shell : Joint
        Between the seat and what goes into it.
    spindle : Joint or None
        None where no spindle was given: a slip fit that takes no clearance.
    thermal_loss_um : float
        Clearance taken by a warmer inner ring [um].
    pinch_um : float
        What an oval seat takes further across its narrow diameter, at most [um].
    loss : Span
        Clearance lost in all. The most is across the narrow diameter.
    left_by_group : mapping of str to Span
        Clearance left to a bearing of each group, before any preload; below 0 the balls are squeezed. Empty
        for a bearing that has no clearance of its own.
    group : str or None
        The bearing's own.
    half_oval_um : float
        Half the seat's ovality [um].
    tightest_um : float or None
        The tightest fit that the bearing makers list for a housing [um]; None for a cup's.
    at_pressing_um : float or None
        Likeliest interference while it is pressed into a warm shell; None where the shell is not warmed.
    """

    shell: Joint
    spindle: Joint | None
    thermal_loss_um: float
    pinch_um: float
    loss: Span
    left_by_group: Mapping[str, Span]
    group: str | None
    half_oval_um: float
    tightest_um: float | None
    at_pressing_um: float | None

    @property
    def left(self) -> Span | None:
        """Clearance left to this bearing; None where it has none of its own."""
        return None if self.group is None else self.left_by_group[self.group]


def reckon_fit(
    seat: Seat,
    bearing: FittedBearing,
    shell: Shell,
    *,
    cup: Cup | None = None,
    spindle: Spindle | None = None,
    temperatures: Temperatures = AT_ROOM,
) -> FitNumbers:
    """Compute interference, clearance lost and clearance left.

    Parameters
    ----------
    seat : Seat
    bearing : FittedBearing
    shell : Shell
    cup : Cup or None
        Where the bearing goes into the shell in a cup.
    spindle : Spindle or None
        None for a slip fit.
    temperatures : Temperatures

    Returns
    -------
    FitNumbers

    Raises
    ------
    InputError
        A size lies outside the tables, the parts do not go into one another, or a number is not finite.

    Notes
    -----
    A 24 x 37 bearing (pitch circle 30.5, balls 3.175: raceways 27.325 and 33.675 mm) in a 37 mm seat that
    measures 36.985 mm to 2 um, in an aluminium shell of 46 mm outside, worked by hand::

        interference    36.989 - 36.987 = 2, likely 36.9945 - 36.985 = 9.5, at most 37.000 - 36.983 = 17 um
        effective       less 7, 6 and 5 um for a turned surface: 0, 3.5, 12 um
        ring            a²/b² = 0.8283: outside yields (1.8283 / 0.1717 - 0.30) / 206 000 = 5.025e-5 a MPa,
                        raceway follows 2 / 0.1717 / 206 000 = 5.656e-5
        shell           a²/b² = 0.6470: yields (1.6470 / 0.3530 + 0.33) / 70 000 = 7.136e-5
        share           33.675 / 37 x 5.656 / (5.025 + 7.136) = 0.423
        loss            0, 1.5, 5.1 um
        left of CN      5 - 5.1 = -0.1, 12.5 - 1.5 = 11.0, 20 - 0 = 20 um

    The same bearing in an aluminium cup that measures 41.000 mm to 2 um, in a 41 mm seat that measures
    40.980 mm to 2 um, in an aluminium shell of 46 mm outside::

        interference    40.998 - 40.982 = 16, likely 20, at most 41.002 - 40.978 = 24 um
        effective       9, 14, 19 um
        cup             a²/b² = 0.8144: inside yields (1.8144 / 0.1856 + 0.33) / 70 000 = 14.44e-5 and follows
                        the outside by 2 / 0.1856 / 70 000 = 15.39e-5, so the ring gets
                        15.39 / (5.025 + 14.44) = 0.791 of the pressure; outside yields
                        (1.8144 / 0.1856 - 0.33) / 70 000 - 0.791 x 0.8144 x 15.39e-5 = 3.58e-5
        shell           a²/b² = 0.7944: yields (1.7944 / 0.2056 + 0.33) / 70 000 = 12.94e-5
        share           33.675 / 41 x 0.791 x 5.656 / (3.58 + 12.94) = 0.222
        loss            2.0, 3.1, 4.2 um
        left of CN      5 - 4.2 = 0.8, 12.5 - 3.1 = 9.4, 20 - 2.0 = 18.0 um
    """
    shell_joint = _shell_joint(seat, bearing, shell, cup, temperatures)
    spindle_joint = None if spindle is None else _spindle_joint(bearing, spindle, temperatures)
    thermal_um = thermal_loss_um(temperatures.inner_warmer_k, bearing.pitch_diameter_mm)
    pinch_um = _pinch_um(seat, shell_joint)
    by_spindle = Span(0.0, 0.0, 0.0) if spindle_joint is None else spindle_joint.loss
    loss = Span(
        shell_joint.loss.low_um + by_spindle.low_um + thermal_um,
        shell_joint.loss.likely_um + by_spindle.likely_um + thermal_um,
        shell_joint.loss.high_um + by_spindle.high_um + thermal_um + pinch_um,
    )
    groups = () if bearing.group is None else GROUPS
    left = {group: clearance_left(radial_clearance(group, bearing.bore_mm), loss) for group in groups}
    if bearing.group is not None and bearing.group not in left:
        radial_clearance(bearing.group, bearing.bore_mm)  # refuses it by name
    return FitNumbers(
        shell=shell_joint,
        spindle=spindle_joint,
        thermal_loss_um=thermal_um,
        pinch_um=pinch_um,
        loss=loss,
        left_by_group=MappingProxyType(left),
        group=bearing.group,
        half_oval_um=(seat.ovality_um or 0.0) / 2,
        tightest_um=-hole_limits(TIGHTEST_HOLE, bearing.outside_mm).low_um if cup is None else None,
        at_pressing_um=_at_pressing_um(shell_joint, shell, bearing.outside_mm, temperatures),
    )


def clearance_left(clearance: Limits, loss: Span) -> Span:
    """Take a loss off a clearance: the least of one less the most of the other, and so on [um].

    References
    ----------
    SKF Rolling bearings, catalogue 17000 EN (2018), example C.2.
    """
    return Span(
        clearance.low_um - loss.high_um,
        clearance.middle_um - loss.likely_um,
        clearance.high_um - loss.low_um,
    )


def _shell_joint(
    seat: Seat, bearing: FittedBearing, shell: Shell, cup: Cup | None, temperatures: Temperatures
) -> Joint:
    if cup is None:
        nominal_mm, limits = bearing.outside_mm, bearing.outside or outside_limits(bearing.outside_mm)
        cup_ring, pressed = None, bearing.outer_ring.material
    else:
        nominal_mm, limits, pressed = cup.outside_mm, cup.outside, cup.material
        cup_ring = Ring(bearing.outside_mm, cup.outside_mm, cup.material)
    grown_um = 1e3 * nominal_mm * shell.material.strain_per_k * (temperatures.measured_c - ROOM_C)
    outgrown_per_k = pressed.strain_per_k - shell.material.strain_per_k
    grown_um += 1e3 * nominal_mm * outgrown_per_k * (temperatures.ridden_c - ROOM_C)
    interference = Span(
        1e3 * (nominal_mm - seat.widest_mm) + limits.low_um - seat.uncertainty_um + grown_um,
        1e3 * (nominal_mm - seat.mean_mm) + limits.middle_um + grown_um,
        1e3 * (nominal_mm - seat.narrowest_mm) + limits.high_um + seat.uncertainty_um + grown_um,
    )
    _check_pair(interference, "the seat", "what goes into it")
    ends_mm = math.inf if shell.outside_mm is None else shell.outside_mm
    press = shell_fit(bearing.outer_ring, Ring(nominal_mm, ends_mm, shell.material), cup_ring)
    scatter = (
        Scatter((limits.high_um - limits.low_um) / 2, made=True),
        Scatter(seat.uncertainty_um, made=seat.drawn),
        Scatter((seat.taper_um or 0.0) / 2, made=False),
    )
    return Joint(interference, roughness_allowance(shell.finish), press, scatter)


def _spindle_joint(bearing: FittedBearing, spindle: Spindle, temperatures: Temperatures) -> Joint:
    limits = bearing.bore or bore_limits(bearing.bore_mm)
    oversize_um = 1e3 * (spindle.outside_mm - bearing.bore_mm)
    outgrown_per_k = spindle.material.strain_per_k - bearing.inner_ring.material.strain_per_k
    oversize_um += 1e3 * bearing.bore_mm * outgrown_per_k * (temperatures.ridden_c - ROOM_C)
    interference = Span(
        oversize_um - limits.high_um - spindle.uncertainty_um,
        oversize_um - limits.middle_um,
        oversize_um - limits.low_um + spindle.uncertainty_um,
    )
    _check_pair(interference, "the spindle", "the bearing's bore")
    press = spindle_fit(bearing.inner_ring, Ring(spindle.inside_mm, bearing.bore_mm, spindle.material))
    scatter = (
        Scatter((limits.high_um - limits.low_um) / 2, made=True),
        Scatter(spindle.uncertainty_um, made=False),
    )
    return Joint(interference, roughness_allowance(spindle.finish), press, scatter)


def _at_pressing_um(joint: Joint, shell: Shell, outside_mm: float, temperatures: Temperatures) -> float | None:
    """Interference while a bearing at room temperature goes into a warm shell."""
    if temperatures.pressed_c is None:
        return None
    widened_um = 1e3 * outside_mm * shell.material.strain_per_k * (temperatures.pressed_c - ROOM_C)
    return joint.interference.likely_um - widened_um


def _check_pair(interference: Span, one: str, other: str) -> None:
    if abs(interference.likely_um) > FARTHEST_UM:
        found = f"{one} and {other} differ by {abs(interference.likely_um) / 1e3:.2f} mm"
        raise InputError(found, hint="They were not made for one another, or one is misread: check both sizes")


def _pinch_um(seat: Seat, joint: Joint) -> float:
    """What an oval seat takes across its narrow diameter beyond the mean loss.

    A thin ring takes the form of its seat (the bearing makers' catalogues say so, from memory), so its raceway is
    as oval as the seat; it is not pressed in by more than the interference it meets there.
    """
    half_um = (seat.ovality_um or 0.0) / 2
    met_um = max(0.0, joint.interference.high_um + half_um)
    return max(0.0, min(half_um, met_um - joint.loss.high_um))
