"""The first tables, and the index over what was said and written."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

SERIAL = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Makes all tables."""
    op.create_table(
        "audit",
        sa.Column("seq", SERIAL, autoincrement=True, nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.Column("who", sa.String(length=64), nullable=False),
        sa.Column("what", sa.String(length=32), nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=True),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("seq"),
    )
    op.create_index("audit_job", "audit", ["job_id", "seq"], unique=False)
    op.create_table(
        "machine",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("make", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("serial_key", sa.Text(), nullable=False),
        sa.Column("refrigerant", sa.Text(), nullable=False),
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("location", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_machine_serial_key", "machine", ["serial_key"], unique=False)
    op.create_table(
        "recording",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("batch", sa.String(length=32), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("file_time", sa.String(length=32), nullable=True),
        sa.Column("one_job", sa.Boolean(), nullable=False),
        sa.Column("hearing", sa.String(length=16), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.String(length=64), nullable=True),
        sa.Column("done_s", sa.Float(), nullable=False),
        sa.Column("all_s", sa.Float(), nullable=False),
        sa.Column("heard_since", sa.String(length=32), nullable=True),
        sa.Column("heard", sa.String(length=64), nullable=True),
        sa.Column("duration_s", sa.Float(), nullable=True),
        sa.Column("peaks", sa.String(length=64), nullable=True),
        sa.Column("playable", sa.String(length=64), nullable=True),
        sa.Column("kept", sa.Boolean(), nullable=False),
        sa.Column("owner", sa.String(length=64), nullable=False),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("sha256", "owner"),
    )
    op.create_index("ix_recording_batch", "recording", ["batch"], unique=False)
    op.create_index("ix_recording_owner", "recording", ["owner"], unique=False)
    op.create_index("ix_recording_sha256", "recording", ["sha256"], unique=False)
    op.create_index("ix_recording_state", "recording", ["state"], unique=False)
    op.create_table(
        "job",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("batch", sa.String(length=32), nullable=False),
        sa.Column("first_recording", sa.String(length=32), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("joined_to", sa.String(length=32), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("owner", sa.String(length=64), nullable=False),
        sa.Column("job_state", sa.String(length=16), nullable=False),
        sa.Column("review", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("draft_key", sa.String(length=64), nullable=True),
        sa.Column("machine_id", sa.String(length=32), nullable=True),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("visit_day", sa.String(length=10), nullable=True),
        sa.Column("doubts", sa.Integer(), nullable=False),
        sa.Column("outside", sa.Integer(), nullable=False),
        sa.Column("gaps", sa.Integer(), nullable=False),
        sa.Column("hold", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.Column("updated_at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["first_recording"], ["recording.id"]),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("first_recording", "ordinal"),
    )
    op.create_index("ix_job_batch", "job", ["batch"], unique=False)
    op.create_index("ix_job_created_at", "job", ["created_at"], unique=False)
    op.create_index("ix_job_job_state", "job", ["job_state"], unique=False)
    op.create_index("ix_job_machine_id", "job", ["machine_id"], unique=False)
    op.create_index("ix_job_owner", "job", ["owner"], unique=False)
    op.create_index("ix_job_review", "job", ["review"], unique=False)
    op.create_index("ix_job_visit_day", "job", ["visit_day"], unique=False)
    op.create_table(
        "edit",
        sa.Column("seq", SERIAL, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("seq"),
        sa.UniqueConstraint("job_id", "id"),
    )
    op.create_index("ix_edit_job_id", "edit", ["job_id"], unique=False)
    op.create_table(
        "figure",
        sa.Column("seq", SERIAL, autoincrement=True, nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("machine_id", sa.String(length=32), nullable=True),
        sa.Column("day", sa.String(length=10), nullable=False),
        sa.Column("fact_id", sa.String(length=16), nullable=False),
        sa.Column("quantity", sa.String(length=32), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("stage", sa.String(length=16), nullable=False),
        sa.Column("qualifiers", sa.Text(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("unit", sa.String(length=16), nullable=False),
        sa.Column("doubtful", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("seq"),
    )
    op.create_index("ix_figure_job_id", "figure", ["job_id"], unique=False)
    op.create_index("ix_figure_machine_id", "figure", ["machine_id"], unique=False)
    op.create_table(
        "follow_up",
        sa.Column("seq", SERIAL, autoincrement=True, nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("machine_id", sa.String(length=32), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("when_said", sa.Text(), nullable=False),
        sa.Column("due", sa.String(length=10), nullable=True),
        sa.Column("done_at", sa.String(length=32), nullable=True),
        sa.Column("done_by", sa.String(length=64), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("seq"),
    )
    op.create_index("ix_follow_up_due", "follow_up", ["due"], unique=False)
    op.create_index("ix_follow_up_job_id", "follow_up", ["job_id"], unique=False)
    op.create_index("ix_follow_up_machine_id", "follow_up", ["machine_id"], unique=False)
    op.create_table(
        "job_recording",
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"]),
        sa.PrimaryKeyConstraint("job_id", "position"),
    )
    op.create_index("ix_job_recording_recording_id", "job_recording", ["recording_id"], unique=False)
    op.create_table(
        "likeness",
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("machine_id", sa.String(length=32), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "machine_id"),
    )
    op.create_table(
        "paper",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("issue", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("made_at", sa.String(length=32), nullable=False),
        sa.Column("made_by", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_paper_job_id", "paper", ["job_id"], unique=False)
    op.create_table(
        "search",
        sa.Column("seq", SERIAL, autoincrement=True, nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("folded", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("seq"),
        sa.UniqueConstraint("job_id"),
    )
    if op.get_bind().dialect.name == "sqlite":
        _sqlite_index()
    else:
        _postgresql_index()


def _sqlite_index() -> None:
    # The index keeps no second copy of the text; triggers keep it in step with the table.
    op.execute(
        "CREATE VIRTUAL TABLE search_index USING fts5"
        "(folded, content='search', content_rowid='seq', tokenize='unicode61', prefix='2 3')"
    )
    op.execute(
        "CREATE TRIGGER search_added AFTER INSERT ON search BEGIN "
        "INSERT INTO search_index(rowid, folded) VALUES (new.seq, new.folded); END"
    )
    op.execute(
        "CREATE TRIGGER search_removed AFTER DELETE ON search BEGIN "
        "INSERT INTO search_index(search_index, rowid, folded) VALUES ('delete', old.seq, old.folded); END"
    )
    op.execute(
        "CREATE TRIGGER search_changed AFTER UPDATE ON search BEGIN "
        "INSERT INTO search_index(search_index, rowid, folded) VALUES ('delete', old.seq, old.folded); "
        "INSERT INTO search_index(rowid, folded) VALUES (new.seq, new.folded); END"
    )


def _postgresql_index() -> None:
    # 'simple' neither stems nor drops words: the text was folded by the program, as for SQLite.
    op.execute(
        "ALTER TABLE search ADD COLUMN words tsvector GENERATED ALWAYS AS (to_tsvector('simple', folded)) STORED"
    )
    op.execute("CREATE INDEX search_words ON search USING gin (words)")
