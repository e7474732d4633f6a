"""Tokens with which a script uploads for a person, and does nothing else: shown once, kept as hashes, taken back."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from pipeline.errors import InputError
from pipeline.store.people import digest, moment
from pipeline.store.sessions import TOUCH
from pipeline.store.store import new_id, note
from pipeline.store.tables_people import PersonRow, UploadTokenRow

if TYPE_CHECKING:
    from pipeline.store.database import Database

BEGINS = "jobtape_"
"""So that a token that got into a file is recognised by people and by searching programs."""
MOST = 20


def make(session: Session, person: PersonRow, name: str) -> str:
    """A new token; what it gives is shown once. Raises InputError for a name that cannot be, or too many tokens."""
    name = " ".join(name.split())
    if not 1 <= len(name) <= 60 or not name.isprintable():
        raise InputError("wrong-name", "The token needs a name.", "Say what will use it, in up to 60 letters.")
    count = select(func.count()).select_from(UploadTokenRow).where(UploadTokenRow.person_id == person.id)
    if (session.scalar(count) or 0) >= MOST:
        raise InputError("too-many", f"There are {MOST} tokens already.", "Take back those that nothing uses.")
    secret = BEGINS + secrets.token_urlsafe(32)
    session.add(UploadTokenRow(id=new_id(), person_id=person.id, name=name, token=digest(secret)))
    note(session, person.name, "token:make")
    return secret


def listed(session: Session, person_id: str) -> list[UploadTokenRow]:
    """The tokens of a person, the newest first."""
    rows = select(UploadTokenRow).where(UploadTokenRow.person_id == person_id)
    return list(session.scalars(rows.order_by(UploadTokenRow.made_at.desc(), UploadTokenRow.id)))


def take_back(session: Session, person: PersonRow, token_id: str) -> None:
    """Ends a token. Raises InputError when this person has none such."""
    row = session.get(UploadTokenRow, token_id)
    if row is None or row.person_id != person.id:
        raise InputError("no-such-token", "That token is not here any more.", "Reload the page.")
    session.delete(row)
    note(session, person.name, "token:end")


def find(database: Database, secret: str) -> PersonRow | None:
    """The person of a token; None when there is none such, or he was shut out or has yet to set his password."""
    with database.reading() as session:
        row = session.scalar(select(UploadTokenRow).where(UploadTokenRow.token == digest(secret)))
        person = session.get(PersonRow, row.person_id) if row is not None else None
        if row is None or person is None or person.disabled or person.start_until is not None:
            return None
        token_id, stale = row.id, (row.used_at or "") < moment(-TOUCH)
        session.expunge_all()
    if stale:
        with database.writing() as session:
            there = session.get(UploadTokenRow, token_id)
            if there is not None:
                there.used_at = moment()
    return person
