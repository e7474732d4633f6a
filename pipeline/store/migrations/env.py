"""Runs the store's migrations on the connection that `upgrade` opened."""

from __future__ import annotations

from alembic import context

import pipeline.store.tables_engine
import pipeline.store.tables_people  # noqa: F401  (only tables of modules that are imported are known)
from pipeline.store.tables import Base

context.configure(connection=context.config.attributes["connection"], target_metadata=Base.metadata)
with context.begin_transaction():
    context.run_migrations()
