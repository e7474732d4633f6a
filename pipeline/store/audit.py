"""The audit trail as it is read: who did or read what, when and from where. It is only ever added to."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from pipeline.store.people import person_named
from pipeline.store.tables import AuditRow
from pipeline.store.tables_people import PersonRow


@dataclass(frozen=True)
class Entry:
    """One line of the trail. `origin` is a network address, empty for this machine itself."""

    seq: int
    at: str
    who: str
    what: str
    job: str
    detail: str
    origin: str

    def line(self) -> str:
        """The line as the terminal shows it."""
        parts = (self.at, self.who, self.what, self.job, self.detail, self.origin and f"from {self.origin}")
        return "  ".join(part for part in parts if part)


def entries(
    session: Session, *, who: str = "", job: str = "", since: str = "", before: int | None = None, limit: int = 200
) -> list[Entry]:
    """The trail, the newest first; of one person or job, from a day on (ISO 8601), before the line of that number."""
    query = select(AuditRow)
    if who.strip():
        person = person_named(session, who)
        known = {who.strip(), *((person.name, person.id) if person is not None else ())}
        query = query.where(or_(*(AuditRow.who == name for name in sorted(known))))
    if job:
        query = query.where(AuditRow.job_id == job)
    if since:
        query = query.where(AuditRow.at >= since)
    if before is not None:
        query = query.where(AuditRow.seq < before)
    # Uploads are noted under the id that their job is kept under.
    names = {row.id: row.name for row in session.scalars(select(PersonRow))}
    return [
        Entry(row.seq, row.at, names.get(row.who, row.who), row.what, row.job_id or "", row.detail, row.origin)
        for row in session.scalars(query.order_by(AuditRow.seq.desc()).limit(limit))
    ]
