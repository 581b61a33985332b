"""Bikes, and the bearings in them.

Whoever writes about a bike locks its row first. So two benches on one server take turns where they
fit a bearing into the same bike; a file lets one writer in at a time anyway.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Any

import sqlalchemy as sa

from acoustic.book.naming import key_of, quoted, settled, steps
from acoustic.book.records import Bike, Fitted, row_of
from acoustic.book.tables import bearings, bikes, changes
from acoustic.errors import InputError


def new_uid() -> str:
    """A name that no other row of any book has."""
    return uuid.uuid4().hex


def find_bike(connection: sa.Connection, name: str) -> Bike | None:
    """Look a bike up by its name, however it is spelt; the name of a merged one leads to where it went."""
    return _followed(connection, bikes.c.key == key_of(name))


def find_bike_by_uid(connection: sa.Connection, uid: str) -> Bike | None:
    """Look a bike up by what is the same in every copy of the book; a merged one leads to where it went."""
    return _followed(connection, bikes.c.uid == uid)


def _followed(connection: sa.Connection, where: sa.ColumnElement[bool], *, lock: bool = False) -> Bike | None:
    seen: set[str] = set()
    while True:
        chosen = _bikes().where(where)
        row = connection.execute(chosen.with_for_update() if lock else chosen).mappings().first()
        if row is None:
            return None
        found = Bike(**row)
        if found.merged_into is None or found.merged_into in seen:
            return found
        seen.add(found.merged_into)
        where = bikes.c.uid == found.merged_into


def _bikes() -> sa.Select[Any]:
    return sa.select(*(column for column in bikes.c if column.name != "key"))


def require_bike(connection: sa.Connection, name: str, *, lock: bool = False) -> Bike:
    """Look a bike up by its name.

    Parameters
    ----------
    connection : Connection
    name : str
    lock : bool
        Keep others from writing about it until this change is made.

    Raises
    ------
    InputError
        The book does not have it; those with a name like it are listed.
    """
    bike = _followed(connection, bikes.c.key == key_of(name), lock=lock)
    if bike is not None:
        return bike
    wanted = settled(name)
    near = near_names(connection, wanted)
    called = _called_since(connection, wanted)
    hint = f"Did you mean {' or '.join(near)}? List them with: acoustic bike list"
    if called is not None:
        hint = f"It is called {called} by now: acoustic bike show {quoted(called)}"
    elif not near:
        hint = f"Add it with: acoustic bike add {quoted(wanted)}"
    raise InputError(f"the book has no bike named {wanted}", hint=hint)


def _called_since(connection: sa.Connection, name: str) -> str | None:
    """The present name of a bike that had this one once."""
    was = sa.select(changes.c.was, bikes.c.name).join(bikes, changes.c.bike == bikes.c.number)
    rows = connection.execute(was.where(changes.c.field == "name").order_by(changes.c.number)).all()
    return {key_of(row.was): row.name for row in rows}.get(key_of(name))


def near_names(connection: sa.Connection, name: str) -> list[str]:
    """Names in the book that are spelt like this one, the nearest first."""
    import difflib

    names = {key_of(one): one for one in connection.scalars(sa.select(bikes.c.name))}
    return [names[key] for key in difflib.get_close_matches(key_of(name), names, n=3, cutoff=0.6)]


def add_bike(connection: sa.Connection, name: str, *, notes: str = "", uid: str = "", branch: str = "") -> Bike:
    """Write a new bike into the book.

    Raises
    ------
    InputError
        It has no name that can be used, or one that is taken.
    """
    made = _insert(connection, settled(name), notes=notes, uid=uid, branch=branch)
    if made is not None:
        return made
    there = require_bike(connection, name)
    told = f"the book already has a bike named {there.name}"
    if key_of(there.name) != key_of(name):
        told = f"the bike {settled(name)} was merged into {there.name}"
    raise InputError(told, hint=f"Look at it with: acoustic bike show {quoted(there.name)}")


def _insert(connection: sa.Connection, name: str, *, notes: str, uid: str, branch: str) -> Bike | None:
    """Write a bike unless its name is taken, also by somebody who writes it at this moment."""
    values = {"uid": uid or new_uid(), "name": name, "notes": notes, "branch": branch}
    number = insert_unless_there(connection, bikes, {**values, "key": key_of(name)})
    return None if number is None else Bike(number=number, **values)


def insert_unless_there(connection: sa.Connection, table: sa.Table, values: dict[str, Any]) -> Any:
    """Write a row unless a unique column of it is taken; its primary key, or None where nothing was written.

    One that another program is writing is waited for.
    """
    from sqlalchemy.dialects import postgresql, sqlite

    insert = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
    (key,) = table.primary_key
    return connection.scalar(insert(table).values(**values).on_conflict_do_nothing().returning(key))


def known_bike(connection: sa.Connection, name: str) -> Bike:
    """Look a bike up by its name, and lock it; one that the book does not know is added."""
    if find_bike(connection, name) is None:
        _insert(connection, settled(name), notes="", uid="", branch="")
    return require_bike(connection, name, lock=True)


def all_bikes(connection: sa.Connection, *, merged: bool = False) -> tuple[Bike, ...]:
    """List the bikes by name; those that were merged into others only where asked for."""
    chosen = _bikes() if merged else _bikes().where(bikes.c.merged_into.is_(None))
    return tuple(Bike(**row) for row in connection.execute(chosen.order_by(bikes.c.name)).mappings())


def fit_bearing(connection: sa.Connection, fitted: Fitted) -> Fitted:
    """Write a bearing that was fitted into a bike.

    Raises
    ------
    InputError
        The bike is not known, or another bearing sits there on that day.
    """
    bike = require_bike(connection, fitted.bike, lock=True)
    new = replace(fitted, bike=bike.name, uid=fitted.uid or new_uid())
    refuse_clash(new, bearings_of(connection, bike.name))
    values = {**row_of(new), "bike": bike.number}
    number = connection.execute(sa.insert(bearings).values(**values).returning(bearings.c.number)).scalar_one()
    return replace(new, number=number)


def clash(one: Fitted, other: Fitted) -> bool:
    """Whether two bearings of one bike would sit in the same seat at the same time.

    On the day of a change both may. Entries taken back sit nowhere.
    """
    if one.withdrawn_because is not None or other.withdrawn_because is not None:
        return False
    if one.side and other.side and one.side != other.side:
        return False
    ends = (one.removed_on or date.max, other.removed_on or date.max)
    return one.installed_on < ends[1] and other.installed_on < ends[0]


def refuse_clash(fitted: Fitted, others: Iterable[Fitted]) -> None:
    """Refuse a bearing where another sits.

    Raises
    ------
    InputError
        It does; which one, and what to do.
    """
    for other in others:
        if other.number == fitted.number or not clash(fitted, other):
            continue
        if other.removed_on is None:
            raise InputError(
                f"{other.told} has been in {fitted.bike} since {other.installed_on}",
                hint=steps(
                    ("If it was replaced", f"acoustic bike replaced {quoted(fitted.bike)} --bearing NAME"),
                    ("If it only came out", f"acoustic bike removed {other.number} --because worn"),
                    (
                        "If they sit on two sides, give both a side",
                        f"acoustic bike correct {other.number} --side drive --because WORDS",
                    ),
                ),
            )
        raise InputError(
            f"{other.told} was in {fitted.bike} from {other.installed_on} to {other.removed_on}",
            hint=steps(
                (
                    "Check the day, or put the other's right",
                    f"acoustic bike correct {other.number} --on DAY --because WORDS",
                )
            ),
        )


def take_out(connection: sa.Connection, number: int, on: date, because: str, *, km: float | None = None) -> Fitted:
    """Write down that a bearing came out.

    Raises
    ------
    InputError
        There is no such bearing, it is already out, or came out before it went in.
    """
    require_bike(connection, require_bearing(connection, number).bike, lock=True)
    fitted = require_bearing(connection, number)
    if fitted.removed_on is not None:
        raise InputError(
            f"bearing {number} already came out on {fitted.removed_on}",
            hint=f"If it still sits there: acoustic bike restore {number} --because WORDS",
        )
    if on < fitted.installed_on:
        raise InputError(
            f"bearing {number} went in on {fitted.installed_on}, after {on}", hint="Check the day given with --on."
        )
    new: dict[str, Any] = {"removed_on": on, "removed_because": because, "removed_km": km}
    connection.execute(sa.update(bearings).where(bearings.c.number == number).values(**new))
    return replace(fitted, **new)


def require_bearing(connection: sa.Connection, number: int) -> Fitted:
    """Look a bearing up by its number in this book, also one whose entry was taken back.

    Raises
    ------
    InputError
        There is none.
    """
    row = connection.execute(_with_bike().where(bearings.c.number == number)).mappings().first()
    if row is None:
        raise InputError(f"the book has no bearing {number}", hint="List them with: acoustic bike list")
    return Fitted(**row)


def bearings_of(connection: sa.Connection, name: str, *, withdrawn: bool = False) -> tuple[Fitted, ...]:
    """The bearings of a bike, by the day they went in; entries taken back only where asked for."""
    bike = find_bike(connection, name)
    if bike is None:
        return ()
    return _all_fitted(connection, _with_bike().where(bearings.c.bike == bike.number), withdrawn)


def all_bearings(connection: sa.Connection, *, withdrawn: bool = False) -> tuple[Fitted, ...]:
    """The bearings of all bikes, by the day they went in; entries taken back only where asked for."""
    return _all_fitted(connection, _with_bike(), withdrawn)


def _all_fitted(connection: sa.Connection, chosen: sa.Select[Any], withdrawn: bool) -> tuple[Fitted, ...]:
    if not withdrawn:
        chosen = chosen.where(bearings.c.withdrawn_because.is_(None))
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
