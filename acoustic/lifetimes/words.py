"""What lifetimes tell, in a sentence for the workshop."""

from __future__ import annotations

from acoustic.lifetimes.comparison import FEW_ENDS, Comparison
from acoustic.lifetimes.survival import Survival
from acoustic.text import DAY, Unit, one_in, unit_for

DIFFERENT = 0.05  # common practice


def survival_sentence(curve: Survival, *, name: str) -> str:
    """Say how long half of some bearings last.

    Parameters
    ----------
    curve : Survival
    name : str
        In the plural, as '24 mm bearings in pressed shells'.

    Returns
    -------
    str
        The interval in brackets is rounded outwards, in the unit of the median.
    """
    told = f"{curve.ended or 'none'} of {curve.lives} {'are' if curve.ended > 1 else 'is'} worn out"
    if curve.median_days is None:
        said = f"how long half of the {name} last cannot be told yet: {told}"
        if curve.median_low_days is not None:
            unit = unit_for(curve.median_low_days, smallest=DAY)
            said += f"; it is {unit.counted(unit.whole_below(curve.median_low_days))} or longer"
        return said
    unit = unit_for(curve.median_days, smallest=DAY)
    said = f"half of the {name} lasted {_median(curve.median_days, unit)} or longer ({_interval(curve, unit)})"
    return f"{said}; {told}, too few for more than a hint" if curve.ended < FEW_ENDS else said


def _median(days: float, unit: Unit) -> str:
    whole = round(days / unit.days)
    return unit.counted(whole) if whole else "less than a day"


def _interval(curve: Survival, unit: Unit) -> str:
    low = unit.whole_below(curve.median_low_days or 0.0)
    if curve.median_high_days is None:
        return f"from {low}, upper end not known"
    return f"{low} to {unit.whole_above(curve.median_high_days)}"


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
