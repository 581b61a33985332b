"""A bearing replaced, in one step: the old one out, the new one in, and the visit that led to it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import sqlalchemy as sa

from acoustic.book.bikes import bearings_of, fit_bearing, require_bike, take_out
from acoustic.book.history import change
from acoustic.book.naming import quoted, steps
from acoustic.book.records import Fitted, Visit
from acoustic.book.visits import list_visits
from acoustic.errors import InputError

# What belongs to the frame and its use stays when a bearing is replaced; the rest is the bearing's own.
OF_THE_FRAME = ("side", "shell", "shell_width_mm", "bore_mm", "spindle_mm", "use")


@dataclass(frozen=True, slots=True)
class Replaced:
    """What a replacement wrote.

    Attributes
    ----------
    out : Fitted or None
        The one that came out; None where the book knew of none.
    fitted : Fitted
    visit : Visit or None
        The visit of that day after which it was done.
    """

    out: Fitted | None
    fitted: Fitted
    visit: Visit | None


def replace_bearing(
    connection: sa.Connection, new: Fitted, *, because: str = "worn", same_day: bool = False
) -> Replaced:
    """Write down that a bearing was replaced on the day that the new one went in.

    Parameters
    ----------
    connection : Connection
    new : Fitted
        Where it names no designation, it is of the same kind as the old one. Shell, bore, spindle, side and use
        are the old one's where not given. Its `installed_km` ends the old one's too.
    because : str
        Why the old one came out: 'worn' ends its life, anything else only its watch.
    same_day : bool
        The old one may have gone in on this very day.

    Returns
    -------
    Replaced

    Raises
    ------
    InputError
        The bike is not known, two bearings sit there and no side is said, or the old one went in on that day
        or later.
    """
    bike = require_bike(connection, new.bike, lock=True)
    old = _replaceable(bearings_of(connection, bike.name), bike.name, new.side)
    if old is None:
        return Replaced(None, fit_bearing(connection, new), None)
    if old.installed_on == new.installed_on and not same_day:
        raise InputError(
            f"{old.told} went into {bike.name} only on {old.installed_on}, the same day",
            hint=steps(
                (
                    "If its name was typed wrong",
                    f"acoustic bike correct {old.number} --bearing NAME --because WORDS",
                ),
                (
                    "If it did come out again on that day",
                    f"acoustic bike replaced {quoted(bike.name)} --anyway --because WORDS",
                ),
            ),
        )
    out = take_out(connection, old.number, new.installed_on, because, km=new.installed_km)
    kept = {name: getattr(old, name) for name in OF_THE_FRAME if not getattr(new, name)}
    if not new.designation:
        kept |= {name: getattr(old, name) for name in ("designation", "rows", "seal") if not getattr(new, name)}
    fitted = fit_bearing(connection, replace(new, **kept))
    return Replaced(out, fitted, _done_after(connection, out))


def _replaceable(fitted: tuple[Fitted, ...], bike: str, side: str) -> Fitted | None:
    there = [one for one in fitted if one.removed_on is None and (not side or one.side in ("", side))]
    if len(there) > 1:
        sides = " and ".join(f"{one.told} on the {one.side} side" for one in there)
        raise InputError(
            f"two bearings sit in {bike}: {sides}",
            hint=f"Say which was replaced: acoustic bike replaced {quoted(bike)} --side {there[0].side}",
        )
    return there[0] if there else None


def _done_after(connection: sa.Connection, out: Fitted) -> Visit | None:
    """Write into the check of that day that a replacement followed it."""
    heard = [
        one
        for one in list_visits(connection, bike=out.bike, since=out.removed_on)
        if one.on_date == out.removed_on
        and one.bearing == out.uid
        and (one.kind, one.done) == ("check", "nothing")
    ]
    if not heard:
        return None
    change(connection, "visit", heard[-1].number, heard[-1], {"done": "replacement"}, f"{out.told} was replaced")
    return replace(heard[-1], done="replacement")
