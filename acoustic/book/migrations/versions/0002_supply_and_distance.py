"""Where a bearing came from, and the bike's own count when it went in and came out."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns; what is not on record stays empty."""
    op.add_column("bearings", sa.Column("supplier", sa.Text(), server_default="", nullable=False))
    op.add_column("bearings", sa.Column("lot", sa.Text(), server_default="", nullable=False))
    op.add_column("bearings", sa.Column("installed_km", sa.Float(), nullable=True))
    op.add_column("bearings", sa.Column("removed_km", sa.Float(), nullable=True))
