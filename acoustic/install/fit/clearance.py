"""What the fits leave of a bearing's radial clearance, from the parts' sizes.

Low and high are corners of all tolerances at once, wider than the likely range that a catalogue prints.
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
    Span,
    effective_interference,
    shell_fit,
    spindle_fit,
    thermal_loss_um,
)
from acoustic.install.fit.parts import Cup, FittedBearing, Shell, Spindle
from acoustic.install.fit.seat import Seat
from acoustic.install.fit.tolerances import (
    GROUPS,
    Limits,
    bore_limits,
    outside_limits,
    radial_clearance,
    roughness_allowance,
)

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
        Clearance left to a bearing of each group, before any preload; below 0 the balls are squeezed.
    group : str
        The bearing's own.
    """

    shell: Joint
    spindle: Joint | None
    thermal_loss_um: float
    pinch_um: float
    loss: Span
    left_by_group: Mapping[str, Span]
    group: str

    @property
    def left(self) -> Span:
        """Clearance left to this bearing."""
        return self.left_by_group[self.group]


def reckon_fit(
    seat: Seat,
    bearing: FittedBearing,
    shell: Shell,
    *,
    cup: Cup | None = None,
    spindle: Spindle | None = None,
    inner_warmer_k: float = 0.0,
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
    inner_warmer_k : float
        How much warmer the inner ring runs than the outer one [K]; next to nothing in a crank.

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
    shell_joint = _shell_joint(seat, bearing, shell, cup)
    spindle_joint = None if spindle is None else _spindle_joint(bearing, spindle)
    if not math.isfinite(inner_warmer_k):
        found = f"a difference of temperature in kelvins is needed, got {inner_warmer_k}"
        raise InputError(found, hint="Give a number, or leave it out")
    thermal_um = thermal_loss_um(inner_warmer_k, bearing.pitch_diameter_mm)
    pinch_um = _pinch_um(seat, shell_joint)
    by_spindle = Span(0.0, 0.0, 0.0) if spindle_joint is None else spindle_joint.loss
    loss = Span(
        shell_joint.loss.low_um + by_spindle.low_um + thermal_um,
        shell_joint.loss.likely_um + by_spindle.likely_um + thermal_um,
        shell_joint.loss.high_um + by_spindle.high_um + thermal_um + pinch_um,
    )
    left = {group: clearance_left(radial_clearance(group, bearing.bore_mm), loss) for group in GROUPS}
    if bearing.group not in left:
        radial_clearance(bearing.group, bearing.bore_mm)  # refuses it by name
    return FitNumbers(
        shell_joint, spindle_joint, thermal_um, pinch_um, loss, MappingProxyType(left), bearing.group
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


def _shell_joint(seat: Seat, bearing: FittedBearing, shell: Shell, cup: Cup | None) -> Joint:
    if cup is None:
        nominal_mm, limits = bearing.outside_mm, bearing.outside or outside_limits(bearing.outside_mm)
        cup_ring = None
    else:
        nominal_mm, limits = cup.outside_mm, cup.outside
        cup_ring = Ring(bearing.outside_mm, cup.outside_mm, cup.material)
    interference = Span(
        1e3 * (nominal_mm - seat.widest_mm) + limits.low_um - seat.uncertainty_um,
        1e3 * (nominal_mm - seat.mean_mm) + limits.middle_um,
        1e3 * (nominal_mm - seat.narrowest_mm) + limits.high_um + seat.uncertainty_um,
    )
    _check_pair(interference, "the seat", "what goes into it")
    ends_mm = math.inf if shell.outside_mm is None else shell.outside_mm
    press = shell_fit(bearing.outer_ring, Ring(nominal_mm, ends_mm, shell.material), cup_ring)
    return Joint(interference, effective_interference(interference, roughness_allowance(shell.finish)), press)


def _spindle_joint(bearing: FittedBearing, spindle: Spindle) -> Joint:
    limits = bearing.bore or bore_limits(bearing.bore_mm)
    oversize_um = 1e3 * (spindle.outside_mm - bearing.bore_mm)
    interference = Span(
        oversize_um - limits.high_um - spindle.uncertainty_um,
        oversize_um - limits.middle_um,
        oversize_um - limits.low_um + spindle.uncertainty_um,
    )
    _check_pair(interference, "the spindle", "the bearing's bore")
    press = spindle_fit(bearing.inner_ring, Ring(spindle.inside_mm, bearing.bore_mm, spindle.material))
    return Joint(interference, effective_interference(interference, roughness_allowance(spindle.finish)), press)


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
