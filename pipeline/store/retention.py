"""How long things are kept: recordings so many days, jobs with their papers so many years, what is on hold for ever.

A recording of a job that nobody has checked yet stays, since its figures can be heard nowhere else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from pipeline.errors import InputError
from pipeline.log import say
from pipeline.store import jobs
from pipeline.store.files import ObjectFiles
from pipeline.store.forgetting import forget
from pipeline.store.named import is_named, named_files
from pipeline.store.store import Store, note
from pipeline.store.tables import JobRecordingRow, JobRow, RecordingRow
from pipeline.store.tables_engine import RemovedRow

STRAY_AFTER_S = 48 * 3600
WHO = "retention"


@dataclass(frozen=True)
class Keeping:
    """Days that recordings, and years that jobs with their papers are kept; None for as long as the store is."""

    recording_days: int | None = 90
    paper_years: int | None = 7


@dataclass(frozen=True)
class Due:
    """What is to go: recordings (their sound), and jobs whole. `unchecked` recordings would go if they were checked."""

    recordings: tuple[str, ...]
    jobs: tuple[str, ...]
    unchecked: int


def due(session: Session, keeping: Keeping, today: date) -> Due:
    """What is older than it is to be, and not on hold."""
    old: list[str] = []
    unchecked = 0
    if keeping.recording_days is not None:
        before = (today - timedelta(days=keeping.recording_days)).isoformat()
        for recording_id in session.scalars(
            select(RecordingRow.id).where(RecordingRow.kept.is_(True), RecordingRow.created_at < before)
        ):
            rows = _jobs_with(session, recording_id)
            if any(row.hold for row in rows):
                continue
            if any(row.review == "draft" for row in rows):
                unchecked += 1
            else:
                old.append(recording_id)
    gone: list[str] = []
    if keeping.paper_years is not None:
        gone = [row.id for row in jobs.older_than(session, _years_before(today, keeping.paper_years))]
    return Due(tuple(old), tuple(gone), unchecked)


def _years_before(day: date, years: int) -> str:
    return f"{day.year - years:04}{day.isoformat()[4:]}"


def _jobs_with(session: Session, recording_id: str) -> Sequence[JobRow]:
    with_it = select(JobRecordingRow.job_id).where(JobRecordingRow.recording_id == recording_id)
    of_it = JobRow.id.in_(with_it) | (JobRow.first_recording == recording_id)
    return session.scalars(select(JobRow).where(of_it, JobRow.joined_to.is_(None))).all()


def expire(store: Store, found: Due) -> None:
    """Removes what is due for good: the sound of recordings, whose words stay, and jobs with all that is theirs."""
    for recording_id in found.recordings:
        with store.database.writing() as session:
            row = session.get(RecordingRow, recording_id)
            if row is None or any(job.hold for job in _jobs_with(session, recording_id)):
                continue
            keys = [key for key in (row.sha256, row.peaks, row.playable) if key]
            row.kept, row.peaks, row.playable = False, None, None
            session.flush()
            keys = [key for key in keys if not is_named(session, key)]
            session.add_all(RemovedRow(kind="file", key=key) for key in keys)
            note(session, WHO, "expire:recording", jobs.job_of(session, row))
        for key in keys:
            store.files.remove(key)
    for job_id in found.jobs:
        try:
            forget(store, [job_id], WHO)
        except InputError as fault:
            # Put on hold, or removed by a person, in between.
            say("not-expired", job_id, code=fault.code)
    say("expired", count=len(found.recordings) + len(found.jobs))


def sweep(store: Store, *, older_than_s: float = STRAY_AFTER_S) -> int:
    """Removes files that no row names: earlier drafts, and what a kill left. Gives how many.

    Not the young ones, since a file comes before the row that names it.
    """
    with store.database.reading() as session:
        named = {sha256 for sha256, _ in named_files(session)}
    swept = 0
    for sha256 in store.files.older(older_than_s):
        if sha256 in named:
            continue
        with store.database.reading() as session:
            if is_named(session, sha256):
                continue
        store.files.remove(sha256)
        swept += 1
    return swept


def tidy(store: Store, keeping: Keeping, today: date) -> bool:
    """Once a day, whichever worker comes first: removes what is due and what nothing names; gives whether it did."""
    if isinstance(store.files, ObjectFiles):
        store.files.sweep()
    with store.database.writing() as session:
        session.execute(
            text("INSERT INTO tally (name, value) VALUES ('tidied', 0) ON CONFLICT (name) DO NOTHING"),
        )
        moved = session.execute(
            text("UPDATE tally SET value = :day WHERE name = 'tidied' AND value < :day"), {"day": today.toordinal()}
        )
        if not getattr(moved, "rowcount", 0):
            return False
    with store.database.reading() as session:
        found = due(session, keeping, today)
    expire(store, found)
    sweep(store)
    return True


def hold(session: Session, job_id: str, on: bool, who: str, why: str = "") -> None:
    """Puts a job on hold, so that neither a person nor time removes it or its recordings, or takes the hold off."""
    row = session.get(JobRow, job_id)
    if row is None:
        raise jobs.no_such_job()
    row.hold = on
    note(session, who, "hold" if on else "hold:off", job_id, why)
