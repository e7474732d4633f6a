"""The stages as durable jobs on the engine (DBOS, pinned), which only this file knows.

Each recording is heard, then everything that was heard so far of the same upload is read again.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import run
from pipeline.compose import with_problem
from pipeline.desk import Desk
from pipeline.errors import InputError, ReportError, SetupError, StoreError
from pipeline.hear import Heard
from pipeline.hear_apart import Result, Wanted, end_all, hear_apart
from pipeline.ingest import Source
from pipeline.keep import make_folder
from pipeline.learned import OwnWords, hotwords, load_words_file, respell
from pipeline.plan import made_with, part_of, plans_of
from pipeline.settings import Settings
from pipeline.store import jobs
from pipeline.store.files import KEEP_FREE, free_bytes
from pipeline.store.jobs import NewDraft
from pipeline.store.tables import JobRow, RecordingRow, now
from pipeline.store.uploads import shown_name

if TYPE_CHECKING:
    from dbos import DBOSClient
    from sqlalchemy.orm import Session

    from pipeline.store.store import Store

QUEUE = "hearing"
WORKFLOW = "draft_recording"
ORDER = "1"
"""Raised when the order of steps changes, so that a job that began under another order is not taken up in this one."""

GIVEN_UP = ("ERROR", "CANCELLED", "MAX_RECOVERY_ATTEMPTS_EXCEEDED")
TELL_EVERY_S = 2.0
SET_ASIDE_AFTER = 3
READ_AGAIN = 50

Hear = Callable[[Wanted, Callable[[float, float], None]], Result]


@dataclass(frozen=True)
class Bench:
    """What the steps work with. `hear` is another for tests."""

    store: Store
    desk: Desk
    settings: Settings
    hear: Hear = hear_apart


class Stopping(BaseException):
    """The engine stops: the step ends here and nothing of it is written, so that the next start takes it up again.

    Not an Exception, which the engine would write down as the job's end.
    """


_stopping = threading.Event()

_bench: Bench | None = None
"""The engine calls its functions by name, so they find their bench here; one a process."""


def bench() -> Bench:
    """The bench of this process. Raises SetupError before the engine was started."""
    if _bench is None:
        raise SetupError("not-started", "The job engine is not running.", "Start jobtape serve.")
    return _bench


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
    """The engine of this process: takes recordings in, works on them one at a time."""

    def __init__(self, work: Bench, *, worker: str = "embedded", concurrency: int = 1) -> None:
        """`worker` names this process: always the same one for an embedded store, a new one at each start else."""
        self.work = work
        self.worker = worker
        self.concurrency = concurrency
        self._client: DBOSClient | None = None

    def start(self) -> None:
        """Starts working; jobs that a stopped process left go on. Raises StoreError when another process works here."""
        global _bench
        from dbos import DBOS

        _bench = self.work
        _stopping.clear()
        _functions()
        # Its own messages name people's files; ours go through the store.
        DBOS(
            config={
                "name": "jobtape",
                "system_database_url": self.work.store.place.database,
                "executor_id": self.worker,
                "application_version": ORDER,
                "serializer": _serializer(),
                "log_level": "ERROR",
            }
        )
        DBOS.launch()
        DBOS.register_queue(
            QUEUE, worker_concurrency=self.concurrency, polling_interval_sec=0.5, on_conflict="always_update"
        )

    def stop(self) -> None:
        """Stops working; what is in work goes on at the next start."""
        from dbos import DBOS

        _stopping.set()
        end_all()
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

    def submit(self, session: Session, recording: RecordingRow) -> None:
        """Puts a recording into the queue, in the caller's transaction: with it or not at all."""
        recording.tries += 1
        recording.state, recording.reason, recording.done_s, recording.heard_since = "waiting", None, 0.0, None
        # A run's name and a recording's are kept apart: an ended run cannot be run again under its name.
        recording.run_id = f"{recording.id}-{recording.tries}"
        _mirror(session, recording, "waiting", None)
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
                    select(RecordingRow).where(RecordingRow.state == "waiting", RecordingRow.run_id.is_(None))
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
            open_ones = session.execute(
                select(RecordingRow.id, RecordingRow.run_id).where(
                    RecordingRow.state.in_(("waiting", "hearing")), RecordingRow.run_id.is_not(None)
                )
            ).all()
        given_up = 0
        for recording_id, run_id in open_ones:
            status = DBOS.get_workflow_status(str(run_id))
            if status is not None and status.status in GIVEN_UP:
                given_up += 1
                fault = InputError(
                    "set-aside",
                    "The program ended each time while it heard this recording, which is therefore set aside.",
                    "Try again, or try the quick way.",
                )
                failed(recording_id, str(run_id), fault)
        return given_up


def _serializer() -> Any:
    from dbos._serialization import Serializer

    return type("Json", (JsonSerializer, Serializer), {})()


_named = False


def _functions() -> None:
    """Tells the engine our functions, once a process."""
    global _named
    if _named:
        return
    from dbos import DBOS

    hear_step = DBOS.step(name="hear", retries_allowed=True, max_attempts=SET_ASIDE_AFTER, interval_seconds=2)(hear_one)
    read_step = DBOS.step(name="read", retries_allowed=True, max_attempts=SET_ASIDE_AFTER, interval_seconds=2)(read_day)

    @DBOS.workflow(name=WORKFLOW, max_recovery_attempts=SET_ASIDE_AFTER)
    def draft_recording(recording_id: str, run_id: str) -> list[str]:
        try:
            batch = hear_step(recording_id, run_id)
            return read_step(batch) if batch else []
        except Exception as fault:
            failed(recording_id, run_id, fault)
            return []

    _named = True


def hear_one(recording_id: str, run_id: str) -> str:
    """Hears a recording and keeps what was heard; gives its batch, or "" when it failed or is no longer wanted.

    A fault that trying again would not mend is written down at once; any other is raised, for the engine to retry.
    """
    work = bench()
    recording = _began(work, recording_id, run_id)
    if recording is None:
        return ""
    try:
        if free_bytes(work.store.place.home) < KEEP_FREE // 2:
            raise SetupError(
                "no-space", "The disk is full: the recording was not heard.", "Free some space, then try again."
            )
        with _named_file(work.store, recording) as path:
            wanted = Wanted(
                path=str(path),
                work=str(_kept(work.store, recording)),
                model=work.settings.model,
                hearing=recording.hearing,
                hotwords=hotwords(load_words_file(work.store.place.words_file)),
                threads=work.settings.threads,
            )
            result = _unless_stopping(work, wanted, _Teller(work.store, recording_id, run_id))
    except (InputError, SetupError) as fault:
        failed(recording_id, run_id, fault)
        return ""
    except StoreError as fault:
        if fault.code == "file-missing":
            failed(recording_id, run_id, fault)
            return ""
        raise
    heard = work.store.files.put(result.body.encode())
    # What was kept for going on after an interruption holds words that were said: it goes when it is not needed.
    shutil.rmtree(_kept(work.store, recording), ignore_errors=True)
    peaks = work.store.files.put(result.peaks) if result.peaks else None
    playable = work.store.files.put(result.playable) if result.playable else None
    duration = json.loads(result.body)["heard"]["duration_s"]
    with work.store.database.writing() as session:
        row = session.get(RecordingRow, recording_id)
        if row is None or row.run_id != run_id:
            return ""
        row.state, row.heard, row.duration_s, row.reason = "heard", heard, duration, None
        row.peaks, row.playable = peaks, playable
        return row.batch


def _unless_stopping(work: Bench, wanted: Wanted, tell: Callable[[float, float], None]) -> Result:
    """What was heard. Raises Stopping when the engine is being stopped, however the hearing then ended."""
    try:
        if not _stopping.is_set():
            return work.hear(wanted, tell)
    except Exception:
        if not _stopping.is_set():
            raise
    raise Stopping


def _kept(store: Store, recording: RecordingRow) -> Path:
    """The folder for the results of one recording's hearing while it is under way."""
    return store.place.work / recording.sha256[:16]


def _began(work: Bench, recording_id: str, run_id: str) -> RecordingRow | None:
    """Marks the recording as being heard; None when it is gone or another run of it was begun since."""
    with work.store.database.writing() as session:
        row = session.get(RecordingRow, recording_id)
        if row is None or row.run_id != run_id:
            return None
        row.state, row.heard_since = "hearing", now()
        _mirror(session, row, "hearing", None)
        session.flush()
        session.expunge(row)
        return row


def _mirror(session: Session, recording: RecordingRow, state: str, reason: str | None) -> None:
    """Shows a recording's state at its job, unless that has a draft already that a person may be working on."""
    from sqlalchemy import select

    for row in session.scalars(select(JobRow).where(JobRow.first_recording == recording.id)):
        if row.draft_key is None:
            row.job_state = state
        row.reason = reason
        row.updated_at = now()


class _Teller:
    """Writes progress down, not more often than a person looks."""

    def __init__(self, store: Store, recording_id: str, run_id: str) -> None:
        self.store, self.recording_id, self.run_id = store, recording_id, run_id
        self._next = 0.0

    def __call__(self, done_s: float, all_s: float) -> None:
        if time.monotonic() < self._next and done_s < all_s:
            return
        self._next = time.monotonic() + TELL_EVERY_S
        with self.store.database.writing() as session:
            row = session.get(RecordingRow, self.recording_id)
            if row is None or row.run_id != self.run_id:
                raise InputError("stopped", "Hearing was stopped.", "Start it again when you want to.")
            row.done_s, row.all_s = done_s, all_s


@contextlib.contextmanager
def _named_file(store: Store, recording: RecordingRow) -> Iterator[Path]:
    """The recording under the name it came with, which tells its kind and perhaps its day; gone afterwards."""
    kept = store.files.local(recording.sha256)
    make_folder(store.place.work)
    folder = Path(tempfile.mkdtemp(prefix="named-", dir=store.place.work))
    try:
        path = folder / "".join(c if c.isalnum() or c in " ._-" else "_" for c in shown_name(recording.file_name))
        try:
            os.link(kept, path)
        except OSError:
            shutil.copy2(kept, path)
        yield path
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def read_day(batch: str) -> list[str]:
    """Reads everything that was heard so far in a batch, and keeps a draft for each job in it; gives their ids."""
    work = bench()
    for _ in range(READ_AGAIN):
        with work.store.database.reading() as session:
            from sqlalchemy import select

            rows = list(
                session.scalars(
                    select(RecordingRow)
                    .where(RecordingRow.batch == batch, RecordingRow.heard.is_not(None))
                    .order_by(RecordingRow.position)
                )
            )
        ids = jobs.publish(work.store, batch, [(row.id, row.heard) for row in rows], _drafts(work, rows))
        if ids is not None:
            for job_id in ids:
                work.desk.refresh(work.desk.open(job_id, None))
            return ids
    raise StoreError("store-busy", "The recordings of this upload kept changing.", "Try again in a while.")


def _drafts(work: Bench, rows: Sequence[RecordingRow]) -> list[NewDraft]:
    own = load_words_file(work.store.place.words_file)
    heard = [_heard(work.store, row, own) for row in rows]
    plans, fault = plans_of([one for _, one in heard], one_job=any(row.one_job for row in rows))
    counted: dict[int, int] = {}
    drafts = []
    for plan in plans:
        first = plan[0][0]
        counted[first] = counted.get(first, 0) + 1
        source = heard[first][0]
        name = source.name if counted[first] == 1 else f"{source.name}-{counted[first]}"
        parts = [part_of(*heard[index], chosen) for index, chosen in plan]
        draft = run.started(name, parts, made_with([heard[index][1] for index, _ in plan]), {})
        for problem in (problem for index, _ in plan for problem in heard[index][1].problems):
            draft = with_problem(draft, problem.stage, problem.code, problem.message)
        draft = run.drafted(draft, shop=work.desk.shop)
        if fault is not None:
            draft = with_problem(draft, "extract", "split-failed", fault)
        drafts.append(NewDraft(draft, rows[first].id, counted[first], tuple(rows[index].id for index, _ in plan)))
    return drafts


def _heard(store: Store, row: RecordingRow, own: OwnWords) -> tuple[Source, Heard]:
    """What was heard in a recording, with the shop's own words put right."""
    from pipeline.ingest import job_name

    body = json.loads(store.files.get(row.heard or ""))
    path = Path(shown_name(row.file_name))
    heard = Heard.model_validate(body["heard"])
    heard = heard.model_copy(update={"transcript": respell(heard.transcript, own)})
    return Source(path=path, name=job_name(path), **body["source"]), heard


def failed(recording_id: str, run_id: str, fault: Exception) -> None:
    """Writes down why a recording could not be done, where the page shows it; a later run's state is left alone."""
    # After the last try the engine raises an error of its own, which holds those of the tries.
    fault = (getattr(fault, "errors", None) or [fault])[-1]
    reason = (
        str(fault) if isinstance(fault, ReportError) else f"A fault of the program: {type(fault).__name__}: {fault}"
    )
    with bench().store.database.writing() as session:
        row = session.get(RecordingRow, recording_id)
        if row is None or row.run_id != run_id:
            return
        row.state, row.reason = "failed", reason
        _mirror(session, row, "failed", reason)


def left_s(recording: RecordingRow) -> float | None:
    """Seconds that hearing will still take by the pace so far; None when it cannot be said yet."""
    if recording.state != "hearing" or not recording.heard_since or recording.done_s <= 0 or recording.all_s <= 0:
        return None
    from datetime import UTC, datetime

    began = datetime.fromisoformat(recording.heard_since)
    spent = (datetime.now(UTC) - began).total_seconds()
    return max(0.0, spent * (recording.all_s - recording.done_s) / recording.done_s) if spent >= 5 else None
