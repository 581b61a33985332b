"""What lifetimes tell, in a sentence for the workshop."""

from __future__ import annotations

import math
from dataclasses import dataclass

from acoustic.lifetimes.comparison import FEW_ENDS, Comparison
from acoustic.lifetimes.lives import Measure
from acoustic.lifetimes.survival import Survival
from acoustic.text import DAY, ROUNDING, Unit, one_in, unit_for

DIFFERENT = 0.05  # common practice
FIGURES = 2  # of kilometres and rides told; a few lives bear no more (judgement)


@dataclass(frozen=True, slots=True)
class _Steps:
    """Kilometres or rides in round numbers."""

    name: str
    size: float

    @classmethod
    def of(cls, length: float, name: str) -> _Steps:
        """Steps that leave a length its first figures, none below 1."""
        return cls(name, max(1.0, 10.0 ** (math.floor(math.log10(max(length, 1.0))) + 1 - FIGURES)))

    def below(self, length: float) -> str:
        return self._set(math.floor(length / self.size + ROUNDING))

    def above(self, length: float) -> str:
        return self._set(math.ceil(length / self.size - ROUNDING))

    def nearest(self, length: float) -> str:
        return self.named(self._set(round(length / self.size)))

    def named(self, number: str) -> str:
        return f"{number} {'ride' if (number, self.name) == ('1', 'rides') else self.name}"

    def _set(self, steps: int) -> str:
        return f"{round(steps * self.size):,}".replace(",", " ")


@dataclass(frozen=True, slots=True)
class _Time:
    """Days, weeks or months."""

    unit: Unit

    def below(self, days: float) -> str:
        return str(self.unit.whole_below(days))

    def above(self, days: float) -> str:
        return str(self.unit.whole_above(days))

    def nearest(self, days: float) -> str:
        whole = round(days / self.unit.days)
        return self.unit.counted(whole) if whole else "less than a day"

    def named(self, number: str) -> str:
        return self.unit.counted(int(number))


def _said_in(length: float, measure: Measure) -> _Steps | _Time:
    """In what a length, and what stands beside it, is told."""
    return _Time(unit_for(length, smallest=DAY)) if measure == "days" else _Steps.of(length, measure)


def survival_sentence(curve: Survival, *, name: str, measure: Measure = "days") -> str:
    """Say how long half of some bearings last.

    Parameters
    ----------
    curve : Survival
    name : str
        In the plural, as '24 mm bearings in pressed shells'.
    measure : {'days', 'km', 'rides'}
        In which the curve counts.

    Returns
    -------
    str
        The interval in brackets is rounded outwards, in the unit of the median.
    """
    told = f"{curve.ended or 'none'} of {curve.lives} {'are' if curve.ended > 1 else 'is'} worn out"
    unknown = f"how long half of {name} last cannot be told yet: "
    if curve.gap is not None:
        said = _said_in(curve.gap, measure).nearest(curve.gap)
        return f"{unknown}those watched from new were all worn out by {said}, and the others were not yet watched"
    if curve.median is None:
        if curve.median_low is None:
            return unknown + told
        units = _said_in(curve.median_low, measure)
        return f"{unknown}{told}; it is {units.named(units.below(curve.median_low))} or longer"
    units = _said_in(curve.median, measure)
    low = units.below(curve.median_low or 0.0)
    high = curve.median_high
    interval = f"from {low}, upper end not known" if high is None else f"{low} to {units.above(high)}"
    said = f"half of {name} lasted {units.nearest(curve.median)} or longer ({interval})"
    return f"{said}; {told}, too few for more than a hint" if curve.ended < FEW_ENDS else said


def comparison_sentence(comparison: Comparison) -> str:
    """Say whether one kind lasts longer than the other.

    Parameters
    ----------
    comparison : Comparison
        Its names in the plural.

    Returns
    -------
    str
    """
    first, second = comparison.names
    counts = ", ".join(
        f"{ends} of {lives} {name}"
        for ends, lives, name in zip(comparison.ends, comparison.lives, comparison.names, strict=True)
    )
    if comparison.corrected_p is None:
        return f"{first} and {second} can't be compared yet: none wore out while both were watched ({counts})"
    if comparison.corrected_p <= DIFFERENT and comparison.longer is not None:
        shorter = second if comparison.longer == first else first
        luck = one_in(comparison.corrected_p)
        said = f"{comparison.longer} last longer than {shorter}: luck alone makes such a difference {luck}"
    else:
        said = f"no difference can be told between {first} and {second}, which doesn't prove that they last alike"
    if comparison.few_ends:
        return f"{said}; a hint only, since few are worn out ({counts}; {FEW_ENDS} of each are wanted)"
    return f"{said} (worn out: {counts})"
