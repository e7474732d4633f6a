"""The durable jobs' engine (DBOS, pinned), which only this file and `jobs_watch` know."""

from __future__ import annotations

import json
from functools import partial
from typing import TYPE_CHECKING, Any

from pipeline import jobs as steps
from pipeline.errors import InputError, StoreError
from pipeline.jobs import Bench, mirror
from pipeline.log import of_libraries
from pipeline.store.database import NETWORK
from pipeline.store.tables import JobRow, RecordingRow, now

if TYPE_CHECKING:
    from dbos import DBOSClient
    from sqlalchemy.orm import Session

QUEUE = "hearing"
WORKFLOW = "draft_recording"
ORDER = "2"
"""Raised when the order of steps changes, so that a job that began under another order is not taken up in this one.
A migration then puts in anew what waits."""

GIVEN_UP = ("ERROR", "CANCELLED", "MAX_RECOVERY_ATTEMPTS_EXCEEDED")
SET_ASIDE_AFTER = 3
POLL_S = 0.5
POOL = 5
"""Connections of the engine to its database, for each worker process."""
ANY = 1 << 30
"""More often than any run is given to a worker."""


class JsonSerializer:
    """Values of steps as JSON. The engine's own way would run code that stands in the database."""

    def name(self) -> str:
        """How rows written by it are marked."""
        return "jobtape_json"

    def serialize(self, data: Any) -> str:
        """Text of a value; what is no plain value (an error) becomes its words."""
        return json.dumps(data, default=str)

    def deserialize(self, serialized_data: str) -> Any:
        """The value of a text."""
        return json.loads(serialized_data)


class Engine:
    """The engine of this process: takes recordings in, works on one at a time.

    The limit of a queue stands in the engine's database and is the same for all workers, so it is one; a machine
    starts as many processes as it is to have jobs in work.
    """

    def __init__(self, work: Bench) -> None:
        """`work.worker` names this process: the same at each start of an embedded store, else a new one each time."""
        self.work = work
        self._client: DBOSClient | None = None

    def start(self) -> None:
        """Starts working; jobs that a stopped process left go on. Raises StoreError when another process works here."""
        global _running
        from dbos import DBOS

        _running = self
        steps.begin(self.work)
        _functions()
        # Its own messages name people's files; ours go through the store.
        DBOS(
            config={
                "name": "jobtape",
                "system_database_url": self.work.store.place.database,
                "executor_id": self.work.worker,
                "application_version": ORDER,
                "serializer": _serializer(),
                "log_level": "ERROR",
                "sys_db_pool_size": POOL,
                **({} if self.work.store.place.embedded else {"db_engine_kwargs": {"connect_args": dict(NETWORK)}}),
            }
        )
        of_libraries()
        DBOS.launch()
        DBOS.register_queue(QUEUE, worker_concurrency=1, polling_interval_sec=POLL_S, on_conflict="always_update")

    def prepare(self) -> None:
        """Makes the engine's own tables, for a process that puts jobs in before any worker ever ran."""
        from dbos import DBOS

        DBOS.migrate(self.work.store.place.database)
        of_libraries()

    def stop(self) -> None:
        """Stops working; what is in work goes on at the next start."""
        from dbos import DBOS

        steps.end()
        DBOS.destroy(workflow_completion_timeout_sec=0)
        self.close()

    def close(self) -> None:
        """Lets go of the engine's database; for a process that only puts jobs in."""
        if self._client is not None:
            self._client.destroy()
            self._client = None

    def client(self) -> DBOSClient:
        """The engine's door for putting jobs in."""
        if self._client is None:
            from dbos import DBOSClient

            self._client = DBOSClient(
                system_database_url=self.work.store.place.database, serializer=_serializer(), lazy=True
            )
        return self._client

    def given(self, run_id: str) -> int:
        """How often a run was given to a worker so far.

        Asked at the client, since what a workflow asks the engine itself is written down and answered alike ever after.
        """
        from sqlalchemy.exc import OperationalError

        try:
            found = self.client().list_workflows(workflow_ids=[run_id], load_input=False, load_output=False)
        except OperationalError as fault:
            raise StoreError("store-away", "The job engine's database cannot be reached.", "Wait a moment.") from fault
        return (found[0].recovery_attempts if found else None) or 1

    def submit(self, session: Session, recording: RecordingRow) -> None:
        """Puts a recording into the queue, in the caller's transaction: with it or not at all."""
        recording.tries += 1
        recording.state, recording.reason, recording.done_s, recording.heard_since = "waiting", None, 0.0, None
        recording.queued_at = now()
        # A run's name and a recording's are kept apart: an ended run cannot be run again under its name.
        recording.run_id = f"{recording.id}-{recording.tries}"
        mirror(session, recording, "waiting", None)
        self.client().enqueue_in_transaction(
            session,
            {
                "queue_name": QUEUE,
                "workflow_name": WORKFLOW,
                "workflow_id": recording.run_id,
                "app_version": ORDER,
            },
            recording.id,
            recording.run_id,
        )

    def submit_waiting(self) -> int:
        """Puts in again what waits and has no run: taken in while no engine ran. Gives how many."""
        from sqlalchemy import select

        with self.work.store.database.writing() as session:
            waiting = list(
                session.scalars(
                    select(RecordingRow)
                    .where(RecordingRow.state == "waiting", RecordingRow.run_id.is_(None))
                    .with_for_update(skip_locked=True)
                )
            )
            for recording in waiting:
                self.submit(session, recording)
        return len(waiting)

    def set_aside(self) -> int:
        """Marks as failed what the engine gave up, since it ended the whole worker time and again. Gives how many."""
        from dbos import DBOS
        from sqlalchemy import select

        with self.work.store.database.reading() as session:
            begun = session.execute(
                select(RecordingRow.id, RecordingRow.run_id)
                .join(JobRow, JobRow.first_recording == RecordingRow.id)
                .where(RecordingRow.run_id.is_not(None), RecordingRow.state.in_(("hearing", "heard")))
                .where((RecordingRow.state == "hearing") | JobRow.job_state.in_(("waiting", "hearing")))
                .distinct()
            ).all()
        if not begun:
            return 0
        ended = DBOS.list_workflows(
            workflow_ids=[str(run_id) for _, run_id in begun],
            status=list(GIVEN_UP),
            load_input=False,
            load_output=False,
        )
        given_up = {one.workflow_id for one in ended}
        for recording_id, run_id in begun:
            if run_id in given_up:
                fault = InputError(
                    "set-aside",
                    "The program ended each time while it heard this recording, which is therefore set aside.",
                    "Try again, or try the quick way.",
                )
                steps.failed(recording_id, str(run_id), ANY, fault)
        return len(given_up)


def _serializer() -> Any:
    from dbos._serialization import Serializer

    return type("Json", (JsonSerializer, Serializer), {})()


_running: Engine | None = None
_named = False


def _functions() -> None:
    """Tells the engine our functions, once a process."""
    global _named
    if _named:
        return
    from dbos import DBOS

    retry: dict[str, Any] = {"retries_allowed": True, "max_attempts": SET_ASIDE_AFTER, "interval_seconds": 2}
    hear_step = DBOS.step(name="hear", **retry)(steps.hear_one)
    read_step = DBOS.step(name="read", **retry)(steps.read_day)

    @DBOS.workflow(name=WORKFLOW, max_recovery_attempts=SET_ASIDE_AFTER)
    def draft_recording(recording_id: str, run_id: str) -> list[str]:
        assert _running is not None
        given = steps.patiently(partial(_running.given, run_id))
        try:
            batch = hear_step(recording_id, run_id, given)
            return read_step(recording_id, batch) if batch else []
        except Exception as fault:
            steps.patiently(partial(steps.failed, recording_id, run_id, given, fault))
            return []

    _named = True
