"""Counts that only grow, kept in the transaction of the deed that they count."""

from __future__ import annotations

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from pipeline.store.tables_engine import TallyRow


def count(session: Session, name: str, by: float = 1.0) -> None:
    """Adds to a count."""
    session.execute(
        text(
            "INSERT INTO tally (name, value) VALUES (:name, :by) "
            "ON CONFLICT (name) DO UPDATE SET value = tally.value + excluded.value"
        ),
        {"name": name, "by": by},
    )


def counts(session: Session) -> dict[str, float]:
    """All counts by their names."""
    return {row.name: row.value for row in session.scalars(select(TallyRow))}
