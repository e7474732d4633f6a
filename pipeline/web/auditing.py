"""The audit trail as a page, for owners."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from pipeline.store import audit, people
from pipeline.web.answers import page
from pipeline.web.desk_of import store_of

PAGE = 200


def trail(request: Request) -> Response:
    """GET /audit?who=NAME&job=ID&since=DAY&before=N: the trail, the newest first."""
    asked = request.query_params
    who, job, since = (asked.get(name, "")[:64] for name in ("who", "job", "since"))
    before = asked.get("before", "")
    with store_of(request).database.reading() as session:
        found = audit.entries(
            session,
            who=who,
            job=job,
            since=since,
            before=int(before) if before.isascii() and before.isdigit() and len(before) < 18 else None,
            limit=PAGE + 1,
        )
        names = [row.name for row in people.listed(session)]
    more = found[PAGE - 1].seq if len(found) > PAGE else None
    return page(request, "audit", entries=found[:PAGE], more=more, who=who, job=job, since=since, names=names)
