"""Tables of the running of it: workers, counts that only grow, backups, and what was removed for good."""

from __future__ import annotations

from sqlalchemy import BigInteger, Float, String
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
    """A folder that holds backups, so that what is removed later is removed there too, up to `removed.seq` so far."""

    __tablename__ = "backup"

    target: Mapped[str] = mapped_column(String(1000), primary_key=True)
    made_at: Mapped[str] = mapped_column(String(32), default=now)
    reached: Mapped[int] = mapped_column(BigInteger, default=0)


class RemovedRow(Base):
    """Something removed for good: a job, recording or machine (its id), or a file (its sha256). Nothing else of it."""

    __tablename__ = "removed"

    seq: Mapped[int] = mapped_column(SERIAL, primary_key=True, autoincrement=True)
    kind: Mapped[str] = mapped_column(String(16))
    key: Mapped[str] = mapped_column(String(64), index=True)
    at: Mapped[str] = mapped_column(String(32), default=now)
