"""The fit sheet: a measured seat and what is to be pressed into it, with a verdict, reasons and cautions."""

from __future__ import annotations

from dataclasses import dataclass

from acoustic.install.fit.advice import (
    CAUTIONS,
    Fit,
    RowAdvice,
    Verdict,
    fit_of,
    fit_reasons,
    row_advice,
    verdict_of,
)
from acoustic.install.fit.chance import Chances, chances_of
from acoustic.install.fit.clearance import AT_ROOM, FitNumbers, reckon_fit
from acoustic.install.fit.parts import Cup, FittedBearing, Shell, Spindle, Temperatures
from acoustic.install.fit.seat import Seat, SeatJudgement, SizeLimits, judge_seat
from acoustic.install.fit.steps import next_steps

SOFT_MPA = 10_000.0  # plastics lie below this modulus, metals above


@dataclass(frozen=True, slots=True)
class FitSheet:
    """What is to be expected of a bearing in a seat before it is pressed.

    Attributes
    ----------
    seat : Seat
    judgement : SeatJudgement
        The seat against limits of size and form.
    numbers : FitNumbers
        Interference, clearance lost and clearance left at the corners of all tolerances.
    chances : Chances
        What of it is likely.
    fit : {'loose', 'tight', 'fits'}
    verdict : {'out_of_round', 'tapered', 'outside_limits', 'out_of_line', 'loose', 'tight', 'single_only', 'fits'}
        The worst fact.
    reasons : tuple of str
        What the fit rests on.
    rows : RowAdvice
        Single row, or a double row (one piece) too.
    steps : tuple of str
        What to do next.
    cautions : tuple of str
    """

    seat: Seat
    judgement: SeatJudgement
    numbers: FitNumbers
    chances: Chances
    fit: Fit
    verdict: Verdict
    reasons: tuple[str, ...]
    rows: RowAdvice
    steps: tuple[str, ...]
    cautions: tuple[str, ...]


def fit_sheet(
    seat: Seat,
    bearing: FittedBearing,
    shell: Shell,
    *,
    cup: Cup | None = None,
    spindle: Spindle | None = None,
    limits: SizeLimits | None = None,
    tilt_rad: float | None = None,
    temperatures: Temperatures = AT_ROOM,
) -> FitSheet:
    """Write the fit sheet of a seat and what is to be pressed into it.

    Parameters
    ----------
    seat, bearing, shell, cup, spindle
        As `reckon_fit` takes them.
    limits : SizeLimits or None
        What the frame's maker allows the seat.
    tilt_rad : float or None
        Between the two seats, or spindle and seat [rad], >= 0; None if it was not measured.
    temperatures : Temperatures

    Returns
    -------
    FitSheet

    Raises
    ------
    InputError
        A size lies outside the tables, the parts do not go into one another, or a number is not finite.
    """
    numbers = reckon_fit(seat, bearing, shell, cup=cup, spindle=spindle, temperatures=temperatures)
    chances = chances_of(numbers, bearing.bore_mm)
    judgement = judge_seat(seat, nominal_mm=(cup or bearing).outside_mm, limits=limits)
    fit, rows = fit_of(chances, bearing.rows), row_advice(chances, judgement, tilt_rad)
    verdict = verdict_of(fit, judgement, tilt_rad, advice=rows.rows, rows=bearing.rows)
    return FitSheet(
        seat=seat,
        judgement=judgement,
        numbers=numbers,
        chances=chances,
        fit=fit,
        verdict=verdict,
        reasons=fit_reasons(numbers, chances, bearing.bore_mm),
        rows=rows,
        steps=next_steps(verdict, bearing.grease),
        cautions=(*filter(None, (bearing.note,)), *_own_cautions(seat, numbers, cup), *CAUTIONS),
    )


def _own_cautions(seat: Seat, numbers: FitNumbers, cup: Cup | None) -> list[str]:
    found = []
    met = numbers.shell.interference
    if not seat.drawn and 2 * seat.uncertainty_um > (met.high_um - met.low_um) / 2:
        found.append(
            f"Most of the spread comes from readings known to {seat.uncertainty_um:g} µm: "
            "a bore gauge that is set by a ring would be more precise."
        )
    if seat.ovality_um is None:
        found.append("An oval seat squeezes more than computed here: the bore was read in one direction only.")
    if cup is not None:
        found.append("Computed as if the cup had neither play nor pressure on the bearing.")
        if cup.material.modulus_mpa < SOFT_MPA:
            found.append("A plastic cup creeps: with time the fit loosens, and the cup with it.")
    return found
