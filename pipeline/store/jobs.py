"""Jobs and their recordings in the store: taken in, heard, drafted, edited, forgotten."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import cast

from sqlalchemy import delete, func, insert, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from pipeline.draft import Draft, dump, load
from pipeline.edits import Edit, ReviewState, review_after
from pipeline.errors import InputError
from pipeline.ingest import job_name
from pipeline.store import search
from pipeline.store.named import is_named
from pipeline.store.store import Store, new_id, note
from pipeline.store.tables import (
    EditRow,
    FigureRow,
    FollowUpRow,
    JobRecordingRow,
    JobRow,
    LikenessRow,
    MachineRow,
    PaperRow,
    PictureRow,
    RecordingRow,
    now,
)
from pipeline.store.tables_engine import RemovedRow
from pipeline.store.uploads import Upload


@dataclass(frozen=True)
class TakenIn:
    """An upload that is safe. `known`: the same bytes were here already, and the answer names their job."""

    job_id: str
    recording_id: str
    known: bool


@dataclass(frozen=True)
class StoredJob:
    """A job with all that was done to it. `seen` is the number of its last edit, 0 for none."""

    row: JobRow
    recordings: tuple[RecordingRow, ...]
    edits: tuple[Edit, ...] = ()
    seen: int = 0
    likely: tuple[LikenessRow, ...] = ()
    papers: tuple[PaperRow, ...] = ()


@dataclass(frozen=True)
class Facets:
    """What lists, search and history show of a job, read off its draft as a person corrected it."""

    title: str = ""
    customer: str = ""
    site: str = ""
    serial: str = ""
    model: str = ""
    visit_day: str | None = None
    doubts: int = 0
    outside: int = 0
    gaps: int = 0
    said: str = ""
    figures: tuple[FigureRow, ...] = field(default_factory=tuple)
    follow_ups: tuple[FollowUpRow, ...] = field(default_factory=tuple)


def no_such_job() -> InputError:
    """The error for a job that is not there, or not this person's."""
    fault = InputError("no-such-job", "That job is not here.", "It may have been removed; look in the list of jobs.")
    fault.http_status = 404
    return fault


def take_in(store: Store, upload: Upload, batch: str, *, one_job: bool = False, hearing: str = "careful") -> TakenIn:
    """Keeps a finished upload for good and makes its job. The same bytes a second time give the job that is there."""
    path, sha256 = store.uploads.finish(upload)
    if upload.file_time is not None:
        # The time that the phone gave the file: the only hint at the day of a recording that carries none.
        with contextlib.suppress(ValueError, OSError):
            moment = datetime.fromisoformat(upload.file_time).timestamp()
            os.utime(path, (moment, moment))
    store.files.take(path, sha256)
    try:
        taken = _taken(store, upload, sha256, batch, one_job=one_job, hearing=hearing)
    except IntegrityError:
        # The same bytes came in at the same moment over another connection: now they are known.
        taken = _taken(store, upload, sha256, batch, one_job=one_job, hearing=hearing)
    store.uploads.drop(upload)
    return taken


def _taken(store: Store, upload: Upload, sha256: str, batch: str, *, one_job: bool, hearing: str) -> TakenIn:
    with store.database.writing() as session:
        recording = session.scalar(
            select(RecordingRow).where(RecordingRow.sha256 == sha256, RecordingRow.owner == upload.owner)
        )
        known = recording is not None
        if recording is None:
            recording = _new_job(session, upload, sha256, batch, one_job=one_job, hearing=hearing)
        recording.kept = True
        taken = TakenIn(job_of(session, recording), recording.id, known)
        note(session, upload.owner, "upload", taken.job_id, f"sha256 {sha256}")
    return taken


def job_of(session: Session, recording: RecordingRow) -> str:
    """The job that a recording is shown under."""
    job = session.scalar(select(JobRow).where(JobRow.first_recording == recording.id).order_by(JobRow.ordinal))
    if job is None:
        raise no_such_job()
    return job.joined_to or job.id


def _new_job(session: Session, upload: Upload, sha256: str, batch: str, *, one_job: bool, hearing: str) -> RecordingRow:
    position = session.scalar(select(func.count()).select_from(RecordingRow).where(RecordingRow.batch == batch)) or 0
    recording = RecordingRow(
        id=new_id(),
        batch=batch,
        position=position,
        file_name=upload.name,
        sha256=sha256,
        size=upload.size,
        file_time=upload.file_time,
        one_job=one_job,
        hearing=hearing,
        owner=upload.owner,
        state="waiting",
        tries=0,
        kept=True,
    )
    session.add(recording)
    session.flush()
    job = JobRow(
        id=new_id(),
        batch=batch,
        first_recording=recording.id,
        ordinal=1,
        name=job_name(Path(upload.name)),
        owner=upload.owner,
        job_state="waiting",
        review="draft",
        title=job_name(Path(upload.name)),
    )
    session.add(job)
    session.flush()
    session.add(JobRecordingRow(job_id=job.id, position=0, recording_id=recording.id))
    session.flush()
    return recording


def listed(session: Session, owner: str | None, *, limit: int = 200, before: str | None = None) -> list[JobRow]:
    """Jobs, the newest first; of one person, or all for None. `before` is the `created_at` to go on from."""
    query = select(JobRow).where(JobRow.joined_to.is_(None))
    if owner is not None:
        query = query.where(JobRow.owner == owner)
    if before is not None:
        query = query.where(JobRow.created_at < before)
    return list(session.scalars(query.order_by(JobRow.created_at.desc(), JobRow.id).limit(limit)))


def recordings_of(session: Session, job_id: str) -> tuple[RecordingRow, ...]:
    """The recordings of a job, in the order of its draft."""
    return tuple(
        session.scalars(
            select(RecordingRow)
            .join(JobRecordingRow, JobRecordingRow.recording_id == RecordingRow.id)
            .where(JobRecordingRow.job_id == job_id)
            .order_by(JobRecordingRow.position)
        )
    )


def job(session: Session, job_id: str, owner: str | None) -> StoredJob:
    """A job with its recordings, edits, papers and open likenesses. Raises InputError when it is not this person's."""
    row = session.get(JobRow, job_id)
    if row is None or (owner is not None and row.owner != owner):
        raise no_such_job()
    edits = session.execute(
        select(EditRow.seq, EditRow.body).where(EditRow.job_id == job_id).order_by(EditRow.seq)
    ).all()
    likely = session.scalars(select(LikenessRow).where(LikenessRow.job_id == job_id, LikenessRow.state == "open"))
    papers = session.scalars(
        select(PaperRow).where(PaperRow.job_id == job_id).order_by(PaperRow.issue.desc(), PaperRow.name)
    )
    return StoredJob(
        row=row,
        recordings=recordings_of(session, job_id),
        edits=tuple(_edit(body) for _, body in edits),
        seen=edits[-1].seq if edits else 0,
        likely=tuple(likely),
        papers=tuple(papers),
    )


def draft_of(store: Store, row: JobRow) -> Draft:
    """The machine's draft of a job. Raises InputError while there is none, StoreError when it is damaged."""
    if row.draft_key is None:
        raise InputError("not-ready", "This job has no draft yet.", "Wait until its recording was heard.")
    return load(store.files.get(row.draft_key).decode())


def edits_since(session: Session, job_id: str, seen: int) -> list[tuple[int, Edit]]:
    """The edits after the one with this number, with their numbers."""
    rows = session.execute(
        select(EditRow.seq, EditRow.body).where(EditRow.job_id == job_id, EditRow.seq > seen).order_by(EditRow.seq)
    )
    return [(seq, _edit(body)) for seq, body in rows]


def add_edit(session: Session, row: JobRow, edit: Edit) -> int | None:
    """Writes an edit down and gives its number; None when the same edit (by its id) was there already."""
    if session.scalar(select(EditRow.seq).where(EditRow.job_id == row.id, EditRow.id == edit.id)) is not None:
        return None
    kept = EditRow(id=edit.id, job_id=row.id, body=edit.model_dump_json())
    session.add(kept)
    session.flush()
    row.updated_at = now()
    row.review = review_after(cast(ReviewState, row.review), edit)
    note(session, edit.who, f"edit:{edit.kind.value}", row.id)
    return kept.seq


@lru_cache(maxsize=8192)
def _edit(body: str) -> Edit:
    """An edit as it was kept. Edits never change, and every opening of a job needs all of them."""
    return Edit.model_validate_json(body)


def set_facets(session: Session, row: JobRow, facets: Facets) -> None:
    """Writes what lists, search and history show; with that the job is ready.

    A follow-up that was ticked off stays so while its text stands.
    """
    row.job_state = "ready"
    for name in ("title", "customer", "site", "serial", "model", "visit_day", "doubts", "outside", "gaps"):
        setattr(row, name, getattr(facets, name))
    for figure in facets.figures:
        figure.job_id, figure.machine_id = row.id, row.machine_id
    _rewrite(session, FigureRow, row.id, facets.figures)
    there = list(session.scalars(select(FollowUpRow).where(FollowUpRow.job_id == row.id)))
    done = {old.text: (old.done_at, old.done_by) for old in there}
    for follow_up in facets.follow_ups:
        follow_up.job_id, follow_up.machine_id = row.id, row.machine_id
        follow_up.done_at, follow_up.done_by = done.get(follow_up.text, (None, None))
    _rewrite(session, FollowUpRow, row.id, facets.follow_ups)
    search.put(session, row.id, facets.said)


def _rewrite(
    session: Session, table: type[FigureRow] | type[FollowUpRow], job_id: str, wanted: Sequence[FigureRow | FollowUpRow]
) -> None:
    """Makes these the job's rows of a table; touches nothing when they are there already, as after most edits."""
    columns = [column for column in table.__table__.columns if column.name != "seq"]
    there = session.execute(select(*columns).where(table.job_id == job_id).order_by(table.seq)).all()
    new = [{column.name: getattr(one, column.name) for column in columns} for one in wanted]
    if [tuple(one) for one in there] == [tuple(one.values()) for one in new]:
        return
    session.execute(delete(table).where(table.job_id == job_id))
    if new:
        session.execute(insert(table), new)


@dataclass(frozen=True)
class NewDraft:
    """A machine's draft ready to be kept: whose first recording it is, which of its jobs, and all its recordings."""

    draft: Draft
    first_recording: str
    ordinal: int
    recordings: tuple[str, ...]


def publish(
    store: Store, batch: str, heard: Iterable[tuple[str, str | None]], drafts: Sequence[NewDraft]
) -> list[str] | None:
    """Keeps the drafts of a batch, all or none, and gives their jobs' ids; the same call twice is harmless.

    `heard` are the ids and hashes of what the drafts were made from. When meanwhile more of the batch was heard, or
    something was heard again, nothing is kept and the answer is None: the newer reading has to be made first.
    """
    keys = [store.files.put(dump(new.draft).encode()) for new in drafts]
    with store.database.writing() as session:
        # Held until the end, so that what is heard meanwhile on another machine is read after this, not before.
        session.execute(
            select(RecordingRow.id).where(RecordingRow.batch == batch).order_by(RecordingRow.id).with_for_update()
        )
        if set(heard) != heard_in(session, batch):
            return None
        ids: list[str] = []
        for new, key in zip(drafts, keys, strict=True):
            ids.append(_keep_draft(session, batch, new, key))
        _join_the_rest(session, batch, ids, drafts)
        return ids


def heard_in(session: Session, batch: str) -> set[tuple[str, str | None]]:
    """Ids and hashes of what was heard so far in a batch."""
    rows = session.execute(
        select(RecordingRow.id, RecordingRow.heard).where(RecordingRow.batch == batch, RecordingRow.heard.is_not(None))
    )
    return {(recording_id, heard) for recording_id, heard in rows}


def _keep_draft(session: Session, batch: str, new: NewDraft, key: str) -> str:
    row = session.scalar(
        select(JobRow).where(JobRow.first_recording == new.first_recording, JobRow.ordinal == new.ordinal)
    )
    if row is None:
        first = session.get(RecordingRow, new.first_recording)
        row = JobRow(
            id=new_id(),
            batch=batch,
            first_recording=new.first_recording,
            ordinal=new.ordinal,
            name=new.draft.name,
            owner=first.owner if first else "",
            title=new.draft.name,
            job_state="hearing",
            review="draft",
        )
        session.add(row)
        session.flush()
    row.joined_to = None
    row.reason, row.draft_key = None, key
    row.name = new.draft.name
    row.updated_at = now()
    session.execute(delete(JobRecordingRow).where(JobRecordingRow.job_id == row.id))
    session.flush()
    for position, recording_id in enumerate(new.recordings):
        session.add(JobRecordingRow(job_id=row.id, position=position, recording_id=recording_id))
    return row.id


def _join_the_rest(session: Session, batch: str, ids: Sequence[str], drafts: Sequence[NewDraft]) -> None:
    """Jobs of heard recordings that no draft begins with: their words were joined to another job.

    One that a person edited stays in the list, with a sentence, so that nothing of his is hidden.
    """
    heard = {recording_id for recording_id, _ in heard_in(session, batch)}
    home = {recording: job_id for job_id, new in zip(ids, drafts, strict=True) for recording in new.recordings}
    for row in session.scalars(select(JobRow).where(JobRow.batch == batch, JobRow.id.not_in(ids))):
        if row.first_recording not in heard:
            continue
        edited = session.scalar(select(func.count()).select_from(EditRow).where(EditRow.job_id == row.id))
        if edited:
            row.reason = "The latest reading of this recording no longer makes this a job of its own."
        elif row.first_recording in home:
            row.joined_to = home[row.first_recording]


def forget(session: Session, row: JobRow, who: str) -> list[str]:
    """Removes a job for good and gives the hashes of files that nothing needs any more. Raises InputError on hold."""
    if row.hold:
        raise InputError("on-hold", f"{row.title} is kept on hold.", "Take the hold off first.")
    recordings = recordings_of(session, row.id)
    keys = {row.draft_key} if row.draft_key else set()
    keys |= set(session.scalars(select(PaperRow.sha256).where(PaperRow.job_id == row.id)))
    keys |= set(session.scalars(select(PictureRow.sha256).where(PictureRow.job_id == row.id)))
    for table in (EditRow, FigureRow, FollowUpRow, LikenessRow, PaperRow, PictureRow, JobRecordingRow):
        session.execute(delete(table).where(table.job_id == row.id))
    search.drop(session, row.id)
    session.execute(delete(JobRow).where(JobRow.id == row.id))
    joined = list(session.scalars(select(JobRow.id).where(JobRow.joined_to == row.id)))
    session.execute(delete(JobRow).where(JobRow.joined_to == row.id))
    session.flush()
    gone = [("job", job_id) for job_id in (row.id, *joined)]
    if row.machine_id is not None:
        gone += [("machine", row.machine_id)] if _forget_machine(session, row.machine_id) else []
    for recording in recordings:
        used = session.scalar(
            select(func.count()).select_from(JobRecordingRow).where(JobRecordingRow.recording_id == recording.id)
        ) or session.scalar(select(func.count()).select_from(JobRow).where(JobRow.first_recording == recording.id))
        if not used:
            keys |= {key for key in (recording.sha256, recording.heard, recording.peaks, recording.playable) if key}
            session.delete(recording)
            gone.append(("recording", recording.id))
    session.flush()
    note(session, who, "forget", row.id)
    unnamed = [key for key in keys if not is_named(session, key)]
    # Only ids and hashes: what is taken out of the backups, too.
    session.add_all(RemovedRow(kind=kind, key=key) for kind, key in [*gone, *(("file", key) for key in unnamed)])
    return unnamed


def _forget_machine(session: Session, machine_id: str) -> bool:
    """Removes a machine when no job is about it any more."""
    if session.scalar(select(func.count()).select_from(JobRow).where(JobRow.machine_id == machine_id)):
        return False
    session.execute(delete(LikenessRow).where(LikenessRow.machine_id == machine_id))
    session.execute(delete(MachineRow).where(MachineRow.id == machine_id))
    return True


def older_than(session: Session, day: str, owner: str | None = None) -> list[JobRow]:
    """Jobs whose visit (or upload, where the day is not known) was before this day and that are not on hold."""
    visited = func.coalesce(JobRow.visit_day, func.substr(JobRow.created_at, 1, 10))
    query = select(JobRow).where(visited < day, JobRow.hold.is_(False))
    if owner is not None:
        query = query.where(JobRow.owner == owner)
    return list(session.scalars(query))


def checked_day(said: str) -> str:
    """A typed day, ISO 8601. Raises InputError for anything else."""
    try:
        return date.fromisoformat(said).isoformat()
    except ValueError as fault:
        raise InputError("not-a-day", f"{said!r} is no day.", "Write it as 2026-03-14.") from fault


def today() -> str:
    """The present day, ISO 8601, UTC."""
    return datetime.now(UTC).date().isoformat()
