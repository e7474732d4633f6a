"""The door of the pages: who asks, from where, whether he may, and what of it the audit trail has to know."""

from __future__ import annotations

import hashlib
import hmac
import time
from collections import OrderedDict
from collections.abc import Callable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from threading import Lock
from typing import Any
from urllib.parse import parse_qs, quote, urlsplit

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from pipeline.errors import InputError, ReportError
from pipeline.store import sessions, tokens
from pipeline.store.store import Store, came_from, note
from pipeline.store.tables import JobRow
from pipeline.web.answers import error_answer, wants_json
from pipeline.web.guard import SAFE, App, Receive, Scope, Send
from pipeline.web.people import User, user_of
from pipeline.web.rules import Asked, asked_of, may

COOKIE = "__Host-jobtape"
FORM_COOKIE = "__Host-jobtape-form"
FORM_HEADER = "x-form-token"
FORM_FIELD = "form_token"
FORM_TYPE = "application/x-www-form-urlencoded"
LARGEST_FORM = 256 << 10
READ_AGAIN_S = 600.0
"""A page fetches its job and sound many times; the trail has one line for what a person reads within ten minutes."""


def sealed(cookie: str, what: str) -> str:
    """A seal on something for one session: only who knows the cookie can make it, and it does not give that away."""
    return hmac.new(cookie.encode(), what.encode(), hashlib.sha256).hexdigest()


def form_token(cookie: str) -> str:
    """What a form of the page must bring."""
    return sealed(cookie, "form")


def refusal(code: str, message: str, hint: str, status: int) -> InputError:
    """A refusal of the door."""
    fault = InputError(code, message, hint)
    fault.http_status = status
    return fault


@dataclass
class Lately:
    """What was told to the trail a short while ago."""

    known: OrderedDict[tuple[str, ...], float] = field(default_factory=OrderedDict)
    lock: Lock = field(default_factory=Lock)

    def is_new(self, *what: str) -> bool:
        """Whether this was not told within ten minutes; it counts as told from now on."""
        with self.lock:
            now = time.monotonic()
            before = self.known.pop(what, None)
            fresh = before is None or now - before > READ_AGAIN_S
            self.known[what] = now if fresh or before is None else before
            while len(self.known) > 5000:
                self.known.popitem(last=False)
        return fresh


class Door:
    """Lets a request through when its rule says so. With a fixed `user` there is no sign-in: this machine alone."""

    def __init__(self, app: App, store: Store, user: User | None) -> None:
        """Takes the store with its people, or the one user of this machine."""
        self.app, self.store, self.user = app, store, user
        self.lately = Lately()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        came_from.set(request.client.host if request.client and self.user is None else "")
        state: dict[str, Any] = scope.setdefault("state", {})
        state["user"], state["form_token"], state["signs_in"] = self.user, "", self.user is None
        asked = asked_of(scope["app"].routes, scope)
        try:
            if self.user is None:
                receive = await self._known(request, asked, state, receive)
            refused = await to_thread.run_sync(self._decided, request, asked, state)
        except ReportError as fault:
            refused = error_answer(request, fault)
        await (refused or self.app)(scope, receive, send)

    async def _known(self, request: Request, asked: Asked | None, state: dict[str, Any], receive: Receive) -> Receive:
        """Finds who asks. A write with a cookie must bring the page's form token. Raises InputError else."""
        scheme, _, brought = request.headers.get("authorization", "").partition(" ")
        if scheme.lower() == "bearer" and not (asked is not None and asked.rule.open):
            await to_thread.run_sync(self._script, asked, state, brought.strip())
            return receive
        cookies = cookies_of(request)
        cookie = cookies.get(COOKIE, "")
        if asked is not None and (not asked.rule.open or asked.path.startswith("/sign-in")):
            person = await to_thread.run_sync(sessions.find, self.store.database, cookie)
            if person is not None:
                state["user"], state["cookie"] = user_of(person), cookie
                state["start"] = person.start_until is not None
        signed = state.get("cookie") or cookies.get(FORM_COOKIE, "")
        state["form_token"] = form_token(signed) if signed else ""
        if request.method in SAFE:
            return receive
        brought = request.headers.get(FORM_HEADER, "")
        if request.headers.get("content-type", "").split(";")[0].strip().lower() == FORM_TYPE:
            body = await _body(request)
            state["form"] = {name: said[-1] for name, said in parse_qs(body.decode("utf-8", "replace")).items()}
            brought = brought or state["form"].get(FORM_FIELD, "")
            receive = _again(body)
        wanted = state["form_token"]
        if (state["user"] is not None or (asked is not None and asked.rule.open)) and not (
            wanted and hmac.compare_digest(brought.encode(), wanted.encode())
        ):
            if state["user"] is not None:
                await to_thread.run_sync(self._tell, state["user"], "refused", "form token")
            raise refusal("form-token", "This page is older than your sign-in.", "Reload it and do it again.", 403)
        return receive

    def _script(self, asked: Asked | None, state: dict[str, Any], secret: str) -> None:
        """A script with a token: no cookie counts, and nothing but uploads is open to it. Raises InputError else."""
        person = tokens.find(self.store.database, secret)
        if person is None:
            hint = "Make a new one on the page of its person."
            raise refusal("wrong-token", "That token is not known, or not any more.", hint, 401)
        user = user_of(person)
        if asked is None or not asked.rule.script:
            self._tell(user, "refused", f"token: {asked.path if asked else ''}")
            raise refusal("only-uploads", "A token is for uploads alone.", "Sign in in a browser for this.", 403)
        state["user"] = user

    def _decided(self, request: Request, asked: Asked | None, state: MutableMapping[str, Any]) -> Response | None:
        """None when the request may go on. Raises InputError when this person may not."""
        user: User | None = state["user"]
        if user is None and (asked is None or not asked.rule.open):
            return _to_sign_in(request)
        if asked is None or asked.rule.open:
            return None
        assert user is not None
        job = asked.values.get("job")
        if not may(user, asked.rule):
            self._tell(user, "refused", f"{request.method} {asked.path}", job)
            raise refusal("not-allowed", "Your role does not allow this.", "Ask an owner of the shop to do it.", 403)
        if state.get("start") and not asked.rule.start:
            if request.method in SAFE and not wants_json(request):
                return RedirectResponse("/me", status_code=303)
            raise refusal("start-password", "Your password was to begin with.", "Set one of your own first.", 403)
        if job is not None and user.owner is not None:
            self._own(user, str(job), f"{request.method} {asked.path}")
        if asked.rule.reads:
            self._read(user, job, asked.rule.reads.format(**asked.values)[:80])
        return None

    def _own(self, user: User, job: str, what: str) -> None:
        """Raises InputError, the same as for a job that is not there, when the job is somebody else's."""
        from pipeline.store.jobs import no_such_job

        with self.store.database.reading() as session:
            row = session.get(JobRow, job)
            owner = row.owner if row is not None else None
        if owner != user.owner:
            if owner is not None:
                self._tell(user, "refused", what, job)
            raise no_such_job()

    def _read(self, user: User, job: str | None, what: str) -> None:
        """Writes down that somebody reads something. On a network nobody reads what cannot be noted."""
        if not self.lately.is_new(user.id, job or "", what, came_from.get()):
            return
        try:
            with self.store.database.writing() as session:
                if job is None or session.get(JobRow, job) is not None:
                    note(session, user.name, "read", job, what)
        except ReportError:
            if self.user is None:
                raise

    def _tell(self, user: User, what: str, detail: str, job: str | None = None) -> None:
        if self.lately.is_new(user.id, what, detail, job or "", came_from.get()):
            with self.store.database.writing() as session:
                note(session, user.name, what, job, detail)


def refusals_of(store: Store) -> Callable[[str], None]:
    """Notes in the trail what the guard before the door refused, one line an address in ten minutes."""
    lately = Lately()

    def tell(origin: str) -> None:
        if lately.is_new(origin):
            came_from.set(origin)
            with store.database.writing() as session:
                note(session, "somebody unknown", "refused", detail="by another site's page or name")

    return tell


def cookies_of(request: Request) -> dict[str, str]:
    """The cookies of a request; none when they are unreadable."""
    try:
        return {name: value.value for name, value in SimpleCookie(request.headers.get("cookie", "")).items()}
    except CookieError:
        return {}


def set_cookie(response: Response, name: str, value: str, seconds: int) -> None:
    """A cookie that scripts cannot read, that goes over TLS to this host alone and not with other sites' writes."""
    response.set_cookie(name, value, max_age=seconds, path="/", secure=True, httponly=True, samesite="lax")


def own_path(said: str) -> str:
    """An address within these pages to go on to; the list of jobs for anything else."""
    parts = urlsplit(said)
    plain = said.startswith("/") and not said.startswith("//") and "\\" not in said and said.isprintable()
    return said if plain and not parts.netloc and not parts.scheme and len(said) < 500 else "/"


def _to_sign_in(request: Request) -> Response:
    # A sound or a script that asks in the background is not shown the form: it would get a form cookie of its own and
    # make the form in another window one of yesterday.
    behind = request.headers.get("sec-fetch-mode", "navigate") != "navigate"
    if behind or wants_json(request) or request.method not in SAFE:
        raise refusal(
            "signed-out",
            "You are not signed in, or not any more.",
            "Sign in in another window of this browser, then do it again here; what you typed stays.",
            401,
        )
    target = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    address = "/sign-in" if target == "/" else f"/sign-in?next={quote(target, safe='/')}"
    return RedirectResponse(address, status_code=303)


async def _body(request: Request) -> bytes:
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > LARGEST_FORM:
            raise refusal("too-large", "That was too much at once.", "Send less.", 413)
    return bytes(body)


def _again(body: bytes) -> Receive:
    """The body once more, for whoever answers the request."""
    messages = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> MutableMapping[str, Any]:
        return messages.pop() if messages else {"type": "http.disconnect"}

    return receive
