"""Pictures of a job: added by a person, drawn anew before they are kept, shown beside the figures."""

from __future__ import annotations

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from pipeline.desk import OpenJob
from pipeline.edits import Edit, EditKind, Target, TargetKind, new_edit
from pipeline.errors import InputError
from pipeline.render.pictures_apart import redrawn_apart
from pipeline.store import jobs, pictures
from pipeline.web.desk_of import desk_of, store_of
from pipeline.web.people import current_user
from pipeline.web.work import work_answer

LARGEST = 25 << 20
"""Bytes of one picture; phones write 2 to 12 MB."""
MOST = 40
"""Pictures of one job."""


async def add(request: Request) -> Response:
    """POST /jobs/ID/pictures: one picture as it came from the phone. Answers the working part of the page."""
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > LARGEST:
            raise InputError(
                "too-large", f"A picture may have {LARGEST >> 20} MB.", "Make it smaller, or send another."
            )
    return await to_thread.run_sync(_add, request, bytes(body), limiter=request.app.state.sending)


def _add(request: Request, data: bytes) -> Response:
    store, desk, user = store_of(request), desk_of(request), current_user(request)
    opened = desk.open(request.path_params["job"], user.owner)
    if len(opened.draft.photos) >= MOST:
        raise InputError("too-many", f"A job holds {MOST} pictures.", "Take one out first.")
    drawn = redrawn_apart(data)
    if drawn is None:
        raise InputError(
            "no-picture", "That is no picture that can be read here.", "Send it as JPEG or PNG, as phones can."
        )
    row = opened.stored.row
    photo = pictures.keep(store, row.id, drawn)
    if any(there.sha256 == photo.sha256 for there in opened.draft.photos):
        return JSONResponse(work_answer(opened))

    def make(now: OpenJob) -> Edit:
        target = Target(kind=TargetKind.PHOTO, traits={"sha256": photo.sha256})
        return new_edit(user.name, EditKind.ADD, target, now={"fact": photo.model_dump(mode="json")})

    after = desk.take(row.id, user.owner, make, seen=opened.stored.seen, draft_key=row.draft_key or "")
    return JSONResponse(work_answer(after))


def picture(request: Request) -> Response:
    """GET /jobs/ID/pictures/SHA256: a picture of the job, as JPEG and as nothing else."""
    opened = desk_of(request).open(request.path_params["job"], current_user(request).owner)
    wanted = request.path_params["sha256"]
    if wanted not in {photo.sha256 for photo in opened.draft.photos}:
        raise jobs.no_such_job()
    headers = {"cache-control": "private, max-age=3600", "content-security-policy": "default-src 'none'; sandbox"}
    return Response(store_of(request).files.get(wanted), media_type="image/jpeg", headers=headers)
