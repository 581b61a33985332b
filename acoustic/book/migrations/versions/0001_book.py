"""The first book: bikes, the bearings in them, visits, recordings, verdicts, changes."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make all tables."""
    op.create_table(
        "bikes",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_bikes")),
        sa.UniqueConstraint("name", name=op.f("uq_bikes_name")),
        sa.UniqueConstraint("uid", name=op.f("uq_bikes_uid")),
    )
    op.create_table(
        "recordings",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("suffix", sa.Text(), server_default="", nullable=False),
        sa.Column("name", sa.Text(), server_default="", nullable=False),
        sa.Column("bytes", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_recordings")),
    )
    op.create_table(
        "bearings",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("bike", sa.Integer(), nullable=False),
        sa.Column("side", sa.Text(), server_default="", nullable=False),
        sa.Column("designation", sa.Text(), server_default="", nullable=False),
        sa.Column("rows", sa.Integer(), nullable=True),
        sa.Column("seal", sa.Text(), server_default="", nullable=False),
        sa.Column("shell", sa.Text(), server_default="", nullable=False),
        sa.Column("shell_width_mm", sa.Float(), nullable=True),
        sa.Column("bore_mm", sa.Float(), nullable=True),
        sa.Column("spindle_mm", sa.Float(), nullable=True),
        sa.Column("use", sa.Text(), server_default="", nullable=False),
        sa.Column("installed_on", sa.Date(), nullable=False),
        sa.Column("removed_on", sa.Date(), nullable=True),
        sa.Column("removed_because", sa.Text(), server_default="", nullable=False),
        sa.Column("notes", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["bike"], ["bikes.number"], name=op.f("fk_bearings_bike")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_bearings")),
        sa.UniqueConstraint("uid", name=op.f("uq_bearings_uid")),
    )
    op.create_index(op.f("ix_bearings_bike"), "bearings", ["bike"], unique=False)
    op.create_table(
        "visits",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("bike", sa.Integer(), nullable=False),
        sa.Column("bearing", sa.Integer(), nullable=True),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("done", sa.Text(), nullable=False),
        sa.Column("distance_km", sa.Float(), nullable=True),
        sa.Column("recorder", sa.Text(), server_default="", nullable=False),
        sa.Column("notes", sa.Text(), server_default="", nullable=False),
        sa.Column("removed_because", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["bearing"], ["bearings.number"], name=op.f("fk_visits_bearing")),
        sa.ForeignKeyConstraint(["bike"], ["bikes.number"], name=op.f("fk_visits_bike")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_visits")),
        sa.UniqueConstraint("uid", name=op.f("uq_visits_uid")),
    )
    op.create_index(op.f("ix_visits_bike"), "visits", ["bike"], unique=False)
    op.create_index(op.f("ix_visits_on_date"), "visits", ["on_date"], unique=False)
    op.create_table(
        "changes",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("visit", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.DateTime(), nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("was", sa.Text(), server_default="", nullable=False),
        sa.Column("became", sa.Text(), server_default="", nullable=False),
        sa.Column("because", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.number"], name=op.f("fk_changes_visit")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_changes")),
    )
    op.create_index(op.f("ix_changes_visit"), "changes", ["visit"], unique=False)
    op.create_table(
        "verdicts",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("visit", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("asked", sa.JSON(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("grade", sa.Text(), nullable=False),
        sa.Column("judged_at", sa.DateTime(), nullable=False),
        sa.Column("stands", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["sha256"], ["recordings.sha256"], name=op.f("fk_verdicts_sha256")),
        sa.ForeignKeyConstraint(["visit"], ["visits.number"], name=op.f("fk_verdicts_visit")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_verdicts")),
    )
    op.create_index(op.f("ix_verdicts_visit"), "verdicts", ["visit"], unique=False)
