"""The tables of the book's database.

A verdict is kept whole, as the JSON that `check` prints, with how it was asked. A new condition so needs no
migration, and a later version can judge again and say what changed. The price is some parsing: the trend of a
bike among 10 000 visits takes a tenth of a second.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    DateTime,
    Float,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
)

# Names of constraints, so that a later step can alter them on any server.
metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _number() -> Column[int]:
    return Column("number", Integer, primary_key=True)


def _uid() -> Column[str]:
    """A name that stays the same in every copy of the book."""
    return Column("uid", String(32), nullable=False, unique=True)


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False, server_default="")


bikes = Table(
    "bikes",
    metadata,
    _number(),
    _uid(),
    Column("name", Text, nullable=False, unique=True),
    # The name as `naming.key_of` folds it: two benches that write one name at once make one bike.
    Column("key", Text, nullable=False, server_default="", unique=True, index=True),
    _text("notes"),
    # The branch that wrote it; empty for this book's own.
    _text("branch"),
    # uid of the bike that took its visits and bearings; its name leads there.
    Column("merged_into", String(32)),
)

# One row for each bearing while it sat in one bike.
bearings = Table(
    "bearings",
    metadata,
    _number(),
    _uid(),
    Column("bike", Integer, ForeignKey("bikes.number"), nullable=False, index=True),
    _text("side"),
    _text("designation"),
    Column("rows", Integer),
    _text("seal"),
    _text("shell"),
    Column("shell_width_mm", Float),
    Column("bore_mm", Float),
    Column("spindle_mm", Float),
    _text("use"),
    Column("installed_on", Date, nullable=False),
    Column("removed_on", Date, index=True),
    _text("removed_because"),
    _text("notes"),
    _text("supplier"),
    _text("lot"),
    Column("installed_km", Float),
    Column("removed_km", Float),
    # Why the entry was taken back; it is kept, and counts nowhere.
    Column("withdrawn_because", Text),
)

recordings = Table(
    "recordings",
    metadata,
    Column("sha256", String(64), primary_key=True),
    _text("suffix"),
    _text("name"),
    Column("bytes", Integer, nullable=False),
)

visits = Table(
    "visits",
    metadata,
    _number(),
    _uid(),
    Column("bike", Integer, ForeignKey("bikes.number"), nullable=False, index=True),
    Column("bearing", Integer, ForeignKey("bearings.number")),
    Column("on_date", Date, nullable=False, index=True),
    Column("kind", Text, nullable=False),
    Column("done", Text, nullable=False),
    Column("distance_km", Float),
    _text("recorder"),
    _text("notes"),
    Column("removed_because", Text),
)

verdicts = Table(
    "verdicts",
    metadata,
    _number(),
    Column("visit", Integer, ForeignKey("visits.number"), nullable=False, index=True),
    Column("place", Integer, nullable=False),
    Column("sha256", String(64), ForeignKey("recordings.sha256"), nullable=False, index=True),
    Column("asked", JSON, nullable=False),
    Column("document", JSON, nullable=False),
    Column("grade", Text, nullable=False),
    Column("judged_at", DateTime, nullable=False),
    # A later version may judge a recording anew; what it said before stays on record.
    Column("stands", Boolean, nullable=False),
)

# What was said before, of a visit, a bike or a bearing: one of the three is given.
changes = Table(
    "changes",
    metadata,
    _number(),
    Column("visit", Integer, ForeignKey("visits.number"), index=True),
    Column("bike", Integer, ForeignKey("bikes.number"), index=True),
    Column("bearing", Integer, ForeignKey("bearings.number"), index=True),
    Column("changed_at", DateTime, nullable=False),
    Column("field", Text, nullable=False),
    _text("was"),
    _text("became"),
    _text("because"),
)

# What the book says about itself, by name: "branch".
about = Table("about", metadata, Column("name", String(32), primary_key=True), _text("words"))
