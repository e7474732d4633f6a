"""Workers, counts, backups, what was removed; and who works on a recording."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0010_people"

SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Makes the tables. What waits is put in anew, since the order of the job's steps changed."""
    op.create_table(
        "worker",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("host", sa.String(length=64), nullable=False),
        sa.Column("started_at", sa.String(length=32), nullable=False),
        sa.Column("beat", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "tally",
        sa.Column("name", sa.String(length=32), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "backup",
        sa.Column("target", sa.String(length=1000), nullable=False),
        sa.Column("made_at", sa.String(length=32), nullable=False),
        sa.Column("reached", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("target"),
    )
    op.create_table(
        "removed",
        sa.Column("seq", SERIAL, autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.PrimaryKeyConstraint("seq"),
    )
    op.create_index("ix_removed_key", "removed", ["key"], unique=False)
    op.add_column("recording", sa.Column("claim", sa.String(length=96), nullable=True))
    op.add_column("recording", sa.Column("queued_at", sa.String(length=32), nullable=True))
    op.add_column("recording", sa.Column("heard_at", sa.String(length=32), nullable=True))
    op.execute("UPDATE recording SET run_id = NULL, state = 'waiting' WHERE state IN ('waiting', 'hearing')")
