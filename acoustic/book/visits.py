"""Visits: added, listed, corrected, removed with a reason, and judged again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

from acoustic.book.bikes import new_uid, require_bike
from acoustic.book.records import Judged, Visit
from acoustic.book.tables import bearings, bikes, changes, recordings, verdicts, visits
from acoustic.errors import InputError

CHANGEABLE = ("on_date", "kind", "done", "distance_km", "recorder", "notes")


def add_visit(connection: sa.Connection, visit: Visit) -> Visit:
    """Write a visit with its verdicts; their recordings must be in the store.

    Raises
    ------
    InputError
        The bike is not known.
    """
    uid = visit.uid or new_uid()
    values = {
        "uid": uid,
        "bike": require_bike(connection, visit.bike).number,
        "bearing": _bearing_number(connection, visit.bearing),
        "removed_because": visit.removed_because,
        **{name: getattr(visit, name) for name in CHANGEABLE},
    }
    number = connection.execute(sa.insert(visits).values(**values).returning(visits.c.number)).scalar_one()
    for place, judged in enumerate(visit.verdicts):
        _add_verdict(connection, number, place, judged)
    return replace(visit, number=number, uid=uid)


def _bearing_number(connection: sa.Connection, uid: str) -> int | None:
    return connection.scalar(sa.select(bearings.c.number).where(bearings.c.uid == uid)) if uid else None


def _add_verdict(connection: sa.Connection, visit: int, place: int, judged: Judged) -> None:
    known = connection.scalar(sa.select(recordings.c.sha256).where(recordings.c.sha256 == judged.sha256))
    if known is None:
        connection.execute(
            sa.insert(recordings).values(
                sha256=judged.sha256, suffix=judged.suffix, name=judged.name, bytes=judged.bytes
            )
        )
    connection.execute(
        sa.insert(verdicts).values(
            visit=visit,
            place=place,
            sha256=judged.sha256,
            asked=dict(judged.asked),
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
        chosen = chosen.where(bikes.c.name == bike)
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
        raise InputError(f"the book has no visit {number}", hint="List them with: acoustic visit list.")
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
        said[row["visit"]].append(Judged(**{name: row[name] for name in names}))
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
    before = require_visit(connection, number)
    now = datetime.now(UTC).replace(tzinfo=None)
    for name, value in values.items():
        was = getattr(before, name)
        note = {"field": name, "was": _told(was), "became": _told(value), "because": because}
        connection.execute(sa.insert(changes).values(visit=number, changed_at=now, **note))
    connection.execute(sa.update(visits).where(visits.c.number == number).values(**values))
    return require_visit(connection, number)


def remove(connection: sa.Connection, number: int, because: str) -> Visit:
    """Remove a visit; it is kept, with the reason.

    Raises
    ------
    InputError
        There is no such visit, it was already removed, or no reason is given.
    """
    if not because.strip():
        raise InputError(
            "a visit is removed only for a reason, and none was given", hint="Say why with --because."
        )
    visit = require_visit(connection, number)
    if visit.removed_because is not None:
        raise InputError(
            f"visit {number} was already removed: {visit.removed_because}",
            hint="Show it with: acoustic visit show.",
        )
    return correct(connection, number, {"removed_because": because}, because)


def renew(connection: sa.Connection, number: int, judged: Iterable[Judged]) -> None:
    """Replace a visit's verdicts; the old ones are kept."""
    connection.execute(sa.update(verdicts).where(verdicts.c.visit == number).values(stands=False))
    for place, one in enumerate(judged):
        _add_verdict(connection, number, place, one)


def history(connection: sa.Connection, number: int) -> tuple[tuple[datetime, str, str, str, str], ...]:
    """What was changed about a visit: when, what, from, to, why."""
    columns = (changes.c.changed_at, changes.c.field, changes.c.was, changes.c.became, changes.c.because)
    chosen = sa.select(*columns).where(changes.c.visit == number).order_by(changes.c.number)
    return tuple((row[0], row[1], row[2], row[3], row[4]) for row in connection.execute(chosen))


def _told(value: Any) -> str:
    return "" if value is None else str(value)
