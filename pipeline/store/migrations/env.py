"""Runs the store's migrations on the connection that `upgrade` opened."""

from __future__ import annotations

from alembic import context

from pipeline.store.tables_people import PersonRow

context.configure(connection=context.config.attributes["connection"], target_metadata=PersonRow.metadata)
with context.begin_transaction():
    context.run_migrations()
