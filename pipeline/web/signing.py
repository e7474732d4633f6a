"""Signing in and out, and the page of one's own: password and browsers."""

from __future__ import annotations

import secrets
from typing import Any

from anyio import CapacityLimiter, to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from pipeline.errors import InputError
from pipeline.store import people, second_factor, sessions, tokens
from pipeline.store.store import came_from, note
from pipeline.store.tables_people import PersonRow
from pipeline.web.answers import page
from pipeline.web.desk_of import store_of
from pipeline.web.door import COOKIE, FORM_COOKIE, cookies_of, form_token, own_path, refusal, set_cookie
from pipeline.web.people import current_user

AT_ONCE = 2
"""Passwords checked at one time: each check takes 64 MiB, and guesses must not crowd out those who work."""
checking = CapacityLimiter(AT_ONCE)


def sign_in_page(request: Request) -> Response:
    """GET /sign-in: the form."""
    return _form(request)


def _form(request: Request, told: str = "", status: int = 200) -> Response:
    going = own_path(request.query_params.get("next", "/"))
    token, fresh = request.state.form_token, ""
    if not token:
        fresh = secrets.token_urlsafe(32)
        token = form_token(fresh)
    name = form_of(request).get("name", "")[:64]
    answer = page(
        request,
        "sign_in",
        status=status,
        token=token,
        going=going,
        told=told,
        typed=name,
        service=request.app.state.service,
    )
    if fresh:
        set_cookie(answer, FORM_COOKIE, fresh, 24 * 3600)
    return answer


def form_of(request: Request) -> dict[str, str]:
    """The fields of a form, as the door has read them."""
    found: dict[str, str] = getattr(request.state, "form", {})
    return found


async def sign_in(request: Request) -> Response:
    """POST /sign-in: a name and a password for a session; the same answer whatever was wrong."""
    return await to_thread.run_sync(_sign_in, request, limiter=checking)


def _sign_in(request: Request) -> Response:
    said, store, origin = form_of(request), store_of(request), came_from.get()
    name, password = said.get("name", ""), said.get("password", "")
    wait = _admitted(request, name)
    if wait:
        return _form(request, f"Too many tries. Wait {_seconds(wait)}, then try again.", 429)
    with store.database.reading() as session:
        person = people.person_named(session, name)
        session.expunge_all()
    right = people.verified(person, password)
    with store.database.writing() as session:
        row = session.get(PersonRow, person.id) if person is not None else None
        if (
            person is None
            or row is None
            or not right
            or not _still_so(row, person)
            or not second_factor.passes(session, row, said.get("code", "")[:64])
        ):
            note(session, person.name if person else "somebody unknown", "sign-in:refused")
            secret = ""
        elif person.start_until is not None and person.start_until < people.moment():
            note(session, person.name, "sign-in:refused", detail="start password over")
            return _form(request, "That password was to begin with and is over. Ask an owner for another.", 401)
        else:
            sessions.succeeded(session, name, origin)
            secret = sessions.begin(session, person, origin, cookies_of(request).get(COOKIE, ""))
            note(session, person.name, "sign-in")
    if not secret:
        return _form(request, "That is not right: name, password or code. Look at each, then try again.", 401)
    return with_session(RedirectResponse(own_path(said.get("next", "/")), status_code=303), secret)


def _admitted(request: Request, name: str) -> int:
    with store_of(request).database.writing() as session:
        return sessions.admit(session, name, came_from.get())


def _still_so(now: PersonRow, then: PersonRow) -> bool:
    """Whether the person was not shut out or given another password while his was checked."""
    return not now.disabled and now.password == then.password


def _seconds(wait: int) -> str:
    if wait < 60:
        return f"{wait} {'second' if wait == 1 else 'seconds'}"
    minutes = -(-wait // 60)
    return f"{minutes} {'minute' if minutes == 1 else 'minutes'}"


def sign_out(request: Request) -> Response:
    """POST /sign-out: this browser, or with `everywhere` all of the person."""
    user, store = current_user(request), store_of(request)
    with store.database.writing() as session:
        person = session.get(PersonRow, user.id)
        if form_of(request).get("everywhere") and person is not None:
            people.sign_out_everywhere(session, person)
            note(session, user.name, "sign-out", detail="everywhere")
        else:
            sessions.end(session, request.state.cookie)
            note(session, user.name, "sign-out")
    answer = RedirectResponse("/sign-in", status_code=303)
    set_cookie(answer, COOKIE, "", 0)
    # A shared computer must not keep what was heard and read.
    answer.headers["clear-site-data"] = '"cache"'
    return answer


def fresh_form_token(request: Request) -> Response:
    """GET /form-token: for a page that stood open while its person signed in anew."""
    current_user(request)
    return JSONResponse({"token": request.state.form_token})


def me(request: Request) -> Response:
    """GET /me: one's own page."""
    return my_page(request)


def my_page(request: Request, status: int = 200, **shown: Any) -> Response:
    """One's own page; `told` is what went wrong, the others are shown this once."""
    user = current_user(request)
    with store_of(request).database.reading() as session:
        person = session.get(PersonRow, user.id)
        assert person is not None
        values = {"person": person, "shortest": people.SHORTEST, "tokens": tokens.listed(session, user.id)}
        values["service"], values["service_link"] = request.app.state.service, ""
        session.expunge_all()
    return page(request, "me", status=status, **{"told": "", "token": "", "secret": "", "codes": [], **values, **shown})


async def change_password(request: Request) -> Response:
    """POST /me/password: another password, for who knows the present one; all other browsers are signed out."""
    return await to_thread.run_sync(_change_password, request, limiter=checking)


def _change_password(request: Request) -> Response:
    user, said, store = current_user(request), form_of(request), store_of(request)
    secret = own(request, said.get("password", ""))
    try:
        people.checked_password(said.get("new", ""), user.name)
    except InputError as fault:
        return with_session(my_page(request, 400, told=f"{fault.message} {fault.hint}"), secret)
    with store.database.writing() as session:
        person = session.get(PersonRow, user.id)
        assert person is not None
        people.set_password(session, person, said["new"], user.name)
        secret = sessions.begin(session, person, came_from.get())
    return with_session(RedirectResponse("/me", status_code=303), secret)


def own(request: Request, password: str) -> str:
    """Raises InputError unless this is the password of who is signed in; guesses are braked as at the door.

    Gives the secret of a new session in place of the present one: the answer must set it as the cookie.
    """
    user, store = current_user(request), store_of(request)
    wait = _admitted(request, user.name)
    if wait:
        raise refusal("too-many", f"Too many tries. Wait {_seconds(wait)}.", "Then try again.", 429)
    with store.database.reading() as session:
        person = session.get(PersonRow, user.id)
        session.expunge_all()
    if person is None or not people.verified(person, password):
        raise refusal("wrong-password", "That is not your present password.", "Go back and type it again.", 403)
    with store.database.writing() as session:
        sessions.succeeded(session, user.name, came_from.get())
        secret = sessions.begin(session, person, came_from.get(), request.state.cookie)
    request.state.cookie, request.state.form_token = secret, form_token(secret)
    return secret


def with_session(answer: Response, secret: str) -> Response:
    """The answer with the cookie of a session."""
    set_cookie(answer, COOKIE, secret, int(sessions.ABSOLUTE.total_seconds()))
    return answer
