"""Papers on demand, and papers that were sent: those are kept as they were, with their digests."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from anyio import to_thread
from sqlalchemy import func, select
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from pipeline import run
from pipeline.desk import OpenJob
from pipeline.edits import EditKind, Target, TargetKind, new_edit, review_state
from pipeline.errors import InputError
from pipeline.store import jobs, pictures
from pipeline.store.store import new_id, note
from pipeline.store.tables import JobRow, PaperRow
from pipeline.web.answers import download, json_of
from pipeline.web.desk_of import desk_of, store_of
from pipeline.web.people import current_user
from pipeline.web.work import work_answer

SHOWN = "report.html"
LETTERS = "script-src 'none'; default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; sandbox"
"""The paper brings its own style inside; nothing in it may run, and it is shut off from the page's own origin."""


def _made(request: Request, opened: OpenJob) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pictures.lay_out(store_of(request), opened.draft.photos, folder)
        files = run.with_papers(opened.machine, opened.stored.edits, shop=desk_of(request).shop, folder=folder)[2]
    return {name: data for name, data in files.items() if name != "draft.json"}


def paper(request: Request) -> Response:
    """GET /jobs/ID/papers/NAME: the paper as the job stands now, to save."""
    name, opened = request.path_params["name"], _opened(request)
    files = _made(request, opened)
    if name not in files:
        fault = InputError("no-such-paper", "There is no such paper.", "Choose one of the list.")
        fault.http_status = 404
        raise fault
    with store_of(request).database.writing() as session:
        note(session, current_user(request).name, "paper", opened.stored.row.id, name)
    return download(f"{opened.stored.row.name}-{name}", files[name])


def look(request: Request) -> Response:
    """GET /jobs/ID/look: the report as it would go out, to read; it can run nothing."""
    files = _made(request, _opened(request))
    if SHOWN not in files:
        raise InputError("no-such-paper", "The report could not be made.", "See what the page says went wrong.")
    return HTMLResponse(files[SHOWN], headers={"content-security-policy": LETTERS})


def sent_paper(request: Request) -> Response:
    """GET /jobs/ID/sent/PAPER: a paper as it went out, byte for byte."""
    opened = _opened(request)
    for row in opened.stored.papers:
        if row.id == request.path_params["paper"]:
            name = f"{opened.stored.row.name}-issue-{row.issue}-{row.name}"
            return download(name, store_of(request).files.get(row.sha256))
    raise jobs.no_such_job()


async def send(request: Request) -> Response:
    """POST /jobs/ID/send: the papers of a reviewed job are kept for good as its next issue."""
    asked = await json_of(request)
    return await to_thread.run_sync(_send, request, asked)


def _send(request: Request, asked: dict[str, Any]) -> Response:
    user, store, opened = current_user(request), store_of(request), _opened(request)
    if asked.get("seen") != opened.stored.seen or asked.get("draft") != opened.stored.row.draft_key:
        raise InputError("changed-elsewhere", "The job was changed meanwhile.", "Look at it again, then send it.")
    if review_state(opened.stored.edits) == "draft":
        raise InputError("not-reviewed", "This report was not reviewed yet.", "Mark it as reviewed first.")
    files = _made(request, opened)
    kept = [(name, store.files.put(data), len(data)) for name, data in sorted(files.items())]
    edit = new_edit(user.name, EditKind.REVIEW, Target(kind=TargetKind.JOB), now={"review": "sent"})
    with store.database.writing() as session:
        row = session.get(JobRow, opened.stored.row.id)
        if row is None:
            raise jobs.no_such_job()
        if jobs.edits_since(session, row.id, opened.stored.seen):
            raise InputError("changed-elsewhere", "The job was changed meanwhile.", "Look at it again, then send it.")
        last = session.scalar(select(func.max(PaperRow.issue)).where(PaperRow.job_id == row.id)) or 0
        for name, sha256, size in kept:
            session.add(
                PaperRow(
                    id=new_id(), job_id=row.id, issue=last + 1, name=name, sha256=sha256, size=size, made_by=user.name
                )
            )
        jobs.add_edit(session, row, edit)
        note(session, user.name, "send", row.id, f"issue {last + 1}")
    return JSONResponse(work_answer(desk_of(request).open(opened.stored.row.id, user.owner)))


def _opened(request: Request) -> OpenJob:
    return desk_of(request).open(request.path_params["job"], current_user(request).owner)
