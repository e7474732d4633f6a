"""The store opened: its database, its files, its uploads; and the small things that all its parts share."""

from __future__ import annotations

import secrets
from contextvars import ContextVar
from dataclasses import dataclass

from sqlalchemy.orm import Session

from pipeline.keep import make_folder
from pipeline.store.database import Database, ready
from pipeline.store.files import Files, open_files
from pipeline.store.place import StorePlace
from pipeline.store.tables import AuditRow
from pipeline.store.uploads import Uploads

LOCAL = "local"
"""The one person of an embedded store."""

came_from: ContextVar[str] = ContextVar("came_from", default="")
"""The network address of whoever asked for what runs just now; empty for this machine's own work."""


@dataclass(frozen=True)
class Store:
    """Everything that is kept. One of these a process."""

    place: StorePlace
    database: Database
    files: Files
    uploads: Uploads

    def close(self) -> None:
        """Lets go of the database."""
        self.database.close()


def open_store(place: StorePlace) -> Store:
    """The store at a place, made when it is empty. Raises StoreError when its tables are of another version."""
    if not place.home.exists():
        make_folder(place.home)
        # Other people of this machine have no business with what customers said.
        place.home.chmod(0o700)
    database = Database(place.database)
    ready(database)
    return Store(
        place=place,
        database=database,
        files=open_files(place.files, place.home / "fetched"),
        uploads=Uploads(place.uploads),
    )


def new_id() -> str:
    """A fresh id that says nothing about what it names: 16 hex digits."""
    return secrets.token_hex(8)


def note(session: Session, who: str, what: str, job_id: str | None = None, detail: str = "") -> None:
    """Writes down who did what from where, in the same transaction as the deed. Nothing spoken belongs in it."""
    session.add(AuditRow(who=who, what=what, job_id=job_id, detail=detail, origin=came_from.get()))
