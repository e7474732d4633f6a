"""Runs the store's migrations on the connection that `upgrade` opened."""

from __future__ import annotations

from alembic import context

from pipeline.store.tables import Base

context.configure(connection=context.config.attributes["connection"], target_metadata=Base.metadata)
with context.begin_transaction():
    context.run_migrations()
