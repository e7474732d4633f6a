"""Lists: jobs, machines and their past, search, and what is due."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from pipeline.draft import Draft
from pipeline.errors import ReportError
from pipeline.history import LB, Charge, charge_of, leak_rate, series_of
from pipeline.store import forgetting, jobs, machines, people, search
from pipeline.store.machines import MachinePast
from pipeline.store.tables import JobRow, RecordingRow
from pipeline.web.answers import page
from pipeline.web.chart import chart
from pipeline.web.desk_of import desk_of, store_of
from pipeline.web.people import current_user
from pipeline.web.reviewing import progress
from pipeline.words import load_words

PAGE = 100


def home(request: Request) -> Response:
    """GET /: the jobs, the newest first, and the place to put recordings."""
    store, user = store_of(request), current_user(request)
    with store.database.reading() as session:
        rows = jobs.listed(session, user.owner, limit=PAGE + 1, before=request.query_params.get("before"))
        shown = [(row, _hearing(session.get(RecordingRow, row.first_recording), row)) for row in rows[:PAGE]]
        waiting = len(machines.due(session, user.owner))
        whose = {row.id: row.name for row in people.listed(session)} if user.owner is None else {}
        session.expunge_all()
    more = rows[PAGE - 1].created_at if len(rows) > PAGE else None
    return page(request, "home", shown=shown, more=more, due=waiting, whose=whose)


def _hearing(recording: RecordingRow | None, row: JobRow) -> dict[str, Any] | None:
    return progress(recording) if recording is not None and row.job_state in ("waiting", "hearing") else None


def find(request: Request) -> Response:
    """GET /find?q=WORDS: jobs that hold all the words, and machines whose plate does."""
    words = request.query_params.get("q", "")[:200]
    since, until = _day(request, "since"), _day(request, "until")
    with store_of(request).database.reading() as session:
        user = current_user(request)
        found = search.find(session, words, since=since, until=until, owner=user.owner)
        plates = machines.machines(session, user.owner, words) if words.strip() else []
        session.expunge_all()
    return page(request, "find", asked=words, since=since or "", until=until or "", found=found, machines=plates)


def _day(request: Request, name: str) -> str | None:
    said = request.query_params.get(name, "")
    return said if len(said) == 10 and said.replace("-", "").isdigit() else None


def all_machines(request: Request) -> Response:
    """GET /machines: every machine, by site."""
    with store_of(request).database.reading() as session:
        rows = machines.machines(session, current_user(request).owner)
        session.expunge_all()
    return page(request, "machines", machines=rows)


def machine(request: Request) -> Response:
    """GET /machines/ID: a machine's plate, visits, figures over the years, parts, what is open, and its refrigerant."""
    user, store = current_user(request), store_of(request)
    with store.database.reading() as session:
        past = machines.past(session, request.path_params["machine"], user.owner)
        session.expunge_all()
    words = load_words()
    series = [one for one in series_of(past.figures) if one.visits > 1]
    drafts = _drafts(request, past)
    charges = sorted(
        (made for row, draft in drafts if (made := charge_of(draft, row.id, row.visit_day or row.created_at[:10]))),
        key=lambda charge: charge.day,
    )
    full = full_charge(past)
    return page(
        request,
        "machine",
        machine=past.machine,
        jobs=past.jobs,
        charts=[chart(one, words) for one in series],
        parts=[(row, part) for row, draft in drafts for part in draft.parts],
        follow_ups=past.follow_ups,
        charges=charges,
        full=full,
        rate=leak_rate(charges, full),
        words=words,
        once=len({(f.subject, f.place, f.quantity) for f in past.figures}) - len(series),
    )


def full_charge(past: MachinePast) -> float | None:
    """The full charge that the plate states, in pounds; None when it was not said or in several ways."""
    said = {
        round(figure.value * LB[figure.unit], 3)
        for figure in past.figures
        if figure.subject == "refrigerant charge" and figure.role == "rated" and figure.unit in LB
    }
    return said.pop() if len(said) == 1 else None


def _drafts(request: Request, past: MachinePast) -> list[tuple[JobRow, Draft]]:
    made = []
    for row in past.jobs:
        # A visit whose draft is lost or not there yet must not cost the page of the machine.
        try:
            made.append((row, desk_of(request).open(row.id, None).draft))
        except ReportError:
            continue
    return made


def due(request: Request) -> Response:
    """GET /due: what somebody said he would come back for."""
    with store_of(request).database.reading() as session:
        rows = machines.due(session, current_user(request).owner)
        session.expunge_all()
    return page(request, "due", rows=rows, today=jobs.today())


def tick(request: Request) -> Response:
    """POST /due/N?done=1: ticks a follow-up off, or opens it again."""
    user = current_user(request)
    done = request.query_params.get("done") != "0"
    with store_of(request).database.writing() as session:
        machines.tick(session, request.path_params["follow_up"], user.owner, user.name, done=done)
    return JSONResponse({"done": done})


def forget(request: Request) -> Response:
    """POST /jobs/ID/forget: removes a job with its recording, for good."""
    user, store = current_user(request), store_of(request)
    forgetting.forget(store, [request.path_params["job"]], user.name, user.owner)
    return JSONResponse({"done": True})


__all__ = ["Charge", "all_machines", "due", "find", "forget", "home", "machine", "tick"]
