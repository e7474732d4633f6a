"""Which files the rows of the store name: every column that is marked as the hash of a file, whatever its table."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, Table, select
from sqlalchemy.orm import Session

import pipeline.store.tables_engine
import pipeline.store.tables_people  # noqa: F401  (only tables of modules that are imported are known)
from pipeline.store.tables import Base, RecordingRow

METADATA = Base.metadata


def all_tables() -> list[Table]:
    """All tables of the store, those first that others point to."""
    return list(METADATA.sorted_tables)


def named_files(session: Session | Connection) -> Iterator[tuple[str, str]]:
    """Each hash that a row names, with the table and the first key of the row; a hash may come several times.

    The recording itself is not named when it is no longer kept.
    """
    for table in all_tables():
        for column in table.columns:
            if not column.info.get("file"):
                continue
            key = next(iter(table.primary_key))
            query = select(column, key).where(column.is_not(None))
            if table is RecordingRow.__table__ and column.name != "heard":
                query = query.where(RecordingRow.kept.is_(True))
            for sha256, owner in session.execute(query):
                yield str(sha256), f"{table.name} {owner}"


def is_named(session: Session, sha256: str) -> bool:
    """Whether a row names this file."""
    for table in all_tables():
        for column in table.columns:
            if column.info.get("file"):
                query = select(column).where(column == sha256).limit(1)
                if table is RecordingRow.__table__ and column.name != "heard":
                    query = query.where(RecordingRow.kept.is_(True))
                if session.execute(query).first() is not None:
                    return True
    return False
