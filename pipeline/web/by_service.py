"""Signing in by the shop's service, and telling it once whom it means."""

from __future__ import annotations

import hmac
import secrets

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from pipeline.store import sessions
from pipeline.store.people import digest
from pipeline.store.store import came_from, note
from pipeline.store.tables_people import PersonRow, ServiceNameRow
from pipeline.web.desk_of import store_of
from pipeline.web.door import COOKIE, cookies_of, refusal, sealed, set_cookie
from pipeline.web.people import current_user, viewer
from pipeline.web.service import Service
from pipeline.web.signing import form_of, my_page, own, with_session

SERVICE_COOKIE = "__Host-jobtape-service"
BACK = "/sign-in/service/back"
MINUTES = 10


def _service(request: Request) -> Service:
    service = request.app.state.service
    if not isinstance(service, Service):
        raise refusal("no-service", "No sign-in service is set here.", "Use your password.", 404)
    return service


def _back(request: Request) -> str:
    return f"{request.url.scheme}://{request.url.netloc}{BACK}"


def go(request: Request) -> Response:
    """GET /sign-in/service: to the service, with what only this browser knows."""
    cookie = secrets.token_urlsafe(32)
    answer = RedirectResponse(_service(request).address(_back(request), cookie), status_code=303)
    set_cookie(answer, SERVICE_COOKIE, cookie, MINUTES * 60)
    return answer


async def connect(request: Request) -> Response:
    """POST /me/service: a link to the service, after whose sign-in it is known whom it means; needs the password."""
    return await to_thread.run_sync(_connect, request)


def _connect(request: Request) -> Response:
    service = _service(request)
    renewed = own(request, form_of(request).get("password", ""))
    # Bound to the session: nobody else's coming back can connect his account with this person.
    cookie = f"{secrets.token_urlsafe(32)}.connect"
    mark = sealed(request.state.cookie, cookie)
    answer = my_page(request, service_link=service.address(_back(request), f"{cookie}.{mark}"))
    set_cookie(answer, SERVICE_COOKIE, f"{cookie}.{mark}", MINUTES * 60)
    return with_session(answer, renewed)


def back(request: Request) -> Response:
    """GET /sign-in/service/back?code=…&state=…: from the service; signs in, or connects who asked for that."""
    service, cookie = _service(request), cookies_of(request).get(SERVICE_COOKIE, "")
    state, code = (request.query_params.get(name, "")[:2000] for name in ("state", "code"))
    if not cookie or not code or not hmac.compare_digest(state.encode(), sealed(cookie, "state").encode()):
        raise refusal("service-unsound", "That is not an answer to what was asked here.", "Begin again.", 403)
    key = digest(service.subject(_back(request), cookie, code))
    wants, _, mark = cookie.rpartition(".")
    answer = _connected(request, key, wants, mark) if wants.endswith(".connect") else _signed_in(request, key)
    set_cookie(answer, SERVICE_COOKIE, "", 0)
    return answer


def _connected(request: Request, key: str, wants: str, mark: str) -> Response:
    if viewer(request) is None or not hmac.compare_digest(mark, sealed(request.state.cookie, wants)):
        raise refusal("service-unsound", "You are not signed in as who began this.", "Begin again.", 403)
    user = current_user(request)
    with store_of(request).database.writing() as session:
        there = session.get(ServiceNameRow, key)
        if there is not None and there.person_id != user.id:
            raise refusal("service-taken", "That account is somebody else's here.", "Sign in there as yourself.", 409)
        if there is None:
            session.add(ServiceNameRow(key=key, person_id=user.id))
            note(session, user.name, "service:connect")
    return RedirectResponse("/me", status_code=303)


def _signed_in(request: Request, key: str) -> Response:
    origin, secret = came_from.get(), ""
    with store_of(request).database.writing() as session:
        known = session.get(ServiceNameRow, key)
        person = session.get(PersonRow, known.person_id) if known is not None else None
        if person is None or person.disabled:
            note(session, person.name if person else "somebody unknown", "sign-in:refused", detail="service")
        else:
            secret = sessions.begin(session, person, origin, cookies_of(request).get(COOKIE, ""))
            note(session, person.name, "sign-in", detail="service")
    if not secret:
        raise refusal(
            "service-unknown",
            "The service knows you, but nobody here is connected with that account.",
            "Sign in with your password once and connect it on your own page.",
            403,
        )
    return with_session(RedirectResponse("/", status_code=303), secret)
