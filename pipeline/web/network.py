"""Listening beyond this machine: never without sign-in, never without TLS, by its own certificate or a named proxy."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.responses import JSONResponse

from pipeline.errors import InputError, SetupError
from pipeline.store import people
from pipeline.store.place import StorePlace
from pipeline.store.store import Store
from pipeline.web.certificate import own_certificate
from pipeline.web.guard import App, Receive, Scope, Send

Net = ipaddress.IPv4Network | ipaddress.IPv6Network


@dataclass(frozen=True)
class Network:
    """How the pages are reached from other machines.

    `names` are the host names they may be asked under, besides this machine's addresses. Either `certificate` and `key`
    are set, or `proxies`: the addresses of what speaks TLS for us.
    """

    address: str
    names: frozenset[str]
    certificate: Path | None = None
    key: Path | None = None
    proxies: tuple[Net, ...] = ()

    def tls(self) -> dict[str, Any]:
        """What the web server is told of TLS."""
        if self.certificate is None or self.key is None:
            return {}
        return {"ssl_certfile": str(self.certificate), "ssl_keyfile": str(self.key)}


def network_of(
    place: StorePlace,
    listen: str,
    names: Sequence[str] = (),
    certificate: Path | None = None,
    key: Path | None = None,
    proxies: Sequence[str] = (),
) -> Network:
    """The network of these options, with its own certificate when none is named. Raises InputError for wrong ones."""
    try:
        address = ipaddress.ip_address(listen)
    except ValueError as fault:
        raise InputError(
            "wrong-address",
            f"{listen} is no address of a network card.",
            "Give one of this machine's addresses, or 0.0.0.0 for all of them.",
        ) from fault
    if (certificate is None) != (key is None):
        raise InputError(
            "half-certificate", "A certificate and its key belong together.", "Name both: --certificate and --key."
        )
    if proxies and certificate is not None:
        raise InputError(
            "two-ways", "Either a proxy speaks TLS or this program does.", "Leave out --behind-proxy or --certificate."
        )
    for file in (certificate, key):
        if file is not None and not file.is_file():
            raise InputError("no-certificate", f"There is no file {file}.", "Look at --certificate and --key.")
    known = frozenset(name.lower().rstrip(".") for name in (*names, socket.gethostname(), "localhost"))
    if proxies:
        return Network(listen, known, proxies=tuple(_net(proxy) for proxy in proxies))
    if certificate is None:
        addresses = [str(address)] if not address.is_unspecified else ["127.0.0.1", *_own_addresses()]
        certificate, key = own_certificate(place.home / "tls", [*known, *addresses])
    return Network(listen, known, certificate, key)


def _net(said: str) -> Net:
    try:
        return ipaddress.ip_network(said)
    except ValueError as fault:
        raise InputError(
            "wrong-address",
            f"{said} is no address of a proxy.",
            "Give its address as this machine sees it, such as 10.0.0.2, or a network such as 10.0.0.0/28.",
        ) from fault


def _own_addresses() -> list[str]:
    """The machine's own addresses, as far as its name tells them."""
    try:
        found = socket.getaddrinfo(socket.gethostname(), None)
    except OSError:
        return []
    return sorted({str(entry[4][0]).split("%")[0] for entry in found})


def refuse_without_people(store: Store) -> None:
    """Raises SetupError when nobody could sign in."""
    with store.database.reading() as session:
        if not people.owners(session):
            raise SetupError(
                "nobody-may-sign-in",
                "On a network people have to sign in, and there is no owner yet.",
                "Make one first: jobtape people add NAME --role owner",
            )


WATCHED = frozenset({"/health", "/ready", "/metrics"})
"""What machines of the shop ask this one itself; the last one lets in by its own rule."""


class Behind:
    """Takes requests from the named proxy alone, and believes what it says of who asked it."""

    def __init__(self, app: App, proxies: Sequence[Net]) -> None:
        """`proxies` are the addresses from which the proxy speaks to us."""
        self.app, self.proxies = app, proxies

    def _trusted(self, address: str) -> bool:
        try:
            return any(ipaddress.ip_address(address) in net for net in self.proxies)
        except ValueError:
            return False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http" or scope["path"] in WATCHED:
            await self.app(scope, receive, send)
            return
        peer = scope["client"][0] if scope.get("client") else ""
        said = {name: value.decode("latin-1") for name, value in scope["headers"] if name.startswith(b"x-forwarded-")}
        if not self._trusted(peer) or said.get(b"x-forwarded-proto") != "https":
            hint = "It must come from the address named with --behind-proxy and say X-Forwarded-Proto: https."
            told = {"code": "not-by-proxy", "message": "This did not come through the named proxy.", "hint": hint}
            await JSONResponse(told, status_code=403)(scope, receive, send)
            return
        # The last address that is not a proxy of ours is the asker; what stands before it anybody may have written.
        asked = [part.strip() for part in said.get(b"x-forwarded-for", "").split(",")]
        found = next((part for part in reversed(asked) if part and not self._trusted(part)), peer)
        try:
            ipaddress.ip_address(found)
        except ValueError:
            found = peer
        scope["client"], scope["scheme"] = (found, 0), "https"
        await self.app(scope, receive, send)
