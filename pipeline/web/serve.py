"""Runs the pages and the job engine in one process, on this machine only."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from pipeline.desk import Desk
from pipeline.errors import InputError, SetupError
from pipeline.hear_apart import hear_apart
from pipeline.jobs import Bench, Engine, Hear
from pipeline.keep import only_call
from pipeline.settings import Settings
from pipeline.shop import Shop, load_shop
from pipeline.store.place import StorePlace
from pipeline.store.store import open_store
from pipeline.web.app import create_app
from pipeline.web.people import local_user

if TYPE_CHECKING:
    from starlette.applications import Starlette

LOOPBACK = "127.0.0.1"


@contextlib.contextmanager
def running(place: StorePlace, settings: Settings, *, hear: Hear = hear_apart) -> Iterator[Starlette]:
    """The application with its engine at work; one process a store. Raises StoreError when another holds it."""
    with only_call(place.home / "served"):
        store = open_store(place)
        engine = Engine(Bench(store, Desk(store, shop_of(place, settings)), settings, hear))
        try:
            engine.start()
            engine.submit_waiting()
            # The first corrected word would wait for the language model otherwise.
            threading.Thread(target=_warm_up, daemon=True).start()
            yield create_app(store, engine.work.desk, engine, local_user(), hearing=settings.hearing)
        finally:
            engine.stop()
            store.close()


def _warm_up() -> None:
    from extractors import find_facts
    from extractors.facts import Segment, Transcript

    find_facts(Transcript(segments=(Segment(text="The box is at 38 degrees."),)))


def shop_of(place: StorePlace, settings: Settings) -> Shop | None:
    """The shop named in the settings, else the `shop.toml` of the store's folder, else none."""
    path = settings.shop or place.home / "shop.toml"
    return load_shop(path) if settings.shop is not None or path.is_file() else None


def serve(place: StorePlace, settings: Settings, port: int, tell: Callable[[str], None]) -> None:
    """Serves until it is stopped. `tell` is given the address once it answers. Raises SetupError for a taken port."""
    import uvicorn

    with listening(port) as (sock, taken), running(place, settings) as app:
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=3
        )
        tell(f"http://{LOOPBACK}:{taken}/")
        # Ctrl+C is how it is meant to end.
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[sock])


@contextlib.contextmanager
def listening(port: int) -> Iterator[tuple[socket.socket, int]]:
    """A socket on this machine alone; port 0 takes a free one."""
    if not 0 <= port <= 65535:
        raise InputError("wrong-port", f"{port} is no port.", "Give a number from 1024 to 65535.")
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((LOOPBACK, port))
        except OSError as fault:
            raise SetupError(
                "port-taken",
                f"Something else already answers on port {port} of this machine.",
                "Close it (it may be another jobtape serve), or name another port with --port.",
            ) from fault
        sock.listen(128)
        yield sock, sock.getsockname()[1]
    finally:
        sock.close()
