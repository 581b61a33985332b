"""Slips put right: what stood in the book before is kept with the reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import sqlalchemy as sa

from acoustic.book.bikes import (
    bearings_of,
    clash,
    find_bike,
    refuse_clash,
    require_bearing,
    require_bike,
    sitting,
)
from acoustic.book.history import TABLES, Of, change, note, require_reason
from acoustic.book.naming import key_of, quoted, settled, steps
from acoustic.book.records import Bike, Fitted, Visit
from acoustic.book.tables import bikes, visits
from acoustic.book.visits import list_visits, require_visit
from acoustic.errors import InputError


def rename_bike(connection: sa.Connection, name: str, new: str, because: str) -> Bike:
    """Give a bike another name.

    Raises
    ------
    InputError
        There is no such bike, the new name cannot be used or is taken, or no reason is given.
    """
    why = require_reason(because, "a bike gets another name")
    bike, wanted = require_bike(connection, name, lock=True), settled(new)
    other = find_bike(connection, wanted)
    if other is not None and (other.number != bike.number or key_of(other.name) != key_of(wanted)):
        raise InputError(
            f"the name {wanted} leads to the bike {other.name} already",
            hint=steps(
                (
                    "If both are one bike",
                    f"acoustic bike merge {quoted(bike.name)} {quoted(other.name)} --because WORDS",
                ),
                ("If not, choose another name", f"acoustic bike rename {quoted(bike.name)} NEW --because WORDS"),
            ),
        )
    change(connection, "bike", bike.number, bike, {"name": wanted}, why)
    connection.execute(sa.update(bikes).where(bikes.c.number == bike.number).values(key=key_of(wanted)))
    return replace(bike, name=wanted)


def merge_bikes(connection: sa.Connection, name: str, into: str, because: str) -> Bike:
    """Make two bikes one: visits and bearings of the first go to the second, and its name leads there.

    Raises
    ------
    InputError
        One is not known, both are the same, or two bearings would sit in one seat.
    """
    why = require_reason(because, "two bikes are merged")
    # Always in one order, so that two who merge crosswise do not wait for each other.
    for one in sorted((name, into), key=lambda text: require_bike(connection, text).number):
        require_bike(connection, one, lock=True)
    old, bike = require_bike(connection, name), require_bike(connection, into)
    if old.number == bike.number:
        raise InputError(f"{settled(name)} and {settled(into)} are the same bike", hint="Name two bikes.")
    _refuse_two_in_one(bearings_of(connection, old.name), bearings_of(connection, bike.name))
    moved: tuple[Of, ...] = ("visit", "bearing")
    for of in moved:
        table = TABLES[of]
        for number in connection.scalars(sa.select(table.c.number).where(table.c.bike == old.number)).all():
            note(connection, of, number, field="bike", was=old.name, became=bike.name, because=why)
        connection.execute(sa.update(table).where(table.c.bike == old.number).values(bike=bike.number))
    note(connection, "bike", old.number, field="merged_into", was=None, became=bike.name, because=why)
    connection.execute(sa.update(bikes).where(bikes.c.number == old.number).values(merged_into=bike.uid))
    _seat_again(connection, bike.name, (), why)
    return bike


def _refuse_two_in_one(ours: tuple[Fitted, ...], theirs: tuple[Fitted, ...]) -> None:
    pairs = [(one, other) for one in ours for other in theirs if clash(one, other)]
    if not pairs:
        return
    one, other = pairs[0]
    raise InputError(
        f"two bearings would sit in one bike: {one.told} in {one.bike} since {one.installed_on}, and {other.told} "
        f"in {other.bike} since {other.installed_on}",
        hint=steps(
            (
                "If both are the same bearing, take one entry back",
                f"acoustic bike withdraw {one.number} --because WORDS",
            ),
            ("If one came out", f"acoustic bike removed {one.number} --on DAY --because WORDS"),
        ),
    )


def move_visit(connection: sa.Connection, number: int, to: str, because: str) -> Visit:
    """Move a visit to another bike; the bearing heard is the one that sat there on that day.

    Raises
    ------
    InputError
        There is no such visit or bike, it belongs there already, or no reason is given.
    """
    why = require_reason(because, "a visit is moved")
    bike, visit = require_bike(connection, to, lock=True), require_visit(connection, number)
    if visit.bike == bike.name:
        raise InputError(f"visit {number} is one of {bike.name} already", hint="Name the bike that it belongs to.")
    note(connection, "visit", number, field="bike", was=visit.bike, became=bike.name, because=why)
    connection.execute(sa.update(visits).where(visits.c.number == number).values(bike=bike.number))
    _seat(connection, replace(visit, bike=bike.name), why)
    return require_visit(connection, number)


def correct_bearing(connection: sa.Connection, number: int, values: Mapping[str, Any], because: str) -> Fitted:
    """Put an entry about a bearing right.

    Raises
    ------
    InputError
        There is no such bearing, it would sit where another does or come out before it went in, or no
        reason is given.
    """
    why = require_reason(because, "a bearing's entry is corrected")
    before = _locked(connection, number)
    now = replace(before, **values)
    if now.removed_on is not None and now.removed_on < now.installed_on:
        raise InputError(
            f"bearing {number} would come out on {now.removed_on}, before it went in on {now.installed_on}",
            hint="Check the days.",
        )
    refuse_clash(now, bearings_of(connection, now.bike))
    change(connection, "bearing", number, before, values, why)
    _seat_again(connection, now.bike, (number,), why)
    return now


def restore_bearing(connection: sa.Connection, number: int, because: str) -> Fitted:
    """Undo that a bearing came out, or that its entry was taken back.

    Raises
    ------
    InputError
        There is no such bearing, nothing is to be undone, or another sits there now.
    """
    fitted = _locked(connection, number)
    if fitted.withdrawn_because is not None:
        return correct_bearing(connection, number, {"withdrawn_because": None}, because)
    if fitted.removed_on is None:
        raise InputError(
            f"{fitted.told} sits in {fitted.bike}; nothing is to be undone",
            hint="List the bearings with: acoustic bike list",
        )
    values = {"removed_on": None, "removed_because": "", "removed_km": None}
    return correct_bearing(connection, number, values, because)


def withdraw_bearing(connection: sa.Connection, number: int, because: str) -> Fitted:
    """Take an entry about a bearing back that should never have been made; it is kept, and counts nowhere.

    Raises
    ------
    InputError
        There is no such bearing, it was taken back before, or no reason is given.
    """
    why = require_reason(because, "an entry is taken back")
    fitted = _locked(connection, number)
    if fitted.withdrawn_because is not None:
        raise InputError(
            f"the entry of bearing {number} was already taken back: {fitted.withdrawn_because}",
            hint=f"Undo that with: acoustic bike restore {number} --because WORDS",
        )
    return correct_bearing(connection, number, {"withdrawn_because": why}, why)


def restore_visit(connection: sa.Connection, number: int, because: str) -> Visit:
    """Let a removed visit count again.

    Raises
    ------
    InputError
        There is no such visit, it was not removed, or no reason is given.
    """
    why = require_reason(because, "a visit is restored")
    visit = require_visit(connection, number)
    if visit.removed_because is None:
        raise InputError(
            f"visit {number} was not removed", hint="List the removed ones with: acoustic visit list --removed"
        )
    change(connection, "visit", number, visit, {"removed_because": None}, why)
    return replace(visit, removed_because=None)


def _locked(connection: sa.Connection, number: int) -> Fitted:
    require_bike(connection, require_bearing(connection, number).bike, lock=True)
    return require_bearing(connection, number)


def _seat_again(connection: sa.Connection, bike: str, touched: tuple[int, ...], why: str) -> None:
    """Say anew which bearing was heard at visits that name none, or one whose days were touched."""
    uids = {require_bearing(connection, number).uid for number in touched}
    for visit in list_visits(connection, bike=bike, removed=True):
        if not visit.bearing or visit.bearing in uids:
            _seat(connection, visit, why)


def _seat(connection: sa.Connection, visit: Visit, why: str) -> None:
    there = bearings_of(connection, visit.bike)
    for one in there:
        if one.uid == visit.bearing and one.installed_on <= visit.on_date <= (one.removed_on or visit.on_date):
            return  # heard on the day that it came out, it is still the one
    sides = {judged.check.recording.side or "" for judged in visit.verdicts}
    seated = sitting(there, visit.on_date, sides.pop() if len(sides) == 1 else "")
    if (seated.uid if seated else "") == visit.bearing:
        return
    became = seated.told if seated else None
    note(connection, "visit", visit.number, field="bearing", was=visit.bearing, became=became, because=why)
    values = {"bearing": seated.number if seated else None}
    connection.execute(sa.update(visits).where(visits.c.number == visit.number).values(**values))
