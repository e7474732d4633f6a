"""The sound of a job: the recording itself, from any second on, and the strip that shows where the voice is."""

from __future__ import annotations

from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, Response

from pipeline.errors import InputError
from pipeline.store import jobs
from pipeline.store.tables import RecordingRow
from pipeline.web.desk_of import store_of
from pipeline.web.people import current_user

TYPES = {
    ".aac": "audio/aac", ".m4a": "audio/mp4", ".m4b": "audio/mp4", ".mp4": "audio/mp4", ".mp3": "audio/mpeg",
    ".wav": "audio/wav",
}  # fmt: skip


def _recording(request: Request) -> RecordingRow:
    with store_of(request).database.reading() as session:
        jobs.job(session, request.path_params["job"], current_user(request).owner)
        recordings = jobs.recordings_of(session, request.path_params["job"])
        session.expunge_all()
    number = int(request.path_params["number"])
    if number >= len(recordings):
        raise jobs.no_such_job()
    found: RecordingRow = recordings[number]
    return found


def sound(request: Request) -> Response:
    """GET /jobs/ID/sound/N: the recording, in stretches as the browser asks for them."""
    recording = _recording(request)
    kept = recording.playable or recording.sha256
    if not recording.kept:
        fault = InputError("recording-gone", "The recording is no longer kept.", "The words of it still are.")
        fault.http_status = 410
        raise fault
    path = store_of(request).files.local(kept)
    kind = "audio/mp4" if recording.playable else TYPES.get(Path(recording.file_name).suffix.lower(), "audio/mpeg")
    # The bytes under an address never change: a browser may keep what it has while the page is open.
    headers = {"cache-control": "private, max-age=3600", "etag": f'"{kept}"'}
    return FileResponse(path, media_type=kind, headers=headers)


def strip(request: Request) -> Response:
    """GET /jobs/ID/strip/N: loudness, one byte for each twentieth of a second."""
    recording = _recording(request)
    data = store_of(request).files.get(recording.peaks) if recording.peaks else b""
    return Response(data, media_type="application/octet-stream", headers={"cache-control": "private, max-age=3600"})
