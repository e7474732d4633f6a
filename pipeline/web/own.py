"""What belongs to one person alone: the second factor and the tokens of his scripts."""

from __future__ import annotations

import hmac

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from pipeline.errors import InputError
from pipeline.store import second_factor, tokens
from pipeline.store.tables_people import PersonRow
from pipeline.web.desk_of import store_of
from pipeline.web.door import sealed
from pipeline.web.people import current_user
from pipeline.web.signing import checking, form_of, my_page, own, with_session


async def factor(request: Request) -> Response:
    """POST /me/factor: `do` is begin, on or off; each needs the present password."""
    return await to_thread.run_sync(_factor, request, limiter=checking)


def _factor(request: Request) -> Response:
    said, user, store = form_of(request), current_user(request), store_of(request)
    deed, secret = said.get("do"), said.get("secret", "")
    if deed == "on":
        # Only a secret that was made here, for who gave his password in this session.
        if not hmac.compare_digest(said.get("seal", "").encode(), sealed(request.state.cookie, secret).encode()):
            raise InputError("too-old", "That page is older than your sign-in.", "Begin again.")
        with store.database.writing() as session:
            person = session.get_one(PersonRow, user.id)
            codes = second_factor.switch_on(session, person, secret, said.get("code", ""))
        if codes is None:
            told = "That is not the present code. Look at the clock of the phone, then try again."
            return _begun(request, secret, 400, told)
        return my_page(request, codes=codes)
    renewed = own(request, said.get("password", ""))
    if deed == "begin":
        return with_session(_begun(request, second_factor.new_secret()), renewed)
    with store.database.writing() as session:
        second_factor.switch_off(session, session.get_one(PersonRow, user.id), user.name)
    return with_session(RedirectResponse("/me", status_code=303), renewed)


def _begun(request: Request, secret: str, status: int = 200, told: str = "") -> Response:
    link = second_factor.address_of(secret, current_user(request).name)
    seal = sealed(request.state.cookie, secret)
    return my_page(request, status, secret=secret, link=link, seal=seal, told=told)


async def token(request: Request) -> Response:
    """POST /me/tokens: a new token, shown once; with `end` the one of that id is taken back."""
    return await to_thread.run_sync(_token, request)


def _token(request: Request) -> Response:
    said, user, store = form_of(request), current_user(request), store_of(request)
    try:
        with store.database.writing() as session:
            person = session.get_one(PersonRow, user.id)
            if said.get("end"):
                tokens.take_back(session, person, said["end"])
                made = ""
            else:
                made = tokens.make(session, person, said.get("name", ""))
    except InputError as fault:
        return my_page(request, 400, told=f"{fault.message} {fault.hint}")
    return my_page(request, token=made) if made else RedirectResponse("/me", status_code=303)
