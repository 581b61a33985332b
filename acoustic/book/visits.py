"""Visits: added, listed, corrected, removed with a reason, and judged again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import msgspec
import sqlalchemy as sa

from acoustic.book.bikes import find_bike, insert_unless_there, new_uid, require_bike
from acoustic.book.history import change, require_reason
from acoustic.book.question import AskedBlock
from acoustic.book.records import Judged, Visit
from acoustic.book.tables import bearings, bikes, recordings, verdicts, visits
from acoustic.errors import InputError
from acoustic.structures import checked

_DAMAGED = "The book may have been damaged; go back to a copy of it."
CHANGEABLE = ("on_date", "kind", "done", "distance_km", "recorder", "notes")


def add_visit(connection: sa.Connection, visit: Visit) -> Visit:
    """Write a visit with its verdicts; their recordings must be in the store.

    Raises
    ------
    InputError
        The bike is not known.
    """
    uid, bike = visit.uid or new_uid(), require_bike(connection, visit.bike, lock=True)
    values = {
        "uid": uid,
        "bike": bike.number,
        "bearing": _bearing_number(connection, visit.bearing),
        "removed_because": visit.removed_because,
        **{name: getattr(visit, name) for name in CHANGEABLE},
    }
    number = connection.execute(sa.insert(visits).values(**values).returning(visits.c.number)).scalar_one()
    for place, judged in enumerate(visit.verdicts):
        _add_verdict(connection, number, place, judged)
    return replace(visit, number=number, uid=uid, bike=bike.name)


def _bearing_number(connection: sa.Connection, uid: str) -> int | None:
    return connection.scalar(sa.select(bearings.c.number).where(bearings.c.uid == uid)) if uid else None


def _add_verdict(connection: sa.Connection, visit: int, place: int, judged: Judged) -> None:
    named = {"sha256": judged.sha256, "suffix": judged.suffix, "name": judged.name, "bytes": judged.bytes}
    insert_unless_there(connection, recordings, named)
    connection.execute(
        sa.insert(verdicts).values(
            visit=visit,
            place=place,
            sha256=judged.sha256,
            asked=msgspec.to_builtins(judged.asked),
            document=dict(judged.document),
            grade=judged.grade,
            judged_at=judged.judged_at,
            stands=True,
        )
    )


def list_visits(
    connection: sa.Connection,
    *,
    bike: str | None = None,
    since: date | None = None,
    removed: bool = False,
    newest: int | None = None,
) -> tuple[Visit, ...]:
    """List visits by date.

    Parameters
    ----------
    connection : Connection
    bike : str or None
        Of this bike alone.
    since : date or None
        From this day on.
    removed : bool
        Those that no longer count, too.
    newest : int or None
        The newest so many alone.

    Returns
    -------
    tuple of Visit
        With their verdicts, oldest first.
    """
    chosen = _visits()
    if bike is not None:
        found = find_bike(connection, bike)
        chosen = chosen.where(visits.c.bike == (found.number if found else 0))
    if since is not None:
        chosen = chosen.where(visits.c.on_date >= since)
    if not removed:
        chosen = chosen.where(visits.c.removed_because.is_(None))
    chosen = chosen.order_by(visits.c.on_date.desc(), visits.c.number.desc()).limit(newest)
    rows = connection.execute(chosen).mappings().all()
    return _with_verdicts(connection, list(reversed(rows)))


def require_visit(connection: sa.Connection, number: int) -> Visit:
    """Look a visit up by its number in this book.

    Raises
    ------
    InputError
        There is none.
    """
    found = _with_verdicts(
        connection, connection.execute(_visits().where(visits.c.number == number)).mappings().all()
    )
    if not found:
        raise InputError(f"the book has no visit {number}", hint="List them with: acoustic visit list")
    return found[0]


def _visits() -> sa.Select[Any]:
    columns = [column for column in visits.c if column.name not in ("bike", "bearing")]
    bearing = sa.func.coalesce(bearings.c.uid, "").label("bearing")
    return (
        sa.select(*columns, bikes.c.name.label("bike"), bearing)
        .join(bikes, visits.c.bike == bikes.c.number)
        .join(bearings, visits.c.bearing == bearings.c.number, isouter=True)
    )


def _with_verdicts(connection: sa.Connection, rows: Sequence[Mapping[Any, Any]]) -> tuple[Visit, ...]:
    wanted = sa.select(verdicts, recordings.c.suffix, recordings.c.name, recordings.c.bytes)
    wanted = wanted.join(recordings, verdicts.c.sha256 == recordings.c.sha256).where(verdicts.c.stands)
    wanted = wanted.where(verdicts.c.visit.in_([row["number"] for row in rows])).order_by(verdicts.c.place)
    said: dict[int, list[Judged]] = defaultdict(list)
    names = ("sha256", "suffix", "name", "bytes", "asked", "document", "judged_at")
    for row in connection.execute(wanted).mappings():
        asked = checked(row["asked"], AskedBlock, f"visit {row['visit']} in the book", hint=_DAMAGED)
        said[row["visit"]].append(Judged(**{name: row[name] for name in names} | {"asked": asked}))
    return tuple(Visit(**row, verdicts=tuple(said[row["number"]])) for row in rows)


def correct(connection: sa.Connection, number: int, values: Mapping[str, Any], because: str) -> Visit:
    """Correct a visit; the earlier entry stays on record.

    Parameters
    ----------
    connection : Connection
    number : int
    values : mapping
        The correct values, by names in `CHANGEABLE`.
    because : str

    Returns
    -------
    Visit

    Raises
    ------
    InputError
        There is no such visit.
    """
    change(connection, "visit", number, require_visit(connection, number), values, because)
    return require_visit(connection, number)


def remove(connection: sa.Connection, number: int, because: str) -> Visit:
    """Remove a visit; it is kept, with the reason.

    Raises
    ------
    InputError
        There is no such visit, it was already removed, or no reason is given.
    """
    why = require_reason(because, "a visit is removed")
    visit = require_visit(connection, number)
    if visit.removed_because is not None:
        raise InputError(
            f"visit {number} was already removed: {visit.removed_because}",
            hint=f"Undo that with: acoustic visit restore {number} --because WORDS",
        )
    return correct(connection, number, {"removed_because": why}, why)


def renew(connection: sa.Connection, number: int, judged: Iterable[Judged]) -> None:
    """Replace a visit's verdicts; the old ones are kept."""
    connection.execute(sa.update(verdicts).where(verdicts.c.visit == number).values(stands=False))
    for place, one in enumerate(judged):
        _add_verdict(connection, number, place, one)


def _heard_before(connection: sa.Connection, sha256s: Iterable[str]) -> dict[str, Visit]:
    """The visits that hold recordings of this content already, by their hashes; those removed do not count."""
    chosen = sa.select(verdicts.c.sha256, verdicts.c.visit).join(visits, verdicts.c.visit == visits.c.number)
    chosen = chosen.where(verdicts.c.sha256.in_(list(sha256s)), verdicts.c.stands)
    rows = connection.execute(chosen.where(visits.c.removed_because.is_(None))).all()
    return {row.sha256: require_visit(connection, row.visit) for row in rows}


def refuse_known(connection: sa.Connection, given: Sequence[tuple[str, str]]) -> None:
    """Refuse a recording that the book holds already, or that was given twice.

    Parameters
    ----------
    connection : Connection
    given : sequence of tuple of str
        Name and hash of each recording.

    Raises
    ------
    InputError
        Which one, and where it is.
    """
    hashes = [sha256 for _, sha256 in given]
    there = _heard_before(connection, hashes)
    for place, (name, sha256) in enumerate(given):
        if sha256 in there:
            other = there[sha256]
            raise InputError(
                f"{name} is in the book already: visit {other.number}, {other.bike}, {other.on_date}",
                hint="Give the recording of this visit. If the same one is meant to count again, add --anyway.",
            )
        if sha256 in hashes[:place]:
            raise InputError(
                f"{name} was given twice",
                hint="Give each recording once. If it is meant to count twice, add --anyway.",
            )
