"""People, their sessions and tokens, the day's list; the audit trail says from where and can only be added to."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010_people"
down_revision = "0001"

SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
KEPT = "the audit trail can only be added to"


def upgrade() -> None:
    """Makes the tables of people and guards the audit trail."""
    op.create_table(
        "person",
        sa.Column("id", sa.String(length=32), primary_key=True),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False, unique=True),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("password", sa.Text(), nullable=False),
        sa.Column("start_until", sa.String(length=32), nullable=True),
        sa.Column("disabled", sa.Boolean(), nullable=False),
        sa.Column("totp", sa.String(length=64), nullable=False),
        sa.Column("totp_step", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.String(length=32), nullable=False),
    )
    op.create_table(
        "session",
        sa.Column("token", sa.String(length=64), primary_key=True),
        _person(),
        sa.Column("origin", sa.String(length=64), nullable=False),
        sa.Column("since", sa.String(length=32), nullable=False),
        sa.Column("seen", sa.String(length=32), nullable=False),
    )
    op.create_index("ix_session_person_id", "session", ["person_id"])
    op.create_table(
        "sign_in_try",
        sa.Column("key", sa.String(length=80), primary_key=True),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("last", sa.String(length=32), nullable=False),
        sa.Column("until", sa.String(length=32), nullable=False),
    )
    op.create_table(
        "recovery_code",
        sa.Column("code", sa.String(length=64), primary_key=True),
        _person(),
    )
    op.create_index("ix_recovery_code_person_id", "recovery_code", ["person_id"])
    op.create_table(
        "upload_token",
        sa.Column("id", sa.String(length=32), primary_key=True),
        _person(),
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("token", sa.String(length=64), nullable=False, unique=True),
        sa.Column("made_at", sa.String(length=32), nullable=False),
        sa.Column("used_at", sa.String(length=32), nullable=True),
    )
    op.create_index("ix_upload_token_person_id", "upload_token", ["person_id"])
    op.create_table(
        "planned_job",
        sa.Column("seq", SERIAL, autoincrement=True, nullable=False),
        sa.Column("day", sa.String(length=10), nullable=False),
        sa.Column("technician", sa.String(length=32), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("reference", sa.Text(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False, unique=True),
        sa.Column("job_id", sa.String(length=32), nullable=True),
        sa.Column("matched_by", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["technician"], ["person.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("seq"),
    )
    for name in ("day", "technician", "job_id"):
        op.create_index(f"ix_planned_job_{name}", "planned_job", [name])
    op.add_column("audit", sa.Column("origin", sa.String(length=64), nullable=False, server_default=""))
    if op.get_bind().dialect.name == "sqlite":
        for deed in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER audit_no_{deed.lower()} BEFORE {deed} ON audit "
                f"BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
            )
    else:
        op.execute(
            "CREATE FUNCTION audit_kept() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{KEPT}'; END $$"
        )
        op.execute(
            "CREATE TRIGGER audit_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON audit "
            "FOR EACH STATEMENT EXECUTE FUNCTION audit_kept()"
        )


def _person() -> sa.Column[str]:
    return sa.Column("person_id", sa.String(32), sa.ForeignKey("person.id", ondelete="CASCADE"), nullable=False)
