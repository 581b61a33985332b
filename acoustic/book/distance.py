"""Whether a bike's count of kilometres can be right beside the others in the book."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import sqlalchemy as sa

from acoustic.book.bikes import bearings_of
from acoustic.book.visits import list_visits
from acoustic.errors import InputError


def refuse_falling(
    connection: sa.Connection, bike: str, on: date, km: float | None, *, but: tuple[str, ...] = ()
) -> None:
    """Refuse a count that lies below an earlier one, or above a later one.

    Parameters
    ----------
    connection : Connection
    bike : str
    on : date
    km : float or None
        Ridden in all by that day; nothing is asked where None.
    but : tuple of str
        uids of entries that are not compared with: those being put right.

    Raises
    ------
    InputError
        It does; which entry it does not go with.
    """
    if km is None:
        return
    for day, other_km, told in _counts(connection, bike, but):
        if (day < on and other_km > km) or (day > on and other_km < km):
            before = "before" if day < on else "after"
            raise InputError(
                f"the bike's count does not go with the book: {km:g} km on {on}, and {other_km:g} km {before} it, "
                f"on {day} ({told})",
                hint="Check the number and the bike's name. If the bike has a new computer, add --anyway.",
            )


def _counts(connection: sa.Connection, bike: str, but: tuple[str, ...]) -> Iterator[tuple[date, float, str]]:
    for visit in list_visits(connection, bike=bike):
        if visit.distance_km is not None and visit.uid not in but:
            yield visit.on_date, visit.distance_km, f"visit {visit.number}"
    for fitted in bearings_of(connection, bike):
        if fitted.uid in but:
            continue
        if fitted.installed_km is not None:
            yield fitted.installed_on, fitted.installed_km, f"{fitted.told} went in"
        if fitted.removed_on is not None and fitted.removed_km is not None:
            yield fitted.removed_on, fitted.removed_km, f"{fitted.told} came out"
