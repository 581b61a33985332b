"""What was said before of a visit, a bike or a bearing: kept with the day and the reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Literal

import sqlalchemy as sa

from acoustic.book.bikes import all_bearings
from acoustic.book.tables import bearings, bikes, changes, visits
from acoustic.errors import InputError

Of = Literal["visit", "bike", "bearing"]
# In words, where the column's name is no word for people.
FIELDS = {
    "on_date": "day",
    "distance_km": "kilometres",
    "removed_because": "why it came out or was removed",
    "installed_on": "day it went in",
    "removed_on": "day it came out",
    "installed_km": "kilometres when it went in",
    "removed_km": "kilometres when it came out",
    "withdrawn_because": "entry taken back",
    "merged_into": "merged into",
    "designation": "bearing",
    "shell_width_mm": "width of the shell [mm]",
    "bore_mm": "bore [mm]",
    "spindle_mm": "spindle [mm]",
}
# In words where it is undone, and where it is done.
_UNDONE = {
    "removed_because": ("removal undone", "removed"),
    "withdrawn_because": ("entry stands again", "entry taken back"),
}
TABLES: Mapping[Of, sa.Table] = {"visit": visits, "bike": bikes, "bearing": bearings}


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What was changed, when and why.

    Attributes
    ----------
    changed_at : datetime
        UTC.
    field, was, became, because : str
    """

    changed_at: datetime
    field: str
    was: str
    became: str
    because: str

    def __str__(self) -> str:
        """It in words."""
        undone = _UNDONE.get(self.field)
        if undone is not None and not (self.was and self.became):
            return f"changed {self.changed_at:%Y-%m-%d}: {undone[bool(self.became)]} ({self.because})"
        name = FIELDS.get(self.field, self.field.replace("_", " "))
        said = f"{name} from {self.was or 'nothing'} to {self.became or 'nothing'}"
        return f"changed {self.changed_at:%Y-%m-%d}: {said} ({self.because})"


def require_reason(because: str, what: str) -> str:
    """The reason, trimmed.

    Raises
    ------
    InputError
        None was given.
    """
    if not because.strip():
        raise InputError(f"{what} only for a reason, and none was given", hint="Say why with --because.")
    return because.strip()


def change(
    connection: sa.Connection, of: Of, number: int, before: Any, values: Mapping[str, Any], why: str
) -> None:
    """Write new values, and set what stood there aside with the reason.

    Parameters
    ----------
    connection : Connection
    of : {'visit', 'bike', 'bearing'}
    number : int
    before : Visit, Bike or Fitted
        As it stood.
    values : mapping
        The new values by the columns' names; those that are as before are passed over.
    why : str
    """
    new = {name: value for name, value in values.items() if getattr(before, name) != value}
    for name, value in new.items():
        note(connection, of, number, field=name, was=getattr(before, name), became=value, because=why)
    if new:
        connection.execute(sa.update(TABLES[of]).where(TABLES[of].c.number == number).values(**new))


def note(
    connection: sa.Connection, of: Of, number: int, *, field: str, was: object, became: object, because: str
) -> None:
    """Write down that something was changed."""
    said = {"field": field, "was": _told(was), "became": _told(became), "because": because}
    now = datetime.now(UTC).replace(tzinfo=None)
    connection.execute(sa.insert(changes).values({of: number, "changed_at": now, **said}))


def history(connection: sa.Connection, of: Of, number: int) -> tuple[Change, ...]:
    """What was changed about a visit, a bike or a bearing, oldest first; the bearings that were heard in words."""
    found = histories(connection, of, [number]).get(number, ())
    if of != "visit" or not any(one.field == "bearing" for one in found):
        return found
    told = {one.uid: one.told for one in all_bearings(connection, withdrawn=True)}
    return tuple(replace(one, was=told.get(one.was, one.was)) for one in found)


def histories(
    connection: sa.Connection, of: Of, numbers: list[int] | None = None
) -> dict[int, tuple[Change, ...]]:
    """What was changed about several, or about all, by their numbers; those never changed are missing."""
    chosen = sa.select(changes).where(changes.c[of].is_not(None)).order_by(changes.c.number)
    if numbers is not None:
        chosen = chosen.where(changes.c[of].in_(numbers))
    told: dict[int, tuple[Change, ...]] = {}
    for row in connection.execute(chosen).mappings():
        one = Change(**{name: row[name] for name in Change.__dataclass_fields__})
        told[row[of]] = (*told.get(row[of], ()), one)
    return told


def _told(value: object) -> str:
    return "" if value is None else str(value)
