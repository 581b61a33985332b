"""What the options take: numbers with a decimal point or comma, days, and what reports call by a name."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

import click

from acoustic.errors import InputError
from acoustic.typed import day_in, number_in


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


class Day(click.ParamType[date]):
    """A day, as 2026-05-31 or 31.05.2026; what was typed otherwise than it is kept is said back."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """Read a day; the future is refused."""
        if isinstance(value, date):
            return value
        try:
            day = day_in(value)
        except ValueError as error:
            found, _, hint = str(error).partition("; ")
            raise InputError(found, hint=f"{hint[:1].upper()}{hint[1:]}.") from None
        if day > date.today():
            raise InputError(f"{day} is in the future", hint="Check the year and the month.")
        if str(day) != value.strip():
            click.echo(f"acoustic: {value.strip()} is read as {day.day} {day:%B %Y}.", err=True)
        return day


class Named(click.ParamType[str]):
    """One of several things, by its code or by the name that reports print, in capitals or not.

    Parameters
    ----------
    names : mapping of str to str
        What reports print, by code.
    """

    name = "name"

    def __init__(self, names: Mapping[str, str]) -> None:
        self.names = names

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Find the code."""
        said = " ".join(value.replace("_", " ").casefold().split())
        for code, name in self.names.items():
            if said in (code.replace("_", " "), name.casefold()):
                return code
        self.fail(f"{value!r} is not one of {', '.join(self.names.values())}.", param, ctx)
