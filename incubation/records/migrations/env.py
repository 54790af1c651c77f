"""Run by Alembic: uses the connection, and the transaction, that the program has opened."""

from __future__ import annotations

from alembic import context

from incubation.records.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=False,  # tables that refuse changes are never copied over
)
with context.begin_transaction():
    context.run_migrations()
