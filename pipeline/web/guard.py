"""What every answer carries and every request must pass: headers, the host's name, the origin of writes."""

from __future__ import annotations

import ipaddress
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from typing import Any
from urllib.parse import urlsplit

from anyio import to_thread
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "media-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS: Mapping[str, str] = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class Guard:
    """Refuses writes that another site's page makes, and requests for another name; sets the headers of all answers."""

    def __init__(
        self,
        app: App,
        hosts: frozenset[str] | None,
        *,
        on_network: bool = False,
        tell: Callable[[str], None] | None = None,
    ) -> None:
        """`hosts` are the names under which this program may be asked, None for any.

        On a network it may be asked by number as well, and browsers are told to come over TLS alone. `tell` is given
        the asker's address for every refusal.
        """
        self.app = app
        self.hosts = hosts
        self.on_network = on_network
        self.tell = tell

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def answer(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if self.on_network:
                    headers["strict-transport-security"] = "max-age=31536000"
                headers.setdefault("cache-control", "no-store")
            await send(message)

        refused = self._refused(scope)
        if refused is not None:
            if self.tell is not None:
                await to_thread.run_sync(self.tell, scope["client"][0] if scope.get("client") else "")
            body = {"code": "refused", "message": refused, "hint": "Open the page itself and do it there."}
            await JSONResponse(body, status_code=403)(scope, receive, answer)
            return
        await self.app(scope, receive, answer)

    def _refused(self, scope: Scope) -> str | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        # A foreign name that resolves to this machine would make a foreign page the same origin as this one.
        if self.hosts is not None and not self._ours(host):
            return "This address does not belong to this program."
        if scope["method"] in SAFE:
            return None
        site = headers.get("sec-fetch-site")
        if site is not None:
            return None if site in ("same-origin", "none") else "Another site's page tried to change something here."
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != host:
            return "Another site's page tried to change something here."
        return None

    def _ours(self, host: str) -> bool:
        assert self.hosts is not None
        try:
            name = urlsplit(f"//{host}").hostname or ""
            if name in self.hosts:
                return True
            # No foreign name can stand for a number.
            return self.on_network and bool(ipaddress.ip_address(name))
        except ValueError:
            return False
