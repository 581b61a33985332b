"""What a fit's numbers mean at the stand: verdict, single or double row, reasons, cautions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from acoustic.errors import InputError
from acoustic.install.fit.clearance import FitNumbers
from acoustic.install.fit.interference import INNER_RING_MPA, SPINDLE_SHARE, Joint, Span
from acoustic.install.fit.seat import SeatJudgement, Standing
from acoustic.install.fit.tolerances import GROUPS

Verdict = Literal["loose", "fits", "tight", "squeezed"]
Rows = Literal["either", "single", "none"]

# Tilt between the rings of a single-row deep-groove ball bearing: the careful and the utmost;
# NTN Ball and Roller Bearings CAT 2203/E, chapter 14.
CAREFUL_TILT_RAD, UTMOST_TILT_RAD = 1 / 1000, 1 / 300
# Of a double-row one: 2 minutes of arc; SKF Rolling bearings, deep groove ball bearings (from memory).
DOUBLE_ROW_TILT_RAD = math.radians(2 / 60)

CAUTIONS = (
    "The makers' instructions and limits come first. This sheet only computes from what was measured.",
    "Ream and face only if you are equipped for it, by the frame maker's instructions: "
    "metal that is taken off a shell does not come back.",
    "Wear eye protection when you press: hardened rings splinter.",
    "Press squarely: on the outer ring alone into a shell, on the inner ring alone onto a spindle. "
    "Never press or hammer through the balls: that dents the raceways.",
    "All sizes hold at 20 C: let parts and gauge come to the same temperature.",
    "A shell of fibre composite cannot be computed as a metal ring: ask the frame's maker how tight "
    "a fit it takes.",
)


@dataclass(frozen=True, slots=True)
class RowAdvice:
    """Which bearing suits a seat.

    Attributes
    ----------
    rows : {'either', 'single', 'none'}
        'either' a single row or a double row (one piece), 'single' a single row only,
        'none' neither before the seat is corrected.
    reasons : tuple of str
    """

    rows: Rows
    reasons: tuple[str, ...]


def tilt_of_seats_rad(offset_mm: float, shell_width_mm: float) -> float:
    """Tilt of a spindle in two seats whose axes are parallel but offset [rad].

    Parameters
    ----------
    offset_mm : float
        Distance of the axes [mm]; its sign does not matter.
    shell_width_mm : float
        Distance of the seats along the axis [mm], > 0.

    Raises
    ------
    InputError
        A number is not finite, or the width is not above 0.
    """
    if not (math.isfinite(offset_mm) and 0 < shell_width_mm < math.inf):
        found = f"an offset of {offset_mm} mm over a width of {shell_width_mm} mm gives no angle"
        raise InputError(found, hint="Give the distance between the seats, above 0 mm")
    return math.atan(abs(offset_mm) / shell_width_mm)


def verdict_of(interference: Span, left: Span) -> Verdict:
    """Name a fit.

    Parameters
    ----------
    interference : Span
        Between the seat and what goes into it, on diameter.
    left : Span
        Clearance that is left.

    Returns
    -------
    {'loose', 'fits', 'tight', 'squeezed'}
        Likely play is 'loose'; else, what is left may go below 0 is 'tight', and surely does is 'squeezed'.
    """
    if interference.likely_um <= 0:
        return "loose"
    if left.high_um < 0:
        return "squeezed"
    return "tight" if left.low_um < 0 else "fits"


def row_advice(verdict: Verdict, judgement: SeatJudgement, tilt_rad: float | None) -> RowAdvice:
    """Say which bearing suits a seat.

    Parameters
    ----------
    verdict : {'loose', 'fits', 'tight', 'squeezed'}
    judgement : SeatJudgement
    tilt_rad : float or None
        Between the two seats, or spindle and seat [rad], >= 0; None where it was not measured.

    Returns
    -------
    RowAdvice

    Raises
    ------
    InputError
        The tilt is not an angle from 0 to a right angle.
    """
    if tilt_rad is not None and not 0 <= tilt_rad < math.pi / 2:
        found = f"a tilt from 0 to below {math.pi / 2:.2f} rad is needed, got {tilt_rad}"
        raise InputError(found, hint="Give radians, or the offset over the shell's width")
    neither = _against_any(verdict, judgement, tilt_rad)
    if neither:
        return RowAdvice("none", neither)
    single_only = _against_double(verdict, judgement, tilt_rad)
    if single_only:
        return RowAdvice("single", (*single_only, *_single_reasons(tilt_rad)))
    return RowAdvice(
        "either", ("the seat is round, straight and in line enough for both rows of a one-piece bearing",)
    )


def fit_reasons(numbers: FitNumbers, verdict: Verdict, bore_mm: float) -> tuple[str, ...]:
    """Say in sentences what a verdict rests on.

    Parameters
    ----------
    numbers : FitNumbers
    verdict : {'loose', 'fits', 'tight', 'squeezed'}
    bore_mm : float
        Of the bearing [mm].

    Returns
    -------
    tuple of str

    References
    ----------
    SKF Rolling bearings, catalogue 17000 EN (2018), example C.2: a small negative
    clearance is not critical for ball bearings.
    """
    met, left = numbers.shell.interference, numbers.left
    words = f"{left.low_um:+.1f} to {left.high_um:+.1f} um of the {numbers.group} clearance are left"
    first = {
        "loose": f"the seat is likely {-met.likely_um:.1f} um wider than what goes into it: "
        "it will creep and creak",
        "fits": f"{words}, before any preload",
        "tight": f"{words}: it may fall below zero. A small negative clearance is a warning and not by "
        "itself a fault of a ball bearing, but it leaves no room for preload",
        "squeezed": f"{words}, which is below zero in any case: it will run stiff and warm",
    }
    found = [first[verdict]]
    if met.low_um <= 0 < met.likely_um:
        found.append(f"at worst the seat has {-met.low_um:.1f} um of play, and will creep and creak")
    if verdict in ("tight", "squeezed"):
        found.append(_roomier(numbers))
    if numbers.spindle is not None:
        found += _spindle_reasons(numbers.spindle, bore_mm)
    return tuple(found)


def _roomier(numbers: FitNumbers) -> str:
    """The first group with more clearance that keeps some, or a sentence that none is sure to."""
    for group in GROUPS[GROUPS.index(numbers.group) + 1 :]:
        left = numbers.left_by_group[group]
        if left.low_um >= 0:
            return f"a bearing of group {group} would keep {left.low_um:.1f} to {left.high_um:.1f} um"
    return f"no group up to {GROUPS[-1]} is sure to keep any clearance: the fit itself is too tight"


def _spindle_reasons(spindle: Joint, bore_mm: float) -> list[str]:
    found = []
    most_um = 1e3 * SPINDLE_SHARE * bore_mm
    if spindle.interference.high_um > most_um:
        found.append(
            f"the spindle may be {spindle.interference.high_um:.0f} um over the bore, more than {most_um:.0f} um "
            "(0.0007 of the diameter)"
        )
    if spindle.tension_mpa > INNER_RING_MPA:
        found.append(
            f"the inner ring may be stretched to {spindle.tension_mpa:.0f} MPa, more than "
            f"{INNER_RING_MPA:.0f} MPa: it may crack"
        )
    return found


def _against_any(verdict: Verdict, judgement: SeatJudgement, tilt_rad: float | None) -> tuple[str, ...]:
    found = {
        "the seat is too wide for what goes into it": verdict == "loose",
        "nothing is left of the clearance": verdict == "squeezed",
        "the seat is outside its maker's limits": judgement.size == "outside",
        f"the seats are tilted by {_slope(tilt_rad)}, more than the 1/300 a deep-groove ball bearing tolerates": (
            tilt_rad is not None and tilt_rad > UTMOST_TILT_RAD
        ),
    }
    return tuple(reason for reason, holds in found.items() if holds)


def _against_double(verdict: Verdict, judgement: SeatJudgement, tilt_rad: float | None) -> tuple[str, ...]:
    crooked = "both rows of a one-piece bearing need one true bore"
    found = {
        "a tight seat makes a double row rough at once, until it is pulled again": verdict == "tight",
        f"{crooked}, and this one {_shown(judgement.roundness)} round": judgement.roundness != "within",
        f"{crooked}, and this one {_shown(judgement.cylindricity)} straight": judgement.cylindricity != "within",
        f"{crooked}, and the alignment of the seats was not measured": tilt_rad is None,
        f"a tilt of {_slope(tilt_rad)} is more than the 2 minutes of arc (about 1/1700) a double row tolerates": (
            tilt_rad is not None and tilt_rad > DOUBLE_ROW_TILT_RAD
        ),
    }
    return tuple(reason for reason, holds in found.items() if holds)


def _single_reasons(tilt_rad: float | None) -> tuple[str, ...]:
    bears = "a single row tolerates a tilt of 1/1000, at most 1/300"
    if tilt_rad is None:
        return (f"{bears}; two bearings in two seats depend on how these line up, so measure it",)
    if tilt_rad > CAREFUL_TILT_RAD:
        return (f"{bears}; {_slope(tilt_rad)} lies between, so only if the bearing's maker allows it",)
    return (bears,)


def _shown(standing: Standing) -> str:
    return "is not" if standing == "outside" else "was not shown to be"


def _slope(tilt_rad: float | None) -> str:
    return f"1/{1 / math.tan(tilt_rad):.0f}" if tilt_rad else "0"
