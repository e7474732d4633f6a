"""Runs the pages with their worker beside them, on this machine only."""

from __future__ import annotations

import contextlib
import gc
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from pipeline.desk import Desk, shop_of
from pipeline.errors import InputError, SetupError
from pipeline.jobs import Bench, Hear
from pipeline.jobs_engine import Engine
from pipeline.keep import only_call
from pipeline.log import begin as begin_log
from pipeline.settings import Settings
from pipeline.store.place import StorePlace
from pipeline.store.store import open_store
from pipeline.web.app import LOOPBACK as LOOPBACK_NAMES
from pipeline.web.app import create_app
from pipeline.web.network import Network, refuse_without_people
from pipeline.web.people import local_user
from pipeline.web.service import service_of
from pipeline.worker import Workers, working

if TYPE_CHECKING:
    from starlette.applications import Starlette

LOOPBACK = "127.0.0.1"

SWITCH_S = 0.001
"""How long one thread computes before another may (sys.setswitchinterval): the one that reads from all connections
must not wait its turn behind every edit that is being worked out."""

COLLECT_AFTER = (50_000, 20, 100)
"""When Python looks for garbage that refers to itself (gc.set_threshold). The drafts that are held ready are many and
live long: with the usual setting a third of the time of an edit went into walking through them again and again."""


@contextlib.contextmanager
def running(
    place: StorePlace,
    settings: Settings,
    *,
    hear: Hear | None = None,
    network: Network | None = None,
    workers: int = 1,
) -> Iterator[Starlette]:
    """The application with its workers beside it; one a home folder. Raises StoreError when another serves it.

    With `hear` the worker runs in this process and hears with that. No workers where others do the work. On a
    `network` people sign in; raises SetupError when nobody could.
    """
    with contextlib.ExitStack() as stack:
        stack.enter_context(only_call(place.home / "served"))
        gc.set_threshold(*COLLECT_AFTER)
        sys.setswitchinterval(SWITCH_S)
        if network is not None:
            with contextlib.closing(open_store(place)) as looked_at:
                refuse_without_people(looked_at)
        if hear is not None:
            store, engine = stack.enter_context(working(place, settings, hear=hear))
        else:
            store = open_store(place)
            stack.callback(store.close)
            engine = Engine(Bench(store, Desk(store, shop_of(place, settings)), settings))
            stack.callback(engine.close)
            engine.prepare()
            if workers:
                processes = Workers(place, settings, workers)
                processes.start()
                stack.callback(processes.stop)
        threading.Thread(target=_warm_up, args=(engine.work.desk,), daemon=True).start()
        yield create_app(
            store,
            engine.work.desk,
            engine,
            None if network else local_user(),
            hosts=network.names if network else LOOPBACK_NAMES,
            proxies=network.proxies if network else (),
            hearing=settings.hearing,
            metrics_token=settings.metrics,
            service=service_of(settings.oidc, settings.oidc_client, settings.oidc_secret) if network else None,
        )


def _warm_up(desk: Desk) -> None:
    """Does once what the first page, the first edit and the first corrected word would have to wait for."""
    from extractors import find_facts
    from extractors.facts import Segment, Transcript
    from pipeline.web.work import warm_up

    # A fault of it is told where it matters: when a page is asked for, or a recording read.
    with contextlib.suppress(Exception):
        warm_up(desk)
    with contextlib.suppress(Exception):
        find_facts(Transcript(segments=(Segment(text="The box is at 38 degrees."),)))


def serve(
    place: StorePlace,
    settings: Settings,
    port: int,
    tell: Callable[[str], None],
    network: Network | None = None,
    workers: int = 1,
) -> None:
    """Serves until it is stopped. `tell` is given the address once it answers. Raises SetupError for a taken port."""
    import uvicorn

    host = network.address if network else LOOPBACK
    with listening(port, host) as (sock, taken), running(place, settings, network=network, workers=workers) as app:
        # Who asked is told by Behind, and only where a proxy is named.
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=3,
            **(network.tls() if network else {}),
        )
        begin_log(settings.log)
        scheme = "https" if network and network.certificate else "http"
        tell(f"{scheme}://{f'[{host}]' if ':' in host else host}:{taken}/")
        # Ctrl+C is how it is meant to end.
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[sock])


@contextlib.contextmanager
def listening(port: int, host: str = LOOPBACK) -> Iterator[tuple[socket.socket, int]]:
    """A socket on this machine alone unless told otherwise; port 0 takes a free one."""
    if not 0 <= port <= 65535:
        raise InputError("wrong-port", f"{port} is no port.", "Give a number from 1024 to 65535.")
    sock = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((host, port))
        except OSError as fault:
            raise SetupError(
                "port-taken",
                f"Something else already answers on port {port} of this machine, or it has no address {host}.",
                "Close it (it may be another jobtape serve), or name another port with --port.",
            ) from fault
        sock.listen(128)
        yield sock, sock.getsockname()[1]
    finally:
        sock.close()
