"""Removing jobs for good: rows, files, the search, and what the database would still hold in its free pages."""

from __future__ import annotations

import shutil
from collections.abc import Sequence

from sqlalchemy import text

from pipeline.store import jobs, machines
from pipeline.store.store import Store
from pipeline.store.tables import JobRow


def forget(store: Store, job_ids: Sequence[str], who: str, owner: str | None = None) -> None:
    """Removes the jobs, all or none. Raises InputError for one that is on hold, not there or not this person's."""
    with store.database.writing() as session:
        machines.one_at_a_time(session)
        keys: list[str] = []
        for job_id in job_ids:
            row = session.get(JobRow, job_id)
            if row is None or (owner is not None and row.owner != owner):
                raise jobs.no_such_job()
            keys += jobs.forget(session, row, who)
        if store.database.sqlite:
            # The index keeps removed words until its parts are merged.
            session.execute(text("INSERT INTO search_index(search_index) VALUES ('optimize')"))
    for key in keys:
        store.files.remove(key)
        # Results of a hearing that was broken off; the folder is named after the recording.
        shutil.rmtree(store.place.work / key[:16], ignore_errors=True)
    store.database.scrub()
