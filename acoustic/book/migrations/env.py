"""Run the steps on the connection that the book was opened with."""

from __future__ import annotations

from alembic import context

from acoustic.book.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
with context.begin_transaction():
    context.run_migrations()
