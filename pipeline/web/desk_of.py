"""What the routes work with: the store, the desk and the engine of the running program."""

from __future__ import annotations

from typing import Protocol

from sqlalchemy.orm import Session
from starlette.requests import Request

from pipeline.desk import Desk
from pipeline.store.store import Store
from pipeline.store.tables import RecordingRow


class Submits(Protocol):
    """What pages need of the job engine."""

    def submit(self, session: Session, recording: RecordingRow) -> None:
        """Puts a recording into the queue, in the caller's transaction."""
        ...


def store_of(request: Request) -> Store:
    """The store of the running program."""
    store = request.app.state.store
    assert isinstance(store, Store)
    return store


def desk_of(request: Request) -> Desk:
    """The desk of the running program."""
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk


def engine_of(request: Request) -> Submits:
    """The engine of the running program."""
    engine: Submits = request.app.state.engine
    return engine
