"""Who is signed in: one row a browser, found by the hash of its cookie; and the brake on guessing."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from pipeline.store import people
from pipeline.store.people import digest, key_of, moment, person_named
from pipeline.store.tables_people import PersonRow, SessionRow, TryRow

if TYPE_CHECKING:
    from pipeline.store.database import Database

IDLE = timedelta(hours=12)
"""A working day: who leaves his van in the morning is still signed in when he writes in the evening."""
ABSOLUTE = timedelta(days=7)
"""After a week everybody signs in anew, so that a lost phone is shut out even when nobody tells."""
TOUCH = timedelta(minutes=1)
"""How often a session writes down that it is in use."""

FREE = 5
"""Failures in a row that cost nothing: a cold hand types badly."""
FREE_ACCOUNT = 20
"""The same for one account from anywhere; an address where its person is signed in is not counted by it."""
LONGEST_WAIT_S = {"both": 900, "from": 900, "name": 60}
"""Seconds. The one for an account is short: a stranger who guesses must not be able to keep its person out for long."""
TRIES_LOCK = 7300
"""The number of our lock in PostgreSQL; any will do that nothing else takes."""
FORGIVEN = timedelta(hours=24)


def begin(session: Session, person: PersonRow, origin: str, old: str = "") -> str:
    """A new session; gives the secret for the cookie, 256 random bits. `old`, the cookie of before, ends."""
    end(session, old)
    session.execute(
        delete(SessionRow).where((SessionRow.since < moment(-ABSOLUTE)) | (SessionRow.seen < moment(-IDLE)))
    )
    secret = secrets.token_urlsafe(32)
    now = moment()
    session.add(SessionRow(token=digest(secret), person_id=person.id, origin=origin, since=now, seen=now))
    return secret


def end(session: Session, secret: str) -> None:
    """Ends the session of a cookie."""
    if secret:
        session.execute(delete(SessionRow).where(SessionRow.token == digest(secret)))


def find(database: Database, secret: str) -> PersonRow | None:
    """The person of a cookie; None when there is none, it is over its time, or the person was shut out."""
    if not secret:
        return None
    token = digest(secret)
    with database.reading() as session:
        row = session.get(SessionRow, token)
        person = session.get(PersonRow, row.person_id) if row is not None else None
        if row is None or person is None or person.disabled:
            return None
        if row.since < moment(-ABSOLUTE) or row.seen < moment(-IDLE):
            return None
        stale = row.seen < moment(-TOUCH)
        session.expunge_all()
    if stale:
        with database.writing() as session:
            there = session.get(SessionRow, token)
            if there is not None:
                there.seen = moment()
    return person


def admit(session: Session, name: str, origin: str) -> int:
    """Counts a try before it is made; gives how many seconds it has to wait, 0 when it may be made now.

    Counted first, so that many tries at once do not slip through. `succeeded` takes the count back.
    """
    _one_at_a_time(session)
    waits = []
    for key, _ in _keys(session, name, origin):
        row = session.get(TryRow, key)
        if row is not None and row.until > moment():
            waits.append(_seconds_to(row.until))
    if waits:
        return max(waits)
    for key, free in _keys(session, name, origin):
        row = session.get(TryRow, key)
        if row is None:
            row = TryRow(key=key, failures=0, last=moment(), until="")
            session.add(row)
        if row.last < moment(-FORGIVEN):
            row.failures = 0
        row.failures += 1
        row.last = moment()
        over = row.failures - free
        row.until = moment(timedelta(seconds=min(LONGEST_WAIT_S[key[:4]], 2**over))) if over >= 0 else ""
    session.execute(delete(TryRow).where(TryRow.last < moment(-FORGIVEN)))
    session.flush()
    return 0


def succeeded(session: Session, name: str, origin: str) -> None:
    """Forgets the failures of this person here and of the account; of those of the address only the one just counted.

    Else somebody with an account of his own could guess those of others without end.
    """
    _one_at_a_time(session)
    for key, _ in _keys(session, name, origin):
        row = session.get(TryRow, key)
        if row is not None and key.startswith("from:"):
            row.failures, row.until = max(0, row.failures - 1), ""
        elif row is not None:
            session.delete(row)


def _one_at_a_time(session: Session) -> None:
    """Waits for whoever else counts tries, as SQLite's writers do: rows that are not there yet cannot be locked."""
    if session.connection().dialect.name == "postgresql":
        session.execute(select(func.pg_advisory_xact_lock(TRIES_LOCK)))


def _keys(session: Session, name: str, origin: str) -> list[tuple[str, int]]:
    """What a try counts against, and how many failures in a row are free."""
    # A name that was typed may be a password in the wrong field: only its hash is kept.
    account = digest(key_of(name))[:32]
    keys = [(f"both:{digest(account + origin)[:32]}", FREE), (f"from:{digest(origin)[:32]}", 4 * FREE)]
    person = person_named(session, name)
    here = select(SessionRow.token).where(SessionRow.origin == origin)
    if person is None or session.scalar(here.where(SessionRow.person_id == person.id)) is None:
        keys.append((f"name:{account}", FREE_ACCOUNT))
    return keys


def _seconds_to(until: str) -> int:
    left = datetime.fromisoformat(until) - people.present()
    return max(1, round(left.total_seconds()))
