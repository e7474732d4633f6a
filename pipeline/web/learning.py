"""The shop's own words: what is proposed from corrections, what is in use, and the way back."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from anyio import to_thread
from sqlalchemy import or_, select
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from pipeline.edits import Edit, EditKind
from pipeline.errors import InputError
from pipeline.learned import decide as decided
from pipeline.learned import load_words_file, proposals, save_words_file
from pipeline.store.store import note
from pipeline.store.tables import EditRow, JobRow
from pipeline.web.answers import json_of, page
from pipeline.web.desk_of import store_of
from pipeline.web.people import current_user


def words(request: Request) -> Response:
    """GET /words: proposals and accepted words."""
    store, user = store_of(request), current_user(request)
    own = load_words_file(store.place.words_file)
    logs: dict[str, list[Edit]] = {}
    with store.database.reading() as session:
        query = select(EditRow.job_id, EditRow.body).join(JobRow, JobRow.id == EditRow.job_id)
        kinds = (EditKind.WORDS, EditKind.CHANGE, EditKind.ANSWER, EditKind.UNDO, EditKind.REDO)
        query = query.where(or_(*(EditRow.body.contains(f'"kind":"{kind.value}"') for kind in kinds)))
        if user.owner is not None:
            query = query.where(JobRow.owner == user.owner)
        for job_id, body in session.execute(query.order_by(EditRow.seq)):
            logs.setdefault(job_id, []).append(Edit.model_validate_json(body))
    return page(request, "words", own=own, proposals=proposals(logs.items(), own), file=str(store.place.words_file))


async def decide(request: Request) -> Response:
    """POST /words: a proposal accepted or refused, or an accepted word taken back."""
    asked = await json_of(request)
    return await to_thread.run_sync(_decide, request, asked)


def _decide(request: Request, asked: dict[str, Any]) -> Response:
    store, user = store_of(request), current_user(request)
    heard, say, how = str(asked.get("heard", "")), str(asked.get("say", "")), asked.get("how")
    if how not in ("accept", "refuse", "remove") or not heard.strip() or not say.strip() or len(heard + say) > 400:
        raise InputError("unknown-word", "That word is not among the proposals.", "Reload the page.")
    own = load_words_file(store.place.words_file)
    today = datetime.now(UTC).date().isoformat()
    save_words_file(store.place.words_file, decided(own, heard, say, how, user.name, today))
    with store.database.writing() as session:
        note(session, user.name, f"word:{how}")
    return JSONResponse({"done": True})
