"""Lengths of time and chances in the words of a workshop, and texts made safe to show."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

# A length just beside a whole number of units is that number: what is left over is rounding.
ROUNDING = 1e-9
SPIN = {"hand": "spun by hand", "pedal": "pedalled", "steady": "turned steadily"}
RAREST = 1e-6  # a smaller chance is beyond what laws drawn from a few visits or parts can tell

# Controls but for the end of a line and the tab, and marks that nobody sees: they turn the direction of writing,
# end a line or have no width (Unicode 15, categories Cc, Zl, Zp and the bidirectional ones of Cf). Joiners stay,
# which letters and emoji need.
_UNSEEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f"  # Cc
    "\u061c\u200b\u200e\u200f\u2028-\u202e\u2060\u2066-\u2069\ufeff]"
)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of time.

    Attributes
    ----------
    name : str
        In the singular.
    days : float
        Its length [days].
    longest_days : float
        The longest time that is said in it [days].
    """

    name: str
    days: float
    longest_days: float

    def whole_below(self, days: float) -> int:
        """Whole units within so many days."""
        return math.floor(days / self.days + ROUNDING)

    def whole_above(self, days: float) -> int:
        """Whole units that so many days fit into."""
        return math.ceil(days / self.days - ROUNDING)

    def counted(self, count: int) -> str:
        """A number of units in words, as '1 week' or '2 weeks'."""
        return f"{count} {self.name}" + ("" if count == 1 else "s")


# Judgement: up to two weeks are counted in days, up to half a year in weeks.
DAY = Unit("day", 1.0, 14.0)
# As DAY.
WEEK = Unit("week", 7.0, 26 * 7.0)
MONTH = Unit("month", 365.25 / 12, math.inf)  # the mean month of the Julian year


def unit_for(days: float, *, smallest: Unit = WEEK) -> Unit:
    """Choose the unit in which a length of time is said.

    Parameters
    ----------
    days : float
        [days], >= 0.
    smallest : Unit
        The finest one allowed.

    Returns
    -------
    Unit
    """
    units = (DAY, WEEK, MONTH)
    return next(unit for unit in units[units.index(smallest) :] if days <= unit.longest_days)


def one_in(chance: float) -> str:
    """Say a chance as one time in so many, to one digit; no rarer than one in a million.

    Parameters
    ----------
    chance : float
        0 to 1.

    Returns
    -------
    str
        As 'one time in 40'.
    """
    many = int(float(f"{1 / max(chance, RAREST):.1g}"))
    return f"one time in {many:,}".replace(",", " ")


def once(texts: Iterable[str]) -> tuple[str, ...]:
    """Each text once, where it first stands."""
    return tuple(dict.fromkeys(texts))


def legible(text: str) -> str:
    """Show control characters and marks that nobody sees as JSON would, as ``\\u202e``, so that none is obeyed.

    Parameters
    ----------
    text : str
        For a terminal. In JSON the escape means the same character.

    Returns
    -------
    str
        Ends of lines and tabs stay.
    """
    return _UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
