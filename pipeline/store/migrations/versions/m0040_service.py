"""Whom another sign-in service (OpenID Connect) means by its name for a person."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0040"
down_revision = "0030"


def upgrade() -> None:
    """Makes the table."""
    op.create_table(
        "service_name",
        sa.Column("key", sa.String(length=64), primary_key=True),
        sa.Column("person_id", sa.String(32), sa.ForeignKey("person.id", ondelete="CASCADE"), nullable=False),
    )
    op.create_index("ix_service_name_person_id", "service_name", ["person_id"])
