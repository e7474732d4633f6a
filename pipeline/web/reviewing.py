"""The page of one job: how far its hearing is, and then its review."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from pipeline.desk import OpenJob
from pipeline.edits import Edit, EditKind
from pipeline.edits_make import make_edit
from pipeline.errors import InputError
from pipeline.jobs import left_s
from pipeline.store import jobs, machines
from pipeline.store.jobs import StoredJob
from pipeline.store.tables import MachineRow, RecordingRow
from pipeline.web import planning
from pipeline.web.answers import page
from pipeline.web.desk_of import desk_of, engine_of, store_of
from pipeline.web.people import current_user
from pipeline.web.slips import AFTER_S, BEFORE_S
from pipeline.web.work import forms, pieces, work_answer


def job(request: Request) -> Response:
    """GET /jobs/ID: the review, or what is known while there is no draft."""
    store, user, job_id = store_of(request), current_user(request), request.path_params["job"]
    with store.database.reading() as session:
        stored = jobs.job(session, job_id, user.owner)
        likely = [(tie.machine_id, tie.why, session.get(MachineRow, tie.machine_id)) for tie in stored.likely]
        session.expunge_all()
    if stored.row.joined_to:
        return RedirectResponse(f"/jobs/{stored.row.joined_to}", status_code=303)
    if stored.row.draft_key is None:
        return page(request, "waiting", job=stored.row, recordings=[progress(r) for r in stored.recordings])
    opened = desk_of(request).open(job_id, user.owner)
    return page(
        request,
        "review",
        likely=likely,
        planned=planning.shown(request, opened),
        again=[progress(r) for r in stored.recordings if r.state in ("waiting", "hearing", "failed")],
        before_s=BEFORE_S,
        after_s=AFTER_S,
        job=opened.stored.row,
        recordings=opened.stored.recordings,
        seen=opened.stored.seen,
        pieces=pieces(opened),
        **forms(),
    )


def work(request: Request) -> Response:
    """GET /jobs/ID/work: the working part alone, for a page that has to catch up."""
    opened = desk_of(request).open(request.path_params["job"], current_user(request).owner)
    return JSONResponse(work_answer(opened))


def progress(recording: RecordingRow) -> dict[str, Any]:
    """How far the hearing of a recording is, for lists and for scripts."""
    left = left_s(recording)
    share = recording.done_s / recording.all_s if recording.all_s else 0.0
    return {
        "id": recording.id,
        "name": recording.file_name,
        "state": recording.state,
        "reason": recording.reason or "",
        "percent": min(100, round(100 * share)),
        "left": "" if left is None else left_text(left),
        "hearing": recording.hearing,
    }


def left_text(seconds: float) -> str:
    """Time left, no finer than anybody can know it."""
    if seconds < 45:
        return "less than a minute left"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"about {minutes} min left"
    return f"about {minutes // 60} h {minutes % 60:02d} min left"


def states(request: Request) -> Response:
    """GET /states: state and progress of the newest jobs, for the list to follow."""
    store, user = store_of(request), current_user(request)
    told = []
    with store.database.reading() as session:
        for row in jobs.listed(session, user.owner):
            if row.job_state in ("waiting", "hearing"):
                recording = session.get(RecordingRow, row.first_recording)
                state = progress(recording) if recording else {}
                told.append({**state, "id": row.id, "state": row.job_state})
            else:
                told.append({"id": row.id, "state": row.job_state, "reason": row.reason or ""})
    return JSONResponse({"jobs": told})


def state(request: Request) -> Response:
    """GET /jobs/ID/state: the same of one job."""
    store, user = store_of(request), current_user(request)
    with store.database.reading() as session:
        stored = jobs.job(session, request.path_params["job"], user.owner)
        told = [progress(recording) for recording in stored.recordings]
        return JSONResponse({"state": stored.row.job_state, "draft": stored.row.draft_key, "recordings": told})


def again(request: Request) -> Response:
    """POST /jobs/ID/again: hear the recordings anew; what was edited is laid over what comes out."""
    hearing = "quick" if request.query_params.get("hearing") == "quick" else "careful"
    store, user = store_of(request), current_user(request)
    with store.database.writing() as session:
        stored: StoredJob = jobs.job(session, request.path_params["job"], user.owner)
        for recording in stored.recordings:
            if not recording.kept:
                raise InputError(
                    "recording-gone", f"{recording.file_name} is no longer kept.", "Edit the report by hand."
                )
            recording.hearing = hearing
            engine_of(request).submit(session, recording)
    return JSONResponse({"state": "waiting"})


def likely(request: Request) -> Response:
    """POST /jobs/ID/machine?is=MACHINE or ?not=MACHINE: a person says whether the job is about a proposed machine.

    With `serial=known` the serial of that machine takes the place of the one that was heard, as an edit of his.
    """
    store, user, desk = store_of(request), current_user(request), desk_of(request)
    job_id = request.path_params["job"]
    same, other = request.query_params.get("is"), request.query_params.get("not")
    with store.database.writing() as session:
        stored = jobs.job(session, job_id, user.owner)
        machines.decide(session, stored.row, same or other or "", same=same is not None, who=user.name)
        machine = session.get(MachineRow, same) if same else None
        known = machine.serial if machine else ""
    opened = desk.open(job_id, user.owner)
    if known and request.query_params.get("serial") == "known":

        def make(now: OpenJob) -> Edit:
            return make_edit(now.replayed, user.name, EditKind.CHANGE, "equipment.serial", {"value": known})

        row = opened.stored.row
        desk.take(job_id, user.owner, make, seen=opened.stored.seen, draft_key=row.draft_key or "")
    else:
        desk.refresh(opened)
    return JSONResponse({"done": True})
