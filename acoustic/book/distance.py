"""Whether a bike's count of kilometres can be right beside the others in the book."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa

from acoustic.book.bikes import bearings_of
from acoustic.book.naming import steps
from acoustic.book.visits import list_visits
from acoustic.errors import InputError

# Judgement: nobody rides further, day after day; and a tour may lie between two readings of one day.
MOST_KM_A_DAY, SPARE_KM = 400.0, 500.0


@dataclass(frozen=True, slots=True)
class _Reading:
    """A count in the book, where it stands, and the command that puts it right."""

    on: date
    km: float
    told: str
    repair: str


def refuse_count(
    connection: sa.Connection, bike: str, on: date, km: float | None, *, but: tuple[str, ...] = ()
) -> None:
    """Refuse a count below an earlier one or above a later one, or further from the nearest than anybody rides.

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
        It does; which entry it does not go with, and how to put that right.
    """
    if km is None:
        return
    each = sorted(_readings(connection, bike, but), key=lambda one: (one.on, one.km))
    for one in each:
        if (one.on < on and one.km > km) or (one.on > on and one.km < km):
            before = "before" if one.on < on else "after"
            raise InputError(
                f"the bike's count does not go with the book: {km:g} km on {on}, and {one.km:g} km {before} it, "
                f"on {one.on} ({one.told})",
                hint=_hint(one, "If the bike has a new computer, add --anyway."),
            )
    before_it = [one for one in each if one.on <= on][-1:]
    for one in (*before_it, *[one for one in each if one.on > on][:1]):
        days = abs((on - one.on).days)
        if abs(km - one.km) > SPARE_KM + MOST_KM_A_DAY * days:
            raise InputError(
                f"the bike would have ridden {abs(km - one.km):g} km in {days} {'day' if days == 1 else 'days'}: "
                f"{km:g} km on {on}, and {one.km:g} km on {one.on} ({one.told})",
                hint=_hint(one, "If the number is right, add --anyway."),
            )


def _hint(one: _Reading, otherwise: str) -> str:
    return f"Check the number and the bike's name. {otherwise}\n  " + steps(
        (f"If the {one.km:g} km of {one.on} are wrong, put them right", one.repair)
    )


def _readings(connection: sa.Connection, bike: str, but: tuple[str, ...]) -> Iterator[_Reading]:
    for visit in list_visits(connection, bike=bike):
        if visit.distance_km is not None and visit.uid not in but:
            repair = f"acoustic visit correct {visit.number} --km KM --because WORDS"
            yield _Reading(visit.on_date, visit.distance_km, f"visit {visit.number}", repair)
    for fitted in bearings_of(connection, bike):
        if fitted.uid in but:
            continue
        repair = f"acoustic bike correct {fitted.number} {{}} KM --because WORDS"
        if fitted.installed_km is not None:
            told = f"{fitted.told} went in"
            yield _Reading(fitted.installed_on, fitted.installed_km, told, repair.format("--km"))
        if fitted.removed_on is not None and fitted.removed_km is not None:
            told = f"{fitted.told} came out"
            yield _Reading(fitted.removed_on, fitted.removed_km, told, repair.format("--out-km"))
