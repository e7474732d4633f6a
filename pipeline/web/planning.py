"""The day's list: brought by the office, matched to recordings, and taken over into a job by its person."""

from __future__ import annotations

from typing import Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from pipeline.desk import OpenJob
from pipeline.edits import Edit, EditKind
from pipeline.edits_make import fact_named, make_edit
from pipeline.errors import InputError
from pipeline.store import jobs, planned
from pipeline.store.search import phrase
from pipeline.web.answers import page
from pipeline.web.desk_of import desk_of, store_of
from pipeline.web.people import current_user
from pipeline.web.signing import form_of

FIELDS = ("customer", "site", "reference")


def plan(request: Request) -> Response:
    """GET /plan?day=DAY: the list of a day with what each line was matched to."""
    return _page(request, request.query_params.get("day", "") or jobs.today())


def _page(request: Request, day: str, status: int = 200, told: str = "", text: str = "") -> Response:
    day = jobs.checked_day(day)
    with store_of(request).database.writing() as session:
        planned.match(session, day)
        rows = planned.of_day(session, day)
        session.expunge_all()
    columns = ", ".join(planned.COLUMNS)
    return page(request, "plan", status=status, day=day, rows=rows, told=told, text=text, columns=columns)


async def bring(request: Request) -> Response:
    """POST /plan: the list of a day as CSV; the same line twice is one."""
    return await to_thread.run_sync(_bring, request)


def _bring(request: Request) -> Response:
    said = form_of(request)
    day, text = said.get("day", ""), said.get("list", "")
    try:
        lines = planned.read_list(text)
        with store_of(request).database.writing() as session:
            planned.bring(session, day, lines, current_user(request).name)
    except InputError as fault:
        if fault.code == "not-a-day":
            day = jobs.today()
        return _page(request, day, 400, f"{fault.message} {fault.hint}", text)
    return RedirectResponse(f"/plan?day={day}", status_code=303)


async def settle(request: Request) -> Response:
    """POST /plan/N: which job a line is, or that it is not the one it was matched to."""
    return await to_thread.run_sync(_settle, request)


def _settle(request: Request) -> Response:
    job = form_of(request).get("job") or None
    with store_of(request).database.writing() as session:
        day = planned.settle(session, request.path_params["line"], job, current_user(request).name)
    return RedirectResponse(f"/plan?day={day}", status_code=303)


def take_over(request: Request) -> Response:
    """POST /jobs/ID/planned: what the list says and nobody said becomes part of the job, as edits of who asks."""
    user, desk, job_id = current_user(request), desk_of(request), request.path_params["job"]
    with store_of(request).database.reading() as session:
        line = planned.of_job(session, job_id)
        values = {f"visit.{name}": getattr(line, name) for name in FIELDS} if line is not None else {}
    if not values:
        raise InputError("not-planned", "This job is not on a day's list any more.", "Reload the page.")
    for handle, value in values.items():
        opened = desk.open(job_id, user.owner)
        if value and fact_named(opened.draft, handle) is None:

            def make(now: OpenJob, handle: str = handle, value: str = value) -> Edit:
                return make_edit(now.replayed, user.name, EditKind.ANSWER, handle, {"value": value})

            key = opened.stored.row.draft_key or ""
            desk.take(job_id, user.owner, make, seen=opened.stored.seen, draft_key=key)
    return JSONResponse({"done": True})


def shown(request: Request, opened: OpenJob) -> dict[str, Any] | None:
    """What the page of a job says of its line in the list: what it adds, and where something else was said."""
    with store_of(request).database.reading() as session:
        line = planned.of_job(session, opened.stored.row.id)
        if line is None:
            return None
        listed = {name: getattr(line, name) for name in FIELDS}
        why = line.matched_by
    said = {name: getattr(opened.draft.visit, name) for name in FIELDS}
    return {
        "why": why,
        "text": [(name, value) for name, value in listed.items() if value],
        "adds": any(value and said[name] is None for name, value in listed.items()),
        "differs": [
            (name, value, heard.value)
            for name, value in listed.items()
            if value and (heard := said[name]) is not None and phrase(heard.value) != phrase(value)
        ],
    }
