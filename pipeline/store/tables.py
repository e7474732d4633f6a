"""The tables of the store. Moments are ISO 8601 texts in UTC, so that both databases sort and compare them alike."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import BigInteger, Boolean, Float, ForeignKey, Index, Integer, String, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

FILE = {"file": True}
"""Marks a column whose values are hashes of files in the store: what checks, copies and removes files goes by it."""
SERIAL = BigInteger().with_variant(Integer, "sqlite")


def now() -> str:
    """The present moment, ISO 8601 in UTC, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class Base(DeclarativeBase):
    """Base of all tables."""


class RecordingRow(Base):
    """One uploaded recording or text. Its bytes lie in the files under `sha256` as long as `kept`.

    `state` is waiting, hearing, heard or failed; `heard` the hash of what was heard, `peaks` of its loudness strip,
    `playable` of a copy for browsers that cannot play the original. `claim` names who works on it, or did last.
    """

    __tablename__ = "recording"
    __table_args__ = (UniqueConstraint("sha256", "owner"),)

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    batch: Mapped[str] = mapped_column(String(32), index=True)
    position: Mapped[int] = mapped_column(Integer)
    file_name: Mapped[str] = mapped_column(Text)
    sha256: Mapped[str] = mapped_column(String(64), index=True, info=FILE)
    size: Mapped[int] = mapped_column(BigInteger)
    file_time: Mapped[str | None] = mapped_column(String(32))
    one_job: Mapped[bool] = mapped_column(Boolean, default=False)
    hearing: Mapped[str] = mapped_column(String(16), default="careful")
    state: Mapped[str] = mapped_column(String(16), default="waiting", index=True)
    reason: Mapped[str | None] = mapped_column(Text)
    tries: Mapped[int] = mapped_column(Integer, default=0)
    run_id: Mapped[str | None] = mapped_column(String(64))
    done_s: Mapped[float] = mapped_column(Float, default=0.0)
    all_s: Mapped[float] = mapped_column(Float, default=0.0)
    heard_since: Mapped[str | None] = mapped_column(String(32))
    claim: Mapped[str | None] = mapped_column(String(96))
    queued_at: Mapped[str | None] = mapped_column(String(32))
    heard_at: Mapped[str | None] = mapped_column(String(32))
    heard: Mapped[str | None] = mapped_column(String(64), info=FILE)
    duration_s: Mapped[float | None] = mapped_column(Float)
    peaks: Mapped[str | None] = mapped_column(String(64), info=FILE)
    playable: Mapped[str | None] = mapped_column(String(64), info=FILE)
    kept: Mapped[bool] = mapped_column(Boolean, default=True)
    owner: Mapped[str] = mapped_column(String(64), index=True)
    created_at: Mapped[str] = mapped_column(String(32), default=now)


class JobRow(Base):
    """One job. `job_state` is the machine's work on it, `review` a person's."""

    __tablename__ = "job"
    __table_args__ = (UniqueConstraint("first_recording", "ordinal"),)

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    batch: Mapped[str] = mapped_column(String(32), index=True)
    first_recording: Mapped[str] = mapped_column(ForeignKey("recording.id"))
    ordinal: Mapped[int] = mapped_column(Integer, default=1)
    joined_to: Mapped[str | None] = mapped_column(String(32))
    name: Mapped[str] = mapped_column(Text)
    owner: Mapped[str] = mapped_column(String(64), index=True)
    job_state: Mapped[str] = mapped_column(String(16), default="waiting", index=True)
    review: Mapped[str] = mapped_column(String(16), default="draft", index=True)
    reason: Mapped[str | None] = mapped_column(Text)
    draft_key: Mapped[str | None] = mapped_column(String(64), info=FILE)
    machine_id: Mapped[str | None] = mapped_column(ForeignKey("machine.id"), index=True)
    title: Mapped[str] = mapped_column(Text, default="")
    customer: Mapped[str] = mapped_column(Text, default="")
    site: Mapped[str] = mapped_column(Text, default="")
    serial: Mapped[str] = mapped_column(Text, default="")
    model: Mapped[str] = mapped_column(Text, default="")
    visit_day: Mapped[str | None] = mapped_column(String(10), index=True)
    doubts: Mapped[int] = mapped_column(Integer, default=0)
    outside: Mapped[int] = mapped_column(Integer, default=0)
    gaps: Mapped[int] = mapped_column(Integer, default=0)
    hold: Mapped[bool] = mapped_column(Boolean, default=False)
    created_at: Mapped[str] = mapped_column(String(32), default=now, index=True)
    updated_at: Mapped[str] = mapped_column(String(32), default=now)


class JobRecordingRow(Base):
    """Which recordings a job was made of, in the order of its draft."""

    __tablename__ = "job_recording"

    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(Integer, primary_key=True)
    recording_id: Mapped[str] = mapped_column(ForeignKey("recording.id"), index=True)


class EditRow(Base):
    """One edit, never changed or removed while the job stands."""

    __tablename__ = "edit"

    seq: Mapped[int] = mapped_column(SERIAL, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(64))
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    body: Mapped[str] = mapped_column(Text)

    __table_args__ = (UniqueConstraint("job_id", "id"),)


class PaperRow(Base):
    """One made file of a report. A sent one is kept as it was, under its digest."""

    __tablename__ = "paper"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    issue: Mapped[int] = mapped_column(Integer)
    name: Mapped[str] = mapped_column(Text)
    sha256: Mapped[str] = mapped_column(String(64), info=FILE)
    size: Mapped[int] = mapped_column(BigInteger)
    made_at: Mapped[str] = mapped_column(String(32), default=now)
    made_by: Mapped[str] = mapped_column(String(64))


class PictureRow(Base):
    """A picture that a person added to a job. What of them is shown, the edits say."""

    __tablename__ = "picture"

    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True, info=FILE)


class MachineRow(Base):
    """One machine of a customer."""

    __tablename__ = "machine"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    type: Mapped[str] = mapped_column(Text, default="")
    make: Mapped[str] = mapped_column(Text, default="")
    model: Mapped[str] = mapped_column(Text, default="")
    serial: Mapped[str] = mapped_column(Text, default="")
    serial_key: Mapped[str] = mapped_column(Text, default="", index=True)
    refrigerant: Mapped[str] = mapped_column(Text, default="")
    site: Mapped[str] = mapped_column(Text, default="")
    location: Mapped[str] = mapped_column(Text, default="")
    customer: Mapped[str] = mapped_column(Text, default="")
    created_at: Mapped[str] = mapped_column(String(32), default=now)


class LikenessRow(Base):
    """A machine that a job may be about, put to a person; never decided by the program."""

    __tablename__ = "likeness"

    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), primary_key=True)
    machine_id: Mapped[str] = mapped_column(ForeignKey("machine.id", ondelete="CASCADE"), primary_key=True)
    why: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(String(16), default="open")


class FigureRow(Base):
    """A reading of a job as its machine's history shows it; written anew whenever the job changes."""

    __tablename__ = "figure"

    seq: Mapped[int] = mapped_column(SERIAL, primary_key=True, autoincrement=True)
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    machine_id: Mapped[str | None] = mapped_column(String(32), index=True)
    day: Mapped[str] = mapped_column(String(10))
    fact_id: Mapped[str] = mapped_column(String(16))
    quantity: Mapped[str] = mapped_column(String(32))
    subject: Mapped[str] = mapped_column(Text)
    place: Mapped[str] = mapped_column(Text, default="")
    role: Mapped[str] = mapped_column(String(16))
    stage: Mapped[str] = mapped_column(String(16), default="")
    qualifiers: Mapped[str] = mapped_column(Text, default="")
    value: Mapped[float] = mapped_column(Float)
    unit: Mapped[str] = mapped_column(String(16), default="")
    doubtful: Mapped[bool] = mapped_column(Boolean, default=False)


class FollowUpRow(Base):
    """Something to come back for."""

    __tablename__ = "follow_up"

    seq: Mapped[int] = mapped_column(SERIAL, primary_key=True, autoincrement=True)
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    machine_id: Mapped[str | None] = mapped_column(String(32), index=True)
    text: Mapped[str] = mapped_column(Text)
    when_said: Mapped[str] = mapped_column(Text, default="")
    due: Mapped[str | None] = mapped_column(String(10), index=True)
    done_at: Mapped[str | None] = mapped_column(String(32))
    done_by: Mapped[str | None] = mapped_column(String(64))


class SearchRow(Base):
    """Everything said and written about a job, folded; the index over it is the database's own."""

    __tablename__ = "search"

    seq: Mapped[int] = mapped_column(SERIAL, primary_key=True, autoincrement=True)
    job_id: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), unique=True)
    folded: Mapped[str] = mapped_column(Text)


class AuditRow(Base):
    """Who did or read what, when and from where. The database refuses to change or remove a line."""

    __tablename__ = "audit"
    __table_args__ = (Index("audit_job", "job_id", "seq"),)

    seq: Mapped[int] = mapped_column(SERIAL, primary_key=True, autoincrement=True)
    at: Mapped[str] = mapped_column(String(32), default=now)
    who: Mapped[str] = mapped_column(String(64))
    what: Mapped[str] = mapped_column(String(32))
    job_id: Mapped[str | None] = mapped_column(String(32))
    detail: Mapped[str] = mapped_column(Text, default="")
    origin: Mapped[str] = mapped_column(String(64), default="", server_default="")
