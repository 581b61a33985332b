"""A step between two visits that nobody entered: a service, a new phone, or sudden damage.

A step is one of the courses that are weighed, so that correlated errors and an onset are weighed against it. It is
told and asked about, since only the workshop knows what was done.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

import numpy as np

from acoustic.trend.courses import FEWEST_EACH_SIDE, Kind
from acoustic.trend.wear import TooFew, Wear

STEP_PROBABILITY = 0.5  # judgement: asked about where it is likelier than all other courses together


@dataclass(frozen=True, slots=True)
class Step:
    """The most likely place of a step.

    Attributes
    ----------
    visits_before : int
        Visits before it.
    last_day_before, first_day_after : float
        The step lies between these.
    change : float
        Shift of the level, the slope taken out; below 0 it fell.
    probability : float
        That there is a step at all, among all courses weighed.
    """

    visits_before: int
    last_day_before: float
    first_day_after: float
    change: float
    probability: float

    @property
    def found(self) -> bool:
        """Whether it is clear enough to be asked about."""
        return self.probability >= STEP_PROBABILITY


def find_step(wear: Wear | TooFew) -> Step | TooFew | None:
    """Search one segment for a step that no service or replacement explains.

    Parameters
    ----------
    wear : Wear or TooFew

    Returns
    -------
    Step, TooFew or None
        TooFew with fewer than six visits: three are needed on either side. None where no step is likely enough to
        have a place.
    """
    count = wear.found if isinstance(wear, TooFew) else len(wear.visits)
    if isinstance(wear, TooFew) or count < 2 * FEWEST_EACH_SIDE:
        return TooFew(count, 2 * FEWEST_EACH_SIDE)
    stepped = wear.draws.of_kind(Kind.STEP)
    if not stepped.any():
        return None
    draws = wear.draws.only(stepped)
    before = int(np.bincount(draws.first).argmax())
    here = draws.first == before
    return Step(
        visits_before=before,
        last_day_before=wear.visits[before - 1].day,
        first_day_after=wear.visits[before].day,
        change=median((draws.level - draws.before)[here].tolist()),
        probability=float(np.mean(stepped)),
    )


def step_sentence(step: Step | TooFew | None, *, unit: str) -> str:
    """Say in plain words that there is a step to ask about.

    Parameters
    ----------
    step : Step, TooFew or None
    unit : str
        The value's, as 'dB'.

    Returns
    -------
    str
        Nothing where there is none to ask about.
    """
    if not isinstance(step, Step) or not step.found:
        return ""
    went = "fell" if step.change < 0 else "rose"
    asked = "was it serviced then?" if step.change < 0 else "was something changed, or did it take a knock?"
    return (
        f"between visits {step.visits_before} and {step.visits_before + 1} it {went} at once by about "
        f"{abs(step.change):.2g} {unit}, and no work is entered there: {asked} Enter what was done, and the trend "
        "starts again from there"
    )
