"""Numbers as options take them, with a decimal point or a decimal comma."""

from __future__ import annotations

import math
from typing import Any

import click

from acoustic.typed import number_in


class Number(click.ParamType[float]):
    """A number, as 9.5 or 9,5.

    Parameters
    ----------
    least, most : float
        Bounds that count as inside.
    above : float
        A bound that does not.
    thousands : bool
        As of `acoustic.typed.number_in`.
    """

    name = "number"

    def __init__(
        self,
        least: float = -math.inf,
        most: float = math.inf,
        *,
        above: float = -math.inf,
        thousands: bool = False,
    ) -> None:
        self.least, self.most, self.above, self.thousands = least, most, above, thousands

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read a number; what may be two, or lies outside, is refused."""
        try:
            number = number_in(value, thousands=self.thousands) if isinstance(value, str) else float(value)
        except ValueError as error:
            self.fail(f"{error}.", param, ctx)
        if not (self.least <= number <= self.most and self.above < number):
            self.fail(f"{value} was given; {self._bounds()} is needed.", param, ctx)
        return number

    def _bounds(self) -> str:
        bounds = (
            (self.least, f"{self.least:g} or more"),
            (self.above, f"more than {self.above:g}"),
            (self.most, f"at most {self.most:g}"),
        )
        return " and ".join(words for bound, words in bounds if math.isfinite(bound))
