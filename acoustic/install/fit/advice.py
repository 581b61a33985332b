"""What a fit's numbers mean at the stand: verdict, single or double row, reasons, cautions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from acoustic.errors import InputError
from acoustic.install.fit.chance import Chances
from acoustic.install.fit.clearance import FitNumbers
from acoustic.install.fit.interference import INNER_RING_MPA, SPINDLE_SHARE, Joint
from acoustic.install.fit.seat import SeatJudgement, Standing
from acoustic.install.fit.tolerances import GROUPS

Fit = Literal["loose", "tight", "fits"]
Verdict = Literal[
    "out_of_round", "tapered", "outside_limits", "out_of_line", "loose", "tight", "single_only", "fits"
]
Rows = Literal["either", "single", "none"]

# From these chances on a fit is called loose or tight (judgement). Play ruins seat and bearing, so one time in
# three is too often; a small negative clearance is not critical for ball bearings (SKF Rolling bearings,
# catalogue 17000 EN (2018), example C.2), so tight is only what is likelier than not.
LOOSE_CHANCE, TIGHT_CHANCE = 1 / 3, 1 / 2
NONE_LEFT_CHANCE = 0.9  # from here on not even a single row of this group goes in (judgement)
# A double row goes in where neither play nor preload is likelier than this (judgement).
DOUBLE_ROW_CHANCE = 0.1
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


def fit_of(chances: Chances, rows: int = 1) -> Fit:
    """Name a fit by what is likely: 'loose', 'tight' or 'fits'; two rows forgive less than one."""
    if chances.play >= (LOOSE_CHANCE if rows == 1 else DOUBLE_ROW_CHANCE):
        return "loose"
    tight = TIGHT_CHANCE if rows == 1 else DOUBLE_ROW_CHANCE
    return "tight" if max(chances.preload or 0.0, chances.too_tight) >= tight else "fits"


def surely(chances: Chances) -> bool:
    """Whether neither play nor too tight a fit is likely enough to speak of."""
    return max(chances.play, chances.preload or 0.0, chances.too_tight) < DOUBLE_ROW_CHANCE


def verdict_of(
    fit: Fit, judgement: SeatJudgement, tilt_rad: float | None, *, advice: Rows = "either", rows: int = 1
) -> Verdict:
    """The worst fact about a seat: what is wrong with the seat itself comes before the fit computed from it.

    A double row in a seat that allows a single one only is named last before 'fits'.
    """
    if judgement.roundness == "outside":
        return "out_of_round"
    if judgement.cylindricity == "outside":
        return "tapered"
    if judgement.size == "outside":
        return "outside_limits"
    if tilt_rad is not None and tilt_rad > UTMOST_TILT_RAD:
        return "out_of_line"
    return "single_only" if fit == "fits" and rows == 2 and advice != "either" else fit


def row_advice(chances: Chances, judgement: SeatJudgement, tilt_rad: float | None) -> RowAdvice:
    """Say which bearing suits a seat.

    Parameters
    ----------
    chances : Chances
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
    neither = _against_any(chances, judgement, tilt_rad)
    if neither:
        return RowAdvice("none", neither)
    single_only = _against_double(chances, judgement, tilt_rad)
    if single_only:
        return RowAdvice("single", (*single_only, *_single_reasons(tilt_rad)))
    return RowAdvice(
        "either", ("the seat is round, straight and in line enough for both rows of a one-piece bearing",)
    )


def fit_reasons(numbers: FitNumbers, chances: Chances, bore_mm: float) -> tuple[str, ...]:
    """Say in sentences what a fit rests on: what is likely, and the worst case beside it.

    Parameters
    ----------
    numbers : FitNumbers
    chances : Chances
    bore_mm : float
        Of the bearing [mm].

    Returns
    -------
    tuple of str
    """
    fit = fit_of(chances)
    found = [_play_reason(numbers, chances)]
    if numbers.group is None:
        found.append("an angular-contact bearing gets its clearance when its preload is set, so none is computed")
    else:
        found.append(_preload_reason(numbers, chances, numbers.group))
    if chances.too_tight >= DOUBLE_ROW_CHANCE and numbers.tightest_um is not None:
        found.append(
            f"the chance of more than {numbers.tightest_um:.0f} µm, the tightest fit that bearing makers list for "
            f"a housing (P7), is {percent(chances.too_tight)}: it may score the seat and crack a thin shell"
        )
    if fit == "tight" and chances.preload is not None and chances.preload >= TIGHT_CHANCE:
        found.append(_roomier(chances, numbers.group or ""))
    if numbers.at_pressing_um is not None:
        found.append(_pressing_reason(numbers.at_pressing_um))
    if numbers.spindle is not None:
        found += _spindle_reasons(numbers.spindle, bore_mm)
    return tuple(found)


def percent(chance: float) -> str:
    """A chance in whole percent; never 0 or 100 of what was only computed."""
    if chance < 0.01:
        return "under 1 %"
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def _play_reason(numbers: FitNumbers, chances: Chances) -> str:
    met, worst = chances.interference, numbers.shell.interference
    likeliest = (
        f"the seat is likely {-met.likely_um:.0f} µm wider than what goes into it"
        if met.likely_um <= 0
        else f"what goes in is likely {met.likely_um:.0f} µm larger than the seat"
    )
    creeps = ", and with play it creeps and creaks" if chances.play >= DOUBLE_ROW_CHANCE else ""
    at_worst = f"{-worst.low_um:.0f} µm of play" if worst.low_um < 0 else f"{worst.low_um:.0f} µm of hold"
    return f"{likeliest}; the chance of play is {percent(chances.play)} (at worst {at_worst}){creeps}"


def _preload_reason(numbers: FitNumbers, chances: Chances, group: str) -> str:
    left, worst = chances.left_by_group[group], numbers.left_by_group[group]
    said = (
        f"of the {group} clearance {left.low_um:+.0f} to {left.high_um:+.0f} µm are left before any preload is "
        f"set; the chance that the balls are squeezed is {percent(chances.preload or 0.0)} (at worst "
        f"{worst.low_um:+.0f} µm)"
    )
    if DOUBLE_ROW_CHANCE <= (chances.preload or 0.0) < TIGHT_CHANCE:
        said += "; a small squeeze is no fault of a single row, but leaves no room for preload"
    return said


def _roomier(chances: Chances, group: str) -> str:
    """The first group with more clearance that likely keeps some, or a sentence that none does."""
    for other in GROUPS[GROUPS.index(group) + 1 :]:
        if chances.preload_by_group[other] < DOUBLE_ROW_CHANCE:
            left = chances.left_by_group[other]
            return f"a bearing of group {other} would keep {left.low_um:.0f} to {left.high_um:.0f} µm"
    return f"no group up to {GROUPS[-1]} likely keeps its clearance: the fit itself is too tight"


def _pressing_reason(at_pressing_um: float) -> str:
    if at_pressing_um <= 0:
        return f"in the warm shell there are likely {-at_pressing_um:.0f} µm of play: it drops in without a press"
    return f"in the warm shell it still meets by likely {at_pressing_um:.0f} µm: it needs the press"


def _spindle_reasons(spindle: Joint, bore_mm: float) -> list[str]:
    found = []
    most_um = 1e3 * SPINDLE_SHARE * bore_mm
    if spindle.interference.high_um > most_um:
        found.append(
            f"the spindle may be {spindle.interference.high_um:.0f} µm over the bore, more than {most_um:.0f} µm "
            "(0.0007 of the diameter)"
        )
    if spindle.tension_mpa > INNER_RING_MPA:
        found.append(
            f"the inner ring may be stretched to {spindle.tension_mpa:.0f} MPa, more than "
            f"{INNER_RING_MPA:.0f} MPa: it may crack"
        )
    return found


def _against_any(chances: Chances, judgement: SeatJudgement, tilt_rad: float | None) -> tuple[str, ...]:
    found = {
        "the seat is likely too wide for what goes into it": fit_of(chances) == "loose",
        "likely nothing is left of the clearance": (chances.preload or 0.0) >= NONE_LEFT_CHANCE,
        "the seat is outside its maker's limits": judgement.size == "outside",
        f"the seats are tilted by {_slope(tilt_rad)}, more than the 1/300 a deep-groove ball bearing tolerates": (
            tilt_rad is not None and tilt_rad > UTMOST_TILT_RAD
        ),
    }
    return tuple(reason for reason, holds in found.items() if holds)


def _against_double(chances: Chances, judgement: SeatJudgement, tilt_rad: float | None) -> tuple[str, ...]:
    squeezed = max(chances.preload or 0.0, chances.too_tight)
    found = {
        f"a chance of play of {percent(chances.play)} is too much for a double row": (
            chances.play >= DOUBLE_ROW_CHANCE
        ),
        f"a tight seat makes a double row rough at once, until it is pulled again (chance {percent(squeezed)})": (
            squeezed >= DOUBLE_ROW_CHANCE
        ),
        _untrue(judgement, tilt_rad): _untrue(judgement, tilt_rad) != "",
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


def _untrue(judgement: SeatJudgement, tilt_rad: float | None) -> str:
    """What is wrong or not known of a bore that should be true, in a sentence; nothing where it is true."""
    found = [
        f"this one {_shown(standing)} {name}"
        for name, standing in (("round", judgement.roundness), ("straight", judgement.cylindricity))
        if standing != "within"
    ]
    if tilt_rad is None:
        found.append("the alignment of the seats was not measured")
    return f"both rows of a one-piece bearing need one true bore: {', and '.join(found)}" if found else ""


def _shown(standing: Standing) -> str:
    return "is not" if standing == "outside" else "was not shown to be"


def _slope(tilt_rad: float | None) -> str:
    return f"1/{1 / math.tan(tilt_rad):.0f}" if tilt_rad else "0"
