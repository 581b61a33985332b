"""Bikes, and the bearings in them."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import date
from typing import Any

import sqlalchemy as sa

from acoustic.book.records import Bike, Fitted, row_of
from acoustic.book.tables import bearings, bikes
from acoustic.errors import InputError


def new_uid() -> str:
    """A name that no other row of any book has."""
    return uuid.uuid4().hex


def find_bike(connection: sa.Connection, name: str) -> Bike | None:
    """Look a bike up by its name."""
    row = connection.execute(sa.select(bikes).where(bikes.c.name == name)).mappings().first()
    return None if row is None else Bike(**row)


def require_bike(connection: sa.Connection, name: str) -> Bike:
    """Look a bike up by its name.

    Raises
    ------
    InputError
        The book does not have it; those with a name like it are listed.
    """
    bike = find_bike(connection, name)
    if bike is not None:
        return bike
    import difflib

    near = difflib.get_close_matches(name, connection.scalars(sa.select(bikes.c.name)).all(), n=3, cutoff=0.4)
    raise InputError(
        f"the book has no bike named {name}",
        hint=f"Did you mean {' or '.join(near)}? " if near else "Add it with: acoustic bike add NAME.",
    )


def add_bike(connection: sa.Connection, name: str, *, notes: str = "", uid: str = "") -> Bike:
    """Write a new bike into the book.

    Raises
    ------
    InputError
        It has no name, or one that is taken.
    """
    if not name.strip():
        raise InputError("the bike has no name", hint="Give the ticket number or any name for it.")
    if find_bike(connection, name) is not None:
        raise InputError(f"the book already has a bike named {name}", hint="Use that one, or choose another name.")
    values = {"uid": uid or new_uid(), "name": name, "notes": notes}
    number = connection.execute(sa.insert(bikes).values(**values).returning(bikes.c.number)).scalar_one()
    return Bike(number=number, **values)


def known_bike(connection: sa.Connection, name: str) -> Bike:
    """Look a bike up by its name; one that the book does not know is added."""
    return find_bike(connection, name) or add_bike(connection, name)


def all_bikes(connection: sa.Connection) -> tuple[Bike, ...]:
    """List the bikes by name."""
    return tuple(Bike(**row) for row in connection.execute(sa.select(bikes).order_by(bikes.c.name)).mappings())


def fit_bearing(connection: sa.Connection, fitted: Fitted) -> Fitted:
    """Write a bearing that was fitted into a bike.

    Raises
    ------
    InputError
        The bike is not known, or another bearing sits there on that day.
    """
    bike = require_bike(connection, fitted.bike)
    for other in bearings_of(connection, fitted.bike):
        if other.removed_on is None and (not other.side or not fitted.side or other.side == fitted.side):
            raise InputError(
                f"bearing {other.number} ({other.designation or 'no designation'}) has been in {fitted.bike} "
                f"since {other.installed_on}",
                hint=f"First record that it came out: acoustic bike removed {other.number} --because worn.",
            )
    values = {**row_of(fitted), "bike": bike.number, "uid": fitted.uid or new_uid()}
    number = connection.execute(sa.insert(bearings).values(**values).returning(bearings.c.number)).scalar_one()
    return replace(fitted, number=number, uid=values["uid"])


def take_out(connection: sa.Connection, number: int, on: date, because: str, *, km: float | None = None) -> Fitted:
    """Write down that a bearing came out.

    Raises
    ------
    InputError
        There is no such bearing, it is already out, or came out before it went in.
    """
    fitted = require_bearing(connection, number)
    if fitted.removed_on is not None:
        raise InputError(
            f"bearing {number} already came out on {fitted.removed_on}", hint="Look at: acoustic bike show NAME."
        )
    if on < fitted.installed_on:
        raise InputError(
            f"bearing {number} went in on {fitted.installed_on}, after {on}", hint="Check the day given with --on."
        )
    changed: dict[str, Any] = {"removed_on": on, "removed_because": because, "removed_km": km}
    connection.execute(sa.update(bearings).where(bearings.c.number == number).values(**changed))
    return replace(fitted, **changed)


def require_bearing(connection: sa.Connection, number: int) -> Fitted:
    """Look a bearing up by its number in this book.

    Raises
    ------
    InputError
        There is none.
    """
    row = connection.execute(_with_bike().where(bearings.c.number == number)).mappings().first()
    if row is None:
        raise InputError(f"the book has no bearing {number}", hint="List them with: acoustic bike show NAME.")
    return Fitted(**row)


def bearings_of(connection: sa.Connection, name: str) -> tuple[Fitted, ...]:
    """The bearings of a bike, by the day they went in."""
    chosen = _with_bike().where(bikes.c.name == name)
    return _all_fitted(connection, chosen)


def all_bearings(connection: sa.Connection) -> tuple[Fitted, ...]:
    """The bearings of all bikes, by the day they went in."""
    return _all_fitted(connection, _with_bike())


def _all_fitted(connection: sa.Connection, chosen: sa.Select[Any]) -> tuple[Fitted, ...]:
    rows = connection.execute(chosen.order_by(bearings.c.installed_on, bearings.c.number)).mappings()
    return tuple(Fitted(**row) for row in rows)


def sitting(fitted: tuple[Fitted, ...], on: date, side: str = "") -> Fitted | None:
    """The one bearing that a bike had on a day, at a side; None if there was none, or more than one."""
    there = [
        one
        for one in fitted
        if one.installed_on <= on
        and (one.removed_on is None or on <= one.removed_on)
        and (not side or one.side in ("", side))
    ]
    # On the day of a replacement the new one is meant.
    newest = [one for one in there if one.installed_on == max(other.installed_on for other in there)]
    return newest[0] if len(newest) == 1 else None


def _with_bike() -> sa.Select[Any]:
    columns = [column for column in bearings.c if column.name != "bike"]
    return sa.select(*columns, bikes.c.name.label("bike")).join(bikes, bearings.c.bike == bikes.c.number)
