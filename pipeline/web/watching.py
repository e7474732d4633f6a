"""What machines ask: whether this process is ready, and the shop's figures. Nothing here names a person or a job."""

from __future__ import annotations

import hmac

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from pipeline.errors import InputError
from pipeline.store.state import metrics, present, text_of, unready
from pipeline.web.desk_of import store_of

OWN = frozenset({"127.0.0.1", "::1"})


def ready(request: Request) -> Response:
    """GET /ready: whether uploads and edits can be taken in just now; 503 says which part is not."""
    wrong = unready(store_of(request))
    return JSONResponse({"ready": not wrong, **wrong}, status_code=503 if wrong else 200)


def figures(request: Request) -> Response:
    """GET /metrics: Prometheus' text format. For this machine itself, or whoever knows the token of the settings."""
    if not _may(request):
        fault = InputError("not-here", "There is nothing at this address.", "Go back to the list of jobs.")
        fault.http_status = 404
        raise fault
    lines = "\n".join(text_of(metrics(store_of(request), present()))) + "\n"
    return PlainTextResponse(lines, media_type="text/plain; version=0.0.4")


def _may(request: Request) -> bool:
    token: str = request.app.state.metrics_token
    if token:
        said = request.headers.get("authorization", "")
        return hmac.compare_digest(said.encode(), f"Bearer {token}".encode())
    # A proxy on this machine asks for others, who are not this machine.
    passed_on = any(name in request.headers for name in ("x-forwarded-for", "forwarded"))
    return request.client is not None and request.client.host in OWN and not passed_on
