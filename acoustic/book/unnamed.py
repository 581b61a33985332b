"""What to say where the book cannot tell which bearing is meant, or was not told of a new one."""

from __future__ import annotations

from datetime import date

import sqlalchemy as sa

from acoustic.book.bikes import bearings_of, find_bike, near_names
from acoustic.book.naming import quoted, settled, steps
from acoustic.book.records import Fitted, Visit
from acoustic.errors import InputError


def no_bearing(connection: sa.Connection, name: str, on: date, side: str = "") -> InputError:
    """The refusal of a visit for which nobody named a bearing, and the book has none.

    Parameters
    ----------
    connection : Connection
    name : str
        Of the bike, as it was typed.
    on : date
    side : str
        'drive', 'non-drive', or empty where none was said.
    """
    bike = find_bike(connection, name)
    if bike is None:
        return _no_bike(settled(name), near_names(connection, settled(name)))
    each = [one for one in bearings_of(connection, bike.name) if not side or one.side in ("", side)]
    there = [one for one in each if one.installed_on <= on <= (one.removed_on or on)]
    if len(there) > 1:
        return InputError(
            f"on {on} two bearings were in {bike.name}: {' and '.join(one.told for one in there)}",
            hint="Say which was recorded: --side drive or --side non-drive. Or name it with --bearing.",
        )
    if there:
        return InputError(
            f"the book does not say what {there[0].told} in {bike.name} is",
            hint=steps(
                (
                    "Write it down",
                    f"acoustic bike correct {there[0].number} --bearing NAME --because 'not written'",
                ),
            ),
        )
    return _none_then(bike.name, on, each)


def _no_bike(name: str, near: list[str]) -> InputError:
    new = f"If {name} is a new bike, name its bearing too: --bearing NAME"
    if not near:
        return InputError(f"the book has no bike {name}, and no bearing was given", hint=f"{new}.")
    return InputError(
        f"the book has no bike {name}",
        hint=f"Did you mean {' or '.join(near)}? Then give --bike {quoted(near[0])}. {new}.",
    )


def _none_then(bike: str, on: date, each: list[Fitted]) -> InputError:
    """No bearing was in the bike on that day."""
    fit = f"acoustic bike fit {quoted(bike)} --bearing NAME --on DAY"
    later = [one for one in each if one.installed_on > on]
    if later:
        return InputError(
            f"on {on} no bearing was in {bike}; {later[0].told} went in on {later[0].installed_on}",
            hint="Check the day. If another was in it before, name that with --bearing.",
        )
    if each:
        out = each[-1]
        return InputError(
            f"on {on} no bearing was in {bike}; {out.told} came out on {out.removed_on}",
            hint=steps(("Check the day. If a new one went in", fit)),
        )
    return InputError(
        f"no bearing was given, and the book has none of {bike}",
        hint=steps(("Name it with --bearing, or write down what sits there", fit)),
    )


def replacement_untold(connection: sa.Connection, visit: Visit) -> str:
    """How to record the bearing of a replacement that the visit alone tells; empty where it is on record."""
    each = bearings_of(connection, visit.bike)
    if visit.done != "replacement" or any(one.installed_on >= visit.on_date for one in each):
        return ""
    (side,) = [one.side for one in each if one.uid == visit.bearing] or [""]
    command = f"acoustic bike replaced {quoted(visit.bike)} --on {visit.on_date}" + (
        f" --side {side}" if side else ""
    )
    return (
        "the visit says that the bearing was replaced, and the book still has the old one. Record the new one "
        f"(with --bearing if it is of another kind):\n    {command}"
    )
