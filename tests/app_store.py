"""A store for tests, and jobs in it that look as if they had been heard."""

from __future__ import annotations

from pathlib import Path

from app_drafts import draft

from pipeline.desk import Desk, OpenJob
from pipeline.draft import Draft
from pipeline.edits import Edit, EditKind
from pipeline.edits_make import make_edit
from pipeline.store import jobs
from pipeline.store.jobs import NewDraft, TakenIn
from pipeline.store.place import store_place
from pipeline.store.store import LOCAL, Store, open_store
from pipeline.store.tables import RecordingRow
from pipeline.store.uploads import Upload


def store_at(folder: Path, environ: dict[str, str] | None = None) -> Store:
    """An opened store in a folder."""
    return open_store(store_place(environ or {}, home=folder))


def uploaded(store: Store, name: str, data: bytes, owner: str = LOCAL, file_time: str | None = None) -> Upload:
    """An upload that has arrived whole."""
    upload = store.uploads.begin(name, len(data), owner, file_time)
    with store.uploads.open(upload, 0) as file:
        file.write(data)
    return store.uploads.find(upload.id, owner)


def taken(store: Store, name: str, data: bytes, *, batch: str = "b1", owner: str = LOCAL) -> TakenIn:
    """A recording that was taken in."""
    return jobs.take_in(store, uploaded(store, name, data, owner), batch)


def heard(store: Store, recording_id: str, words: str = "heard") -> str:
    """Marks a recording as heard and gives the hash of what was heard."""
    key = store.files.put(words.encode())
    with store.database.writing() as session:
        row = session.get(RecordingRow, recording_id)
        assert row is not None
        row.state, row.heard, row.run_id = "heard", key, f"{recording_id}-1"
    return key


def ready_job(
    store: Store, desk: Desk, machine: Draft | None = None, *, name: str = "dock-cooler.m4a", owner: str = LOCAL
) -> str:
    """A job with a draft, as after its hearing; gives its id."""
    made = machine or draft()
    took = taken(store, name, name.encode(), batch=f"b-{name}-{owner}"[:32], owner=owner)
    recordings = tuple(
        one.model_copy(update={"sha256": _sha(store, took.recording_id), "file": name}) for one in made.recordings
    )
    key = heard(store, took.recording_id, f"heard {name}")
    made = made.model_copy(update={"recordings": recordings})
    ids = jobs.publish(
        store,
        f"b-{name}-{owner}"[:32],
        [(took.recording_id, key)],
        [NewDraft(made, took.recording_id, 1, (took.recording_id,))],
    )
    assert ids == [took.job_id]
    desk.refresh(desk.open(took.job_id, None))
    return took.job_id


def _sha(store: Store, recording_id: str) -> str:
    with store.database.reading() as session:
        row = session.get(RecordingRow, recording_id)
        assert row is not None
        return row.sha256


def does(desk: Desk, job_id: str, kind: EditKind, handle: str, **now: object) -> OpenJob:
    """An edit of a job, by somebody who had just seen it."""
    seen = desk.open(job_id, None)

    def make(opened: OpenJob) -> Edit:
        return make_edit(opened.replayed, "Ann", kind, handle, now)

    return desk.take(job_id, None, make, seen=seen.stored.seen, draft_key=seen.stored.row.draft_key or "")
