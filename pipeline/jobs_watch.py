"""A worker's heart, and the watch over the others: jobs of a worker that is gone are given to one that is not.

The engine notices only the death of a process that comes back under its own name. So each worker of a shared store
counts a number up in the database as long as it lives and reaches it; a number that stood still for too long, by the
watcher's own clock, means that the worker died, hangs or was cut off. Clocks are never compared.
"""

from __future__ import annotations

import platform
import time
from typing import TYPE_CHECKING

from sqlalchemy import delete, select, text

from pipeline.errors import StoreError
from pipeline.jobs_engine import ANY, QUEUE
from pipeline.log import say
from pipeline.store.tables_engine import WorkerRow

if TYPE_CHECKING:
    from pipeline.store.store import Store

BEAT_EVERY_S = 4.0
GONE_AFTER_S = 20.0


class Heart:
    """The beat of one worker and its watch over the others. `beat` is called every few seconds."""

    def __init__(self, store: Store, worker: str, gone_after_s: float = GONE_AFTER_S) -> None:
        """Takes the worker's own name; nothing is written before the first beat."""
        self.store, self.worker, self.gone_after_s = store, worker, gone_after_s
        self._seen: dict[str, tuple[int, float]] = {}

    def beat(self) -> None:
        """Says that this worker lives. Raises StoreError while the database is away."""
        try:
            with self.store.database.writing() as session:
                session.execute(
                    text(
                        "INSERT INTO worker (id, host, started_at, beat) VALUES (:id, :host, :at, 1) "
                        "ON CONFLICT (id) DO UPDATE SET beat = worker.beat + 1"
                    ),
                    {"id": self.worker, "host": platform.node()[:64], "at": time.strftime("%FT%TZ", time.gmtime())},
                )
        except StoreError:
            # Nobody could beat while the database was away: the watch begins anew.
            self._seen.clear()
            raise

    def gone(self) -> set[str]:
        """The workers whose number stood still for too long since this one began to watch."""
        now = time.monotonic()
        with self.store.database.reading() as session:
            beats = {row.id: row.beat for row in session.scalars(select(WorkerRow))}
        for name in set(self._seen) - set(beats):
            del self._seen[name]
        for name, beat in beats.items():
            if name not in self._seen or self._seen[name][0] != beat:
                self._seen[name] = (beat, now)
        return {name for name, (_, since) in self._seen.items() if now - since > self.gone_after_s} - {self.worker}

    def take_over(self) -> int:
        """Puts the jobs of workers that are gone into the queue again; gives how many. Harmless when several do so."""
        from dbos import DBOS

        held = DBOS.list_workflows(status="PENDING", queue_name=QUEUE, load_input=False, load_output=False, limit=ANY)
        gone = self.gone()
        with self.store.database.reading() as session:
            known = set(session.scalars(select(WorkerRow.id)))
        # One without a row has left in order, or was found gone before.
        left = [one for one in held if one.executor_id and (one.executor_id in gone or one.executor_id not in known)]
        names = sorted({str(one.executor_id) for one in left} - {self.worker})
        if names:
            # The only private call: the public ones reset the count that sets a job aside, or lose its queue.
            DBOS._recover_pending_workflows(names)
            for one in left:
                say("taken-over", run=one.workflow_id, worker=self.worker, taken_from=one.executor_id)
        if gone:
            with self.store.database.writing() as session:
                session.execute(delete(WorkerRow).where(WorkerRow.id.in_(gone)))
        return len(left)

    def leave(self) -> None:
        """Takes this worker off the list, so that its jobs are taken over at once."""
        with self.store.database.writing() as session:
            session.execute(delete(WorkerRow).where(WorkerRow.id == self.worker))
