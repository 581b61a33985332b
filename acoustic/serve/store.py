"""Devices and checks of the counter page, in a small database of its own.

The book holds what was judged; this holds who may ask, and what was sent and is not judged yet. A row is
written before an upload is acknowledged, so that a kill loses nothing that a phone was told is safe.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any, Literal

import sqlalchemy as sa

State = Literal["waiting", "running", "judged", "unusable", "failed", "cancelled"]
OPEN_STATES: tuple[State, ...] = ("waiting", "running")

metadata = sa.MetaData()
devices = sa.Table(
    "devices",
    metadata,
    sa.Column("uid", sa.String(32), primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("secret_hash", sa.String(64), nullable=False, unique=True),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("since", sa.DateTime, nullable=False),
    sa.Column("seen", sa.DateTime, nullable=False),
)
checks = sa.Table(
    "checks",
    metadata,
    sa.Column("uid", sa.String(32), primary_key=True),
    sa.Column("received", sa.DateTime, nullable=False, index=True),
    sa.Column("device", sa.Text, nullable=False),
    sa.Column("bike", sa.Text, nullable=False),
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("question", sa.JSON, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("tries", sa.Integer, nullable=False, server_default="0"),
    sa.Column("grade", sa.Text, nullable=False, server_default=""),
    sa.Column("said", sa.Text, nullable=False, server_default=""),
    sa.Column("visit", sa.Integer),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A browser that was paired, or a program that holds a token.

    Attributes
    ----------
    uid, name : str
    kind : {'browser', 'program'}
    since, seen : datetime
        UTC.
    """

    uid: str
    name: str
    kind: Literal["browser", "program"]
    since: datetime
    seen: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One recording that was sent.

    Attributes
    ----------
    uid : str
        Also its visit's, so that it is written into the book once.
    received : datetime
        UTC.
    device, bike, file : str
        Who sent it, of what, under which name.
    question : mapping
        As `acoustic.serve.question.Question` writes it.
    state : {'waiting', 'running', 'judged', 'unusable', 'failed', 'cancelled'}
    tries : int
        How often judging it was begun.
    grade, said : str
        Once it ended: the grade, and one sentence.
    visit : int or None
        Its number in the book.
    """

    uid: str
    received: datetime
    device: str
    bike: str
    file: str
    question: Mapping[str, Any]
    state: State
    tries: int = 0
    grade: str = ""
    said: str = ""
    visit: int | None = None

    @property
    def is_open(self) -> bool:
        """Whether it is still to be judged."""
        return self.state in OPEN_STATES


def now() -> datetime:
    """The time, UTC."""
    return datetime.now(UTC).replace(tzinfo=None)


class Store:
    """The database of one counter page.

    Parameters
    ----------
    path : Path
        Made where it is missing; its folder is there.
    """

    def __init__(self, path: Path) -> None:
        self._engine = sa.create_engine(f"sqlite:///{path}", connect_args={"timeout": 20})
        with self._engine.begin() as connection:
            connection.execute(sa.text("PRAGMA journal_mode=WAL"))
        metadata.create_all(self._engine)

    def close(self) -> None:
        """Close the file."""
        self._engine.dispose()

    def add_device(self, *, uid: str, name: str, secret_hash: str, kind: str) -> None:
        """Write a device down; two of one name are told apart by a number."""
        at = now()
        values = {"uid": uid, "secret_hash": secret_hash, "kind": kind, "since": at, "seen": at}
        with self._engine.begin() as connection:
            taken = set(connection.execute(sa.select(devices.c.name)).scalars())
            names = (name if number == 1 else f"{name} ({number})" for number in count(1))
            own = next(one for one in names if one not in taken)
            connection.execute(sa.insert(devices).values({**values, "name": own}))

    def device_of(self, secret_hash: str) -> Device | None:
        """The device that holds a secret, by the secret's hash."""
        with self._engine.begin() as connection:
            row = (
                connection.execute(sa.select(devices).where(devices.c.secret_hash == secret_hash))
                .mappings()
                .first()
            )
            if row is None:
                return None
            if (now() - row["seen"]).total_seconds() > 60:  # each minute is enough for a list that people read
                connection.execute(sa.update(devices).where(devices.c.uid == row["uid"]).values(seen=now()))
        return _device(row)

    def all_devices(self) -> tuple[Device, ...]:
        """Every device that may ask, the last seen first."""
        with self._engine.connect() as connection:
            rows = connection.execute(sa.select(devices).order_by(devices.c.seen.desc())).mappings().all()
        return tuple(_device(row) for row in rows)

    def end_device(self, uid: str) -> bool:
        """Forget a device; tell whether it was there."""
        with self._engine.begin() as connection:
            return bool(connection.execute(sa.delete(devices).where(devices.c.uid == uid)).rowcount)

    def add_check(self, check: Check) -> None:
        """Write a check down; on return it is on the disk."""
        values = {column.name: getattr(check, column.name) for column in checks.c}
        with self._engine.begin() as connection:
            connection.execute(sa.insert(checks).values({**values, "question": dict(check.question)}))

    def change_check(self, uid: str, *, only_from: Sequence[State] = OPEN_STATES, **values: Any) -> bool:
        """Change a check that is in one of these states; tell whether it was."""
        which = sa.and_(checks.c.uid == uid, checks.c.state.in_(only_from))
        with self._engine.begin() as connection:
            return bool(connection.execute(sa.update(checks).where(which).values(values)).rowcount)

    def check(self, uid: str) -> Check | None:
        """One check."""
        with self._engine.connect() as connection:
            row = connection.execute(sa.select(checks).where(checks.c.uid == uid)).mappings().first()
        return None if row is None else Check(**row)

    def newest_checks(self, count: int) -> tuple[Check, ...]:
        """The last ones that came in, newest first."""
        with self._engine.connect() as connection:
            rows = connection.execute(sa.select(checks).order_by(checks.c.received.desc()).limit(count)).mappings()
            return tuple(Check(**row) for row in rows)

    def count_open(self, device: str | None = None) -> int:
        """How many are still to be judged, of all devices or of the ones with this name."""
        chosen = sa.select(sa.func.count()).select_from(checks).where(checks.c.state.in_(OPEN_STATES))
        with self._engine.connect() as connection:
            found: int = connection.execute(
                chosen if device is None else chosen.where(checks.c.device == device)
            ).scalar_one()
        return found

    def open_checks(self) -> tuple[Check, ...]:
        """Those still to be judged, oldest first."""
        chosen = sa.select(checks).where(checks.c.state.in_(OPEN_STATES)).order_by(checks.c.received)
        with self._engine.connect() as connection:
            return tuple(Check(**row) for row in connection.execute(chosen).mappings())


def _device(row: sa.RowMapping) -> Device:
    return Device(**{name: row[name] for name in ("uid", "name", "kind", "since", "seen")})
