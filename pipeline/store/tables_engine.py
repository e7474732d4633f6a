"""Tables of the running of it: workers, counts that only grow, backups, and what was removed for good."""

from __future__ import annotations

from sqlalchemy import BigInteger, Float, Integer, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from pipeline.store.tables import SERIAL, Base, now


class WorkerRow(Base):
    """One worker process. `beat` grows while it lives and reaches the database; it works on one job at a time."""

    __tablename__ = "worker"

    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    host: Mapped[str] = mapped_column(String(64))
    started_at: Mapped[str] = mapped_column(String(32), default=now)
    beat: Mapped[int] = mapped_column(BigInteger, default=0)


class TallyRow(Base):
    """A count that only grows, for the metrics: it must not sink when jobs are removed."""

    __tablename__ = "tally"

    name: Mapped[str] = mapped_column(String(32), primary_key=True)
    value: Mapped[float] = mapped_column(Float, default=0.0)


class BackupRow(Base):
    """Where a backup was written, so that what is removed later is removed there too."""

    __tablename__ = "backup"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    target: Mapped[str] = mapped_column(Text)
    made_at: Mapped[str] = mapped_column(String(32), default=now)


class RemovedRow(Base):
    """Something removed for good: a job, a recording or a file (its sha256). It says nothing of what was in it.

    `reached` counts the backups from which it was taken out as well.
    """

    __tablename__ = "removed"

    seq: Mapped[int] = mapped_column(SERIAL, primary_key=True, autoincrement=True)
    kind: Mapped[str] = mapped_column(String(16))
    key: Mapped[str] = mapped_column(String(64), index=True)
    at: Mapped[str] = mapped_column(String(32), default=now)
    reached: Mapped[int] = mapped_column(Integer, default=0)
