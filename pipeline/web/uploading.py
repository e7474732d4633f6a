"""Uploads: begun with a name and a size, sent in one piece or several, answered when they are safe on disk."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import TypeVar

from anyio import CapacityLimiter, to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from pipeline.errors import InputError
from pipeline.store import jobs
from pipeline.store.tables import RecordingRow
from pipeline.web.answers import json_of
from pipeline.web.desk_of import engine_of, store_of
from pipeline.web.people import current_user

Answer = TypeVar("Answer")
PIECE = 1 << 20


async def _apart(request: Request, work: Callable[..., Answer], *given: object) -> Answer:
    """Work on the disk, in threads of its own: many uploads at once must not keep those who review waiting."""
    limiter: CapacityLimiter = request.app.state.sending
    return await to_thread.run_sync(work, *given, limiter=limiter)


async def begin(request: Request) -> Response:
    """POST /uploads: a place for one file. Answers its id and from where to send."""
    asked = await json_of(request)
    size = asked.get("size")
    if not isinstance(size, int) or isinstance(size, bool):
        raise InputError("wrong-size", "The size of the file is not known.", "Choose the file again.")
    store, user = store_of(request), current_user(request)
    upload = await _apart(
        request, store.uploads.begin, str(asked.get("name", "")), size, user.id, _moment(asked.get("modified"))
    )
    return JSONResponse({"id": upload.id, "received": 0, "name": upload.name}, status_code=201)


def _moment(milliseconds: object) -> str | None:
    """The file's own time as the browser tells it, ISO 8601; None when it tells none that can be."""
    if not isinstance(milliseconds, int | float) or not 0 < milliseconds < 4e12:
        return None
    return datetime.fromtimestamp(milliseconds / 1000, UTC).isoformat(timespec="seconds")


def received(request: Request) -> Response:
    """GET /uploads/ID: how much has arrived, to go on from there."""
    upload = store_of(request).uploads.find(request.path_params["upload"], current_user(request).id)
    return JSONResponse({"id": upload.id, "received": upload.received, "size": upload.size})


async def send(request: Request) -> Response:
    """PUT /uploads/ID?at=N: the bytes from N on; written as they come, no more than was announced."""
    uploads, user = store_of(request).uploads, current_user(request)
    upload = uploads.find(request.path_params["upload"], user.id)
    try:
        offset = int(request.query_params.get("at", "0"))
    except ValueError as fault:
        raise InputError("wrong-offset", "The place to go on from is unreadable.", "Begin again.") from fault
    with uploads.open(upload, offset) as file:
        at, held = offset, bytearray()
        try:
            async for piece in request.stream():
                at += len(piece)
                if at > upload.size:
                    raise InputError("too-large", f"{upload.name} is longer than was announced.", "Send it again.")
                held += piece
                if len(held) >= PIECE:
                    await _apart(request, file.write, bytes(held))
                    held.clear()
        finally:
            # A connection that breaks off here leaves what arrived, to go on from.
            file.write(held)
    return JSONResponse({"id": upload.id, "received": at, "size": upload.size})


async def done(request: Request) -> Response:
    """POST /uploads/ID/done: all is sent. Answers the job; for bytes that were here already, the job they have."""
    asked = await json_of(request)
    return await _apart(request, _take, request, asked)


def _take(request: Request, asked: dict[str, object]) -> Response:
    store, user = store_of(request), current_user(request)
    upload = store.uploads.find(request.path_params["upload"], user.id)
    if upload.received != upload.size:
        raise InputError("not-whole", f"{upload.name} has not arrived whole.", "Send the rest.")
    batch = "".join(letter for letter in str(asked.get("batch", "")) if letter.isalnum())[:32] or upload.id
    hearing = "quick" if asked.get("hearing") == "quick" else request.app.state.hearing
    # Batches of different people never meet, whatever their pages call them.
    taken = jobs.take_in(
        store, upload, f"{user.id[:12]}-{batch}"[:32], one_job=bool(asked.get("one_job")), hearing=hearing
    )
    with store.database.writing() as session:
        recording = session.get(RecordingRow, taken.recording_id)
        if recording is not None and recording.run_id is None:
            engine_of(request).submit(session, recording)
    return JSONResponse({"job": taken.job_id, "known": taken.known, "name": upload.name})
