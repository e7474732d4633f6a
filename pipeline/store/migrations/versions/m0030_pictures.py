"""Pictures that people add to a job."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0030"
down_revision = "0020"


def upgrade() -> None:
    """Makes the table."""
    op.create_table(
        "picture",
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "sha256"),
    )
