"""Everything of a store as plain files, and back: recordings, drafts, edits, papers, one folder a job."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select

from pipeline import run
from pipeline.desk import Desk, OpenJob
from pipeline.draft import Photo, dump, load
from pipeline.edits import dump_edits, load_edits
from pipeline.errors import InputError, ReportError
from pipeline.keep import digest_of_file, disk_faults, make_folder, write_whole
from pipeline.store import jobs, pictures
from pipeline.store.store import Store, note
from pipeline.store.tables import (
    EditRow,
    FollowUpRow,
    JobRecordingRow,
    JobRow,
    LikenessRow,
    MachineRow,
    PaperRow,
    RecordingRow,
)
from pipeline.store.uploads import shown_name

SCHEMA = "job/1"
RECORDING = ("id", "batch", "position", "file_name", "sha256", "size", "file_time", "one_job", "hearing", "duration_s")
JOB = ("id", "batch", "first_recording", "ordinal", "name", "review", "hold", "created_at", "updated_at", "reason")
MACHINE = ("id", "type", "make", "model", "serial", "serial_key", "refrigerant", "site", "location", "customer")
FILES = ("heard", "peaks", "playable")


@dataclass(frozen=True)
class Moved:
    """What came of an export or import: jobs done, jobs that were there already, and what could not be done."""

    done: int
    known: int = 0
    faults: tuple[str, ...] = ()


def export(
    store: Store,
    desk: Desk,
    folder: Path,
    tell: Callable[[str], None] = lambda _: None,
    only: Collection[str] | None = None,
) -> Moved:
    """Writes every job, or `only` those. One with a missing recording is written without it, and told."""
    make_folder(folder)
    faults: list[str] = []
    with store.database.reading() as session:
        ids = list(session.scalars(select(JobRow.id).where(JobRow.joined_to.is_(None)).order_by(JobRow.created_at)))
    if only is not None:
        ids = [job_id for job_id in ids if job_id in only]
    for job_id in ids:
        with store.database.reading() as session:
            stored = jobs.job(session, job_id, None)
            session.expunge_all()
        tell(stored.row.name)
        faults += _export_job(store, desk, job_id, folder / f"{_plain(stored.row.name)}-{job_id}")
    if only is None and store.place.words_file.is_file():
        write_whole(folder / "words.toml", store.place.words_file.read_bytes())
    return Moved(len(ids), faults=tuple(faults))


def _plain(name: str) -> str:
    return "".join(c if c.isalnum() or c in " ._-" else "_" for c in shown_name(name)).strip(" .")[:80] or "job"


def _export_job(store: Store, desk: Desk, job_id: str, folder: Path) -> list[str]:
    faults: list[str] = []
    make_folder(folder)
    with store.database.reading() as session:
        stored = jobs.job(session, job_id, None)
        machine = session.get(MachineRow, stored.row.machine_id) if stored.row.machine_id else None
        done = session.scalars(
            select(FollowUpRow).where(FollowUpRow.job_id == job_id, FollowUpRow.done_at.is_not(None))
        )
        ties = session.scalars(select(LikenessRow).where(LikenessRow.job_id == job_id))
        body: dict[str, Any] = {
            "schema": SCHEMA,
            **{name: getattr(stored.row, name) for name in JOB},
            "machine": {name: getattr(machine, name) for name in MACHINE} if machine else None,
            "done": [[row.text, row.done_at, row.done_by] for row in done],
            "likeness": [[tie.machine_id, tie.why, tie.state] for tie in ties if tie.state != "open"],
            "recordings": [],
            "sent": [],
        }
        session.expunge_all()
    for recording in stored.recordings:
        told, missing = _export_recording(store, recording, folder / "recordings")
        body["recordings"].append(told)
        faults += missing
    for paper in stored.papers:
        place = folder / "sent" / f"issue-{paper.issue}"
        make_folder(place)
        try:
            write_whole(place / paper.name, store.files.get(paper.sha256))
        except ReportError as fault:
            faults.append(f"{paper.name} of {stored.row.name}: {fault}")
            continue
        row = {name: getattr(paper, name) for name in ("id", "issue", "name", "sha256", "size", "made_at", "made_by")}
        body["sent"].append(row)
    faults += pictures.lay_out(store, pictures.added(stored.edits), folder)
    if stored.row.draft_key is not None:
        try:
            _write_draft(desk.open(job_id, None), folder, desk)
        except ReportError as fault:
            faults.append(f"{stored.row.name}: {fault}")
    if stored.edits:
        write_whole(folder / "edits.json", dump_edits(stored.edits).encode())
    write_whole(folder / "job.json", (json.dumps(body, indent=1, ensure_ascii=False) + "\n").encode())
    return faults


def _write_draft(opened: OpenJob, folder: Path, desk: Desk) -> None:
    write_whole(folder / "draft.json", dump(opened.machine).encode())
    files = run.with_papers(opened.machine, opened.stored.edits, shop=desk.shop, folder=folder)[2]
    for name, data in files.items():
        if name != "draft.json":
            write_whole(folder / name, data)


def _export_recording(store: Store, recording: RecordingRow, folder: Path) -> tuple[dict[str, Any], list[str]]:
    make_folder(folder)
    faults: list[str] = []
    told = {name: getattr(recording, name) for name in RECORDING}
    wanted = {"file": recording.sha256 if recording.kept else None}
    wanted |= {name: getattr(recording, name) for name in FILES}
    names = {
        "file": _plain(recording.file_name),
        "heard": "heard.json",
        "peaks": "strip.bin",
        "playable": "playable.m4a",
    }
    for name, key in wanted.items():
        told[name] = None
        if key is None:
            continue
        path = folder / f"{recording.sha256[:12]}-{names[name]}"
        try:
            with disk_faults(path):
                shutil.copyfile(store.files.local(key), path)
        except ReportError as fault:
            faults.append(f"{recording.file_name}: {fault}")
            continue
        told[name] = path.name
    return told, faults


def bring_in(store: Store, desk: Desk, folder: Path, owner: str, tell: Callable[[str], None] = lambda _: None) -> Moved:
    """Reads back what `export` wrote. A job that is there already is left alone.

    Raises InputError when the folder holds no exported job; a job that cannot be read is told and does not stop
    the others.
    """
    found = sorted(folder.glob("*/job.json")) or sorted(folder.glob("job.json"))
    if not found:
        raise InputError(
            "nothing-exported", f"{folder} holds no exported job.", "Name a folder made by jobtape export."
        )
    done, known, faults = 0, 0, []
    for path in found:
        tell(path.parent.name)
        try:
            if _bring_job(store, desk, path.parent, owner):
                done += 1
            else:
                known += 1
        except (ReportError, OSError, ValueError, KeyError, TypeError) as fault:
            faults.append(f"{path.parent.name}: {fault}")
    words = folder / "words.toml"
    if words.is_file() and not store.place.words_file.is_file():
        write_whole(store.place.words_file, words.read_bytes())
    return Moved(done, known, tuple(faults))


def _bring_job(store: Store, desk: Desk, folder: Path, owner: str) -> bool:
    body = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    if body.get("schema") != SCHEMA:
        raise InputError("unknown-schema", "It was made by another version.", "Use that version to read it.")
    with store.database.reading() as session:
        if session.get(JobRow, body["id"]) is not None:
            return False
    edits = load_edits((folder / "edits.json").read_text(encoding="utf-8")) if (folder / "edits.json").exists() else ()
    key = None
    if (folder / "draft.json").exists():
        draft = load((folder / "draft.json").read_text(encoding="utf-8"))
        key = store.files.put(dump(draft).encode())
    kept = [_keep_recording(store, told, folder / "recordings") for told in body["recordings"]]
    for paper in body["sent"]:
        sha256 = store.files.put(
            (folder / "sent" / f"issue-{int(paper['issue'])}" / _plain(paper["name"])).read_bytes()
        )
        if sha256 != paper["sha256"]:
            raise InputError("changed", f"{paper['name']} is not what was sent.", "Take it from another copy.")
    photos = [_keep_picture(store, photo, folder) for photo in pictures.added(edits)]
    with store.database.writing() as session:
        ids = []
        for told, files in zip(body["recordings"], kept, strict=True):
            there = session.scalar(
                select(RecordingRow).where(RecordingRow.sha256 == told["sha256"], RecordingRow.owner == owner)
            )
            if there is None:
                state = "heard" if files.get("heard") else "failed"
                there = RecordingRow(
                    **{name: told[name] for name in RECORDING}, owner=owner, state=state, tries=1, kept=files["kept"],
                    **{name: files.get(name) for name in FILES}, run_id=f"{told['id']}-imported", done_s=0.0, all_s=0.0,
                )  # fmt: skip
                session.add(there)
                session.flush()
            ids.append(there.id)
        machine = body["machine"]
        if machine is not None and session.get(MachineRow, machine["id"]) is None:
            session.add(MachineRow(**{name: machine[name] for name in MACHINE}))
            session.flush()
        row = JobRow(
            **{name: body[name] for name in JOB},
            owner=owner,
            title=body["name"],
            job_state="ready" if key else "failed",
            draft_key=key,
            machine_id=machine["id"] if machine else None,
        )
        if row.first_recording not in ids and ids:
            row.first_recording = ids[0]
        session.add(row)
        session.flush()
        for position, recording_id in enumerate(ids):
            session.add(JobRecordingRow(job_id=row.id, position=position, recording_id=recording_id))
        for edit in edits:
            session.add(EditRow(id=edit.id, job_id=row.id, body=edit.model_dump_json()))
        for sha256 in filter(None, photos):
            pictures.named(session, row.id, sha256)
        for paper in body["sent"]:
            session.add(PaperRow(job_id=row.id, **paper))
        for machine_id, why, state in body["likeness"]:
            if session.get(MachineRow, machine_id) is not None:
                session.add(LikenessRow(job_id=row.id, machine_id=machine_id, why=why, state=state))
        note(session, owner, "import", row.id)
    if key is not None:
        desk.refresh(desk.open(body["id"], None))
        with store.database.writing() as session:
            for text, done_at, done_by in body["done"]:
                for item in session.scalars(
                    select(FollowUpRow).where(FollowUpRow.job_id == body["id"], FollowUpRow.text == text)
                ):
                    item.done_at, item.done_by = done_at, done_by
    return True


def _keep_picture(store: Store, photo: Photo, folder: Path) -> str | None:
    """Puts a picture into the store; None when it was not exported, which the papers then say."""
    path = folder / _plain(photo.file)
    if not path.is_file():
        return None
    sha256 = store.files.put(path.read_bytes())
    if sha256 != photo.sha256:
        raise InputError("changed", f"{photo.file} is not what was exported.", "Take it from another copy.")
    return sha256


def _keep_recording(store: Store, told: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Puts a recording's files into the store; the recording only when its bytes are as exported."""
    kept: dict[str, Any] = {"kept": False}
    for name in ("file", *FILES):
        if told.get(name) is None:
            continue
        path = folder / _plain(told[name])
        if name != "file":
            kept[name] = store.files.put(path.read_bytes())
            continue
        if digest_of_file(path) != told["sha256"]:
            raise InputError("changed", f"{told['file_name']} is not what was exported.", "Take it from another copy.")
        make_folder(store.place.uploads)
        copy = store.place.uploads / f"import-{told['sha256'][:16]}.part"
        with disk_faults(copy):
            shutil.copyfile(path, copy)
        store.files.take(copy, told["sha256"])
        kept["kept"] = True
    return kept
