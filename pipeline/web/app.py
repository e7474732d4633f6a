"""The pages put together: which address is answered by what, with what every answer carries."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Sequence
from typing import Any

from anyio import CapacityLimiter, to_thread
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from pipeline.desk import Desk
from pipeline.errors import InputError, ReportError
from pipeline.render.places import template_folder
from pipeline.store.store import Store
from pipeline.web import (
    auditing,
    browsing,
    by_service,
    editing,
    learning,
    managing,
    own,
    papering,
    picturing,
    planning,
    reviewing,
    signing,
    sounding,
    uploading,
    watching,
)
from pipeline.web.answers import HERE, error_answer
from pipeline.web.desk_of import Submits
from pipeline.web.door import Door, refusals_of
from pipeline.web.guard import Guard
from pipeline.web.network import Behind, Net
from pipeline.web.people import User
from pipeline.web.service import Service

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})


SENDING_AT_ONCE = 4
"""Threads that write uploads to the disk."""

ASKED_AT_ONCE = 8
"""Threads that answer requests. More of them would only take turns at one interpreter: all are answered late then,
instead of each in its turn."""


class Assets(StaticFiles):
    """Shipped files; their addresses carry the program's version, so a browser may keep them."""

    def file_response(self, *args: Any, **options: Any) -> Response:
        """A file with leave to keep it."""
        response = super().file_response(*args, **options)
        response.headers["cache-control"] = "public, max-age=86400"
        return response


ROUTES = [
    Route("/", browsing.home),
    Route("/states", reviewing.states),
    Route("/find", browsing.find),
    Route("/machines", browsing.all_machines),
    Route("/machines/{machine}", browsing.machine),
    Route("/due", browsing.due),
    Route("/due/{follow_up:int}", browsing.tick, methods=["POST"]),
    Route("/words", learning.words),
    Route("/words", learning.decide, methods=["POST"]),
    Route("/uploads", uploading.begin, methods=["POST"]),
    Route("/uploads/{upload}", uploading.received),
    Route("/uploads/{upload}", uploading.send, methods=["PUT"]),
    Route("/uploads/{upload}/done", uploading.done, methods=["POST"]),
    Route("/jobs/{job}", reviewing.job),
    Route("/jobs/{job}/state", reviewing.state),
    Route("/jobs/{job}/work", reviewing.work),
    Route("/jobs/{job}/edits", editing.edit, methods=["POST"]),
    Route("/jobs/{job}/again", reviewing.again, methods=["POST"]),
    Route("/jobs/{job}/machine", reviewing.likely, methods=["POST"]),
    Route("/jobs/{job}/sound/{number:int}", sounding.sound),
    Route("/jobs/{job}/strip/{number:int}", sounding.strip),
    Route("/jobs/{job}/pictures", picturing.add, methods=["POST"]),
    Route("/jobs/{job}/pictures/{sha256}", picturing.picture),
    Route("/jobs/{job}/look", papering.look),
    Route("/jobs/{job}/papers/{name}", papering.paper),
    Route("/jobs/{job}/sent/{paper}", papering.sent_paper),
    Route("/jobs/{job}/send", papering.send, methods=["POST"]),
    Route("/jobs/{job}/forget", browsing.forget, methods=["POST"]),
    Route("/audit", auditing.trail),
]

PEOPLE_ROUTES = [
    Route("/sign-in", signing.sign_in_page),
    Route("/sign-in", signing.sign_in, methods=["POST"]),
    Route("/sign-in/service", by_service.go),
    Route("/sign-in/service/back", by_service.back),
    Route("/me/service", by_service.connect, methods=["POST"]),
    Route("/sign-out", signing.sign_out, methods=["POST"]),
    Route("/form-token", signing.fresh_form_token),
    Route("/me", signing.me),
    Route("/me/password", signing.change_password, methods=["POST"]),
    Route("/me/factor", own.factor, methods=["POST"]),
    Route("/me/tokens", own.token, methods=["POST"]),
    Route("/plan", planning.plan),
    Route("/plan", planning.bring, methods=["POST"]),
    Route("/plan/{line:int}", planning.settle, methods=["POST"]),
    Route("/jobs/{job}/planned", planning.take_over, methods=["POST"]),
    Route("/people", managing.everybody),
    Route("/people", managing.add, methods=["POST"]),
    Route("/people/{person}", managing.change, methods=["POST"]),
]
"""What there is besides where people sign in."""


def health(request: Request) -> Response:
    """GET /health: this process answers."""
    return JSONResponse({"alive": True})


def create_app(
    store: Store,
    desk: Desk,
    engine: Submits,
    user: User | None,
    *,
    hosts: frozenset[str] | None = LOOPBACK,
    proxies: Sequence[Net] = (),
    hearing: str = "careful",
    metrics_token: str = "",
    service: Service | None = None,
) -> Starlette:
    """The application.

    `user` is who is at the page, None where people sign in; `hosts` the names it may be asked under; `proxies` the
    addresses from which alone it may be asked, if there are any; `hearing` how recordings are heard unless
    the page says otherwise; `metrics_token` what must be said to see the shop's figures from another
    machine; `service` where people may sign in besides.
    """
    app = Starlette(
        routes=[
            *ROUTES,
            *(PEOPLE_ROUTES if user is None else ()),
            Route("/health", health),
            Route("/ready", watching.ready),
            Route("/metrics", watching.figures),
            Mount("/static", Assets(directory=HERE / "static")),
            Mount("/fonts", Assets(directory=template_folder() / "fonts")),
        ],
        middleware=[
            *([Middleware(Behind, proxies=proxies)] if proxies else []),
            Middleware(Guard, hosts=hosts, on_network=user is None, tell=refusals_of(store)),
            Middleware(Door, store=store, user=user),
        ],
        lifespan=_living,
        exception_handlers={ReportError: error_answer, HTTPException: _http, Exception: error_answer},
    )
    app.state.store, app.state.desk, app.state.engine = store, desk, engine
    app.state.hearing, app.state.metrics_token, app.state.service = hearing, metrics_token, service
    app.state.sending = CapacityLimiter(SENDING_AT_ONCE)
    return app


@contextlib.asynccontextmanager
async def _living(app: Starlette) -> AsyncIterator[None]:
    to_thread.current_default_thread_limiter().total_tokens = ASKED_AT_ONCE
    yield


def _http(request: Request, fault: Exception) -> Response:
    """What the framework refuses, as our own sentence."""
    status = fault.status_code if isinstance(fault, HTTPException) else 500
    told = InputError("not-here", "There is nothing at this address.", "Go back to the list of jobs.")
    if status == 405:
        told = InputError("not-here", "That cannot be done at this address.", "Go back to the list of jobs.")
    told.http_status = status
    return error_answer(request, told)
