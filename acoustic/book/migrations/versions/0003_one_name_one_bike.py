"""One bike a name however it is spelt; changes of bikes and bearings; branches.

Bikes whose names differ by case or spaces alone stay apart: the later ones get a number behind the name. They
can be merged afterwards. Bearings get the name of the catalogue: 6805 2RS and 61805 are a 6805.
What is changed here is written down with the reason.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

from acoustic.bearings.catalogue import load_catalogue
from acoustic.bearings.names import row_named
from acoustic.book.naming import LONGEST, escaped, key_of, settled
from acoustic.errors import InputError

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

BECAUSE = "names are compared without case since this version"
SETTLED = "a bearing has the name of the catalogue since this version"


def upgrade() -> None:
    """Add the tables and columns, and fill the names' keys."""
    with op.batch_alter_table("changes") as changes:
        changes.alter_column("visit", existing_type=sa.Integer(), nullable=True)
        changes.add_column(sa.Column("bike", sa.Integer(), nullable=True))
        changes.add_column(sa.Column("bearing", sa.Integer(), nullable=True))
        changes.create_foreign_key(op.f("fk_changes_bike"), "bikes", ["bike"], ["number"])
        changes.create_foreign_key(op.f("fk_changes_bearing"), "bearings", ["bearing"], ["number"])
        changes.create_index(op.f("ix_changes_bike"), ["bike"])
        changes.create_index(op.f("ix_changes_bearing"), ["bearing"])
    op.add_column("bikes", sa.Column("key", sa.Text(), server_default="", nullable=False))
    op.add_column("bikes", sa.Column("branch", sa.Text(), server_default="", nullable=False))
    op.add_column("bikes", sa.Column("merged_into", sa.String(length=32), nullable=True))
    op.add_column("bearings", sa.Column("withdrawn_because", sa.Text(), nullable=True))
    op.create_index(op.f("ix_bearings_removed_on"), "bearings", ["removed_on"])
    op.create_index(op.f("ix_verdicts_sha256"), "verdicts", ["sha256"])
    op.create_table(
        "about",
        sa.Column("name", sa.String(length=32), nullable=False),
        sa.Column("words", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_about")),
    )
    _fill_keys(op.get_bind())
    _settle_bearings(op.get_bind())
    op.create_index(op.f("ix_bikes_key"), "bikes", ["key"], unique=True)


def _fill_keys(connection: sa.Connection) -> None:
    bikes = sa.table("bikes", sa.column("number"), sa.column("name"), sa.column("key"))
    changes = _changes("bike")
    rows = connection.execute(sa.select(bikes.c.number, bikes.c.name).order_by(bikes.c.number)).all()
    names, keys = {name for _, name in rows}, {key_of(_shown(name)) for _, name in rows}
    taken: set[str] = set()
    for number, name in rows:
        base = _shown(name)
        became, count = base, 1
        while (
            key_of(became) in taken
            or (count > 1 and key_of(became) in keys)
            or (became != name and became in names)  # names are unique at every step
        ):
            count += 1
            became = f"{base[: LONGEST - 8]} ({count})"
        taken.add(key_of(became))
        values = {"name": became, "key": key_of(became)}
        connection.execute(sa.update(bikes).where(bikes.c.number == number).values(**values))
        if became != name:
            note = {"field": "name", "was": name, "became": became, "because": BECAUSE}
            connection.execute(sa.insert(changes).values(bike=number, changed_at=_now(), **note))


def _shown(name: str) -> str:
    """A name that can be shown and typed: what no name may hold any more is written by its code."""
    try:
        return settled(name)
    except InputError:
        return settled(f"bike {escaped(name)}"[:LONGEST])


def _settle_bearings(connection: sa.Connection) -> None:
    """Give bearings the name that the catalogue has; those that it does not know keep theirs."""
    bearings = sa.table("bearings", sa.column("number"), sa.column("designation"))
    catalogue = load_catalogue()
    for number, name in connection.execute(sa.select(bearings.c.number, bearings.c.designation)).all():
        named = row_named(catalogue, name) if name else None
        if named is None or named[0].designation == name:
            continue
        became = named[0].designation
        connection.execute(sa.update(bearings).where(bearings.c.number == number).values(designation=became))
        note = {"field": "designation", "was": name, "became": became, "because": SETTLED}
        connection.execute(sa.insert(_changes("bearing")).values(bearing=number, changed_at=_now(), **note))


def _changes(of: str) -> sa.TableClause:
    columns: list[sa.ColumnClause[Any]] = [sa.column(name) for name in (of, "field", "was", "became", "because")]
    return sa.table("changes", sa.column("changed_at", sa.DateTime()), *columns)


def _now() -> datetime:
    return datetime.now(UTC).replace(tzinfo=None)
