"""All that is held on a person, customer or site, as plain files, for whoever may ask for it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import select

from pipeline.desk import Desk
from pipeline.errors import InputError
from pipeline.keep import make_folder, write_whole
from pipeline.store import search
from pipeline.store.store import Store
from pipeline.store.tables import AuditRow, JobRow, MachineRow, now
from pipeline.transfer import MACHINE, Moved, export

ALL = 1_000_000
TRAIL = ("at", "who", "what", "job_id", "detail")


def jobs_about(store: Store, words: str | None, person: str | None) -> list[str]:
    """The jobs in which all the words were said or written, or that are this person's (his id); the newest first."""
    if bool(words) == bool(person):
        raise InputError("about-what", "Nothing was named.", "Give words of a customer or site, or a person's id.")
    with store.database.reading() as session:
        if person:
            rows = list(session.scalars(select(JobRow).where(JobRow.owner == person, JobRow.joined_to.is_(None))))
        else:
            rows = search.find(session, words or "", most=ALL)
            asked = set(search.fold(words or "").split())
            # One that was not heard yet is not in the search; its file's name may tell.
            found = {row.id for row in rows}
            for row in session.scalars(select(JobRow).where(JobRow.draft_key.is_(None), JobRow.joined_to.is_(None))):
                if row.id not in found and asked and asked <= set(search.fold(row.name).split()):
                    rows.append(row)
        return [row.id for row in rows]


def export_about(
    store: Store, desk: Desk, folder: Path, *, words: str | None, person: str | None,
    tell: Callable[[str], None] = lambda _: None,
) -> Moved:  # fmt: skip
    """Writes the jobs into folders as `export` does, and beside them `held.json`: machines and the trail of deeds."""
    ids = jobs_about(store, words, person)
    make_folder(folder)
    moved = export(store, desk, folder, tell, only=ids)
    with store.database.reading() as session:
        machines = session.scalars(
            select(MachineRow).where(MachineRow.id.in_(select(JobRow.machine_id).where(JobRow.id.in_(ids))))
        )
        trail = session.scalars(
            select(AuditRow)
            .where(AuditRow.job_id.in_(ids) | ((AuditRow.who == person) if person else AuditRow.job_id.in_(ids)))
            .order_by(AuditRow.seq)
        )
        body = {
            "about": words or person,
            "made_at": now(),
            "jobs": ids,
            "machines": [{name: getattr(row, name) for name in MACHINE} for row in machines],
            "trail": [{name: getattr(row, name) for name in TRAIL} for row in trail],
        }
    write_whole(folder / "held.json", (json.dumps(body, indent=1, ensure_ascii=False) + "\n").encode())
    return moved
