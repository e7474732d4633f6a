"""The tables of people: who may sign in, who is signed in, what was tried, and what a script may do."""

from __future__ import annotations

from sqlalchemy import Boolean, ForeignKey, Integer, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from pipeline.store.tables import SERIAL, Base, now


class PersonRow(Base):
    """Somebody who may sign in. `key` is the folded name, `password` an argon2id hash with its own settings.

    `start_until` is set while the password is one that somebody else was shown: it ends then, and has to be changed
    at the first sign-in. `totp` is the shared secret of the second factor (base32, empty for none), `totp_step` the
    last time step that was used, so that no code works twice.
    """

    __tablename__ = "person"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    name: Mapped[str] = mapped_column(String(64))
    key: Mapped[str] = mapped_column(String(64), unique=True)
    role: Mapped[str] = mapped_column(String(16))
    password: Mapped[str] = mapped_column(Text)
    start_until: Mapped[str | None] = mapped_column(String(32))
    disabled: Mapped[bool] = mapped_column(Boolean, default=False)
    totp: Mapped[str] = mapped_column(String(64), default="")
    totp_step: Mapped[int] = mapped_column(Integer, default=0)
    created_at: Mapped[str] = mapped_column(String(32), default=now)


class SessionRow(Base):
    """One browser of a person. `token` is the SHA-256 of what its cookie holds."""

    __tablename__ = "session"

    token: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[str] = mapped_column(ForeignKey("person.id", ondelete="CASCADE"), index=True)
    origin: Mapped[str] = mapped_column(String(64))
    since: Mapped[str] = mapped_column(String(32))
    seen: Mapped[str] = mapped_column(String(32))


class TryRow(Base):
    """Failed sign-ins of one kind in a row, and until when the next is refused."""

    __tablename__ = "sign_in_try"

    key: Mapped[str] = mapped_column(String(80), primary_key=True)
    failures: Mapped[int] = mapped_column(Integer)
    last: Mapped[str] = mapped_column(String(32))
    until: Mapped[str] = mapped_column(String(32))


class RecoveryRow(Base):
    """A code that takes the place of the second factor once. `code` is its SHA-256."""

    __tablename__ = "recovery_code"

    code: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[str] = mapped_column(ForeignKey("person.id", ondelete="CASCADE"), index=True)


class UploadTokenRow(Base):
    """What a script of a person may upload with. `token` is the SHA-256 of what was shown once."""

    __tablename__ = "upload_token"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    person_id: Mapped[str] = mapped_column(ForeignKey("person.id", ondelete="CASCADE"), index=True)
    name: Mapped[str] = mapped_column(String(64))
    token: Mapped[str] = mapped_column(String(64), unique=True)
    made_at: Mapped[str] = mapped_column(String(32), default=now)
    used_at: Mapped[str | None] = mapped_column(String(32))


class ServiceNameRow(Base):
    """A person's account at the sign-in service. `key` is the SHA-256 of the service's address and its name for him."""

    __tablename__ = "service_name"

    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[str] = mapped_column(ForeignKey("person.id", ondelete="CASCADE"), index=True)


class PlannedRow(Base):
    """One line of a day's list that the office brought, whose `technician` and matched `job_id` are ours.

    `key` is the folded customer, site and reference, so that the same line brought twice is one.
    """

    __tablename__ = "planned_job"

    seq: Mapped[int] = mapped_column(SERIAL, primary_key=True, autoincrement=True)
    day: Mapped[str] = mapped_column(String(10), index=True)
    technician: Mapped[str] = mapped_column(ForeignKey("person.id", ondelete="CASCADE"), index=True)
    customer: Mapped[str] = mapped_column(Text)
    site: Mapped[str] = mapped_column(Text)
    reference: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(String(64), unique=True)
    job_id: Mapped[str | None] = mapped_column(ForeignKey("job.id", ondelete="SET NULL"), index=True)
    matched_by: Mapped[str] = mapped_column(String(64), default="")
