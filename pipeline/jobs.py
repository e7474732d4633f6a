"""The steps of a durable job: a recording is heard, then everything heard so far of the same upload is read again.

A step may run twice, also at the same time on two machines. It claims its recording first, under the number of times
that the engine gave this run to a worker; what comes in under a lower number is refused.
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
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from pipeline import run
from pipeline.compose import with_problem
from pipeline.desk import Desk
from pipeline.errors import InputError, ReportError, SetupError, StoreError
from pipeline.hear import Heard
from pipeline.hear_apart import Result, Wanted, end_all, hear_apart
from pipeline.ingest import Source
from pipeline.keep import make_folder
from pipeline.learned import OwnWords, hotwords, load_words_file, respell
from pipeline.log import say
from pipeline.plan import made_with, part_of, plans_of
from pipeline.settings import Settings
from pipeline.store import jobs, tally
from pipeline.store.files import KEEP_FREE, free_bytes
from pipeline.store.jobs import NewDraft
from pipeline.store.tables import JobRow, RecordingRow, now
from pipeline.store.uploads import shown_name

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from pipeline.store.store import Store

TELL_EVERY_S = 2.0
READ_AGAIN = 50
AWAY = ("store-away", "files-away", "no-room-here")
"""Faults that pass: the step waits and goes on, and the job is none the worse."""
SLOWEST_LOOK_S = 15.0

Answer = TypeVar("Answer")
Hear = Callable[[Wanted, Callable[[float, float], None]], Result]


@dataclass(frozen=True)
class Bench:
    """What the steps work with. `hear` is another for tests."""

    store: Store
    desk: Desk
    settings: Settings
    hear: Hear = hear_apart
    worker: str = "embedded"


class Stopping(BaseException):
    """The engine stops: the step ends here and nothing of it is written, so that the next start takes it up again.

    Not an Exception, which the engine would write down as the job's end.
    """


@dataclass(frozen=True)
class Claimed:
    """A recording that this worker works on, and the job it is shown under."""

    recording: RecordingRow
    claim: str
    job: str


_stopping = threading.Event()

_bench: Bench | None = None
"""The engine calls its functions by name, so they find their bench here; one a process."""


def begin(work: Bench) -> None:
    """Gives the steps of this process what they work with."""
    global _bench
    _bench = work
    _stopping.clear()


def end() -> None:
    """Tells the steps of this process to stop; they raise Stopping as soon as they can."""
    _stopping.set()
    end_all()


def bench() -> Bench:
    """The bench of this process. Raises SetupError before the engine was started."""
    if _bench is None:
        raise SetupError("not-started", "The job engine is not running.", "Start jobtape serve.")
    return _bench


def patiently(work: Callable[[], Answer]) -> Answer:
    """What the work gives, done again while the database or the files are away. Raises Stopping when it is to stop."""
    pause = 1.0
    while True:
        try:
            return work()
        except StoreError as fault:
            if fault.code not in AWAY:
                raise
            say("waiting", code=fault.code)
        if _stopping.wait(pause):
            raise Stopping
        pause = min(SLOWEST_LOOK_S, 2 * pause)


def hear_one(recording_id: str, run_id: str, given: int) -> str:
    """Hears a recording and keeps what was heard; gives its batch, or "" when it failed or is no longer wanted.

    `given`: how often the engine has given this run to a worker. A fault that trying again would not mend is written
    down at once; any other is raised, for the engine to retry.
    """
    return patiently(partial(_hear_one, recording_id, run_id, given))


def _hear_one(recording_id: str, run_id: str, given: int) -> str:
    work, began = bench(), time.monotonic()
    mine = _claimed(work, recording_id, run_id, given)
    if mine is None:
        say("no-longer-wanted", recording=recording_id, worker=work.worker)
        return ""
    recording = mine.recording
    say("hearing", mine.job, recording=recording_id, worker=work.worker, tries=recording.tries)
    try:
        _room(work.store)
        with _named_file(work.store, recording) as path:
            wanted = Wanted(
                path=str(path),
                work=str(_kept(work.store, recording)),
                model=work.settings.model,
                hearing=recording.hearing,
                hotwords=hotwords(load_words_file(work.store.place.words_file)),
                threads=work.settings.threads,
            )
            result = _unless_stopping(work, wanted, _Teller(work.store, recording_id, mine.claim))
    except (InputError, SetupError) as fault:
        failed(recording_id, run_id, given, fault)
        return ""
    except StoreError as fault:
        if fault.code == "file-missing":
            failed(recording_id, run_id, given, fault)
            return ""
        raise
    heard = work.store.files.put(result.body.encode())
    peaks = work.store.files.put(result.peaks) if result.peaks else None
    playable = work.store.files.put(result.playable) if result.playable else None
    duration = json.loads(result.body)["heard"]["duration_s"]
    with work.store.database.writing() as session:
        row = session.get(RecordingRow, recording_id, with_for_update=True)
        if row is None or row.claim != mine.claim:
            say("late-result-refused", mine.job, recording=recording_id, worker=work.worker)
            return ""
        row.state, row.heard, row.duration_s, row.reason = "heard", heard, duration, None
        row.peaks, row.playable, row.heard_at = peaks, playable, now()
        batch = row.batch
        tally.count(session, "heard")
        tally.count(session, "audio_s", duration or 0.0)
        tally.count(session, "hearing_s", time.monotonic() - began)
    # What was kept for going on after an interruption holds words that were said: it goes when it is not needed.
    shutil.rmtree(_kept(work.store, recording), ignore_errors=True)
    say("heard", mine.job, recording=recording_id, audio_s=duration, seconds=round(time.monotonic() - began, 3))
    return batch


def _room(store: Store) -> None:
    """Raises an error when the disk is too full to hear; of many workers this one then waits for room."""
    if free_bytes(store.place.home) >= KEEP_FREE // 2:
        return
    if store.place.embedded:
        raise SetupError(
            "no-space", "The disk is full: the recording was not heard.", "Free some space, then try again."
        )
    raise StoreError("no-room-here", "The disk of this worker is full.", "Free some space.")


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


def _claimed(work: Bench, recording_id: str, run_id: str, given: int) -> Claimed | None:
    """Marks the recording as being heard by this worker; None when it is gone or was given to another one since."""
    with work.store.database.writing() as session:
        row = session.get(RecordingRow, recording_id, with_for_update=True)
        if row is None or row.run_id != run_id or _given_to(row) > given:
            return None
        row.state, row.heard_since, row.claim = "hearing", now(), f"{run_id}:{given}"
        mirror(session, row, "hearing", None)
        session.flush()
        job = jobs.job_of(session, row)
        session.expunge(row)
        return Claimed(row, str(row.claim), job)


def _given_to(row: RecordingRow) -> int:
    """How often the present run of a recording had been given to a worker when one last claimed it."""
    run, _, given = (row.claim or "").rpartition(":")
    return int(given) if run == row.run_id else 0


def mirror(session: Session, recording: RecordingRow, state: str, reason: str | None) -> None:
    """Shows a recording's state at its job, unless that has a draft already that a person may be working on."""
    from sqlalchemy import select

    for row in session.scalars(select(JobRow).where(JobRow.first_recording == recording.id)):
        if row.draft_key is None:
            row.job_state = state
        row.reason = reason
        row.updated_at = now()


class _Teller:
    """Writes progress down, not more often than a person looks. While the database is away there is none to tell."""

    def __init__(self, store: Store, recording_id: str, claim: str) -> None:
        self.store, self.recording_id, self.claim = store, recording_id, claim
        self._next = 0.0

    def __call__(self, done_s: float, all_s: float) -> None:
        if time.monotonic() < self._next and done_s < all_s:
            return
        self._next = time.monotonic() + TELL_EVERY_S
        try:
            with self.store.database.writing() as session:
                row = session.get(RecordingRow, self.recording_id)
                if row is None or row.claim != self.claim:
                    raise InputError("stopped", "Hearing was stopped.", "Start it again when you want to.")
                row.done_s, row.all_s = done_s, all_s
        except StoreError as fault:
            if fault.code not in AWAY:
                raise


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


def read_day(recording_id: str, batch: str) -> list[str]:
    """Reads everything that was heard so far in a batch, and keeps a draft for each job in it; gives their ids."""
    return patiently(partial(_read_day, recording_id, batch))


def _read_day(recording_id: str, batch: str) -> list[str]:
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
                say("drafted", job_id, recording=recording_id, worker=work.worker)
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


def failed(recording_id: str, run_id: str, given: int, fault: Exception) -> None:
    """Writes down why a recording could not be done, where the page shows it.

    The state that a later run or another worker gave it is left alone.
    """
    # After the last try the engine raises an error of its own, which holds those of the tries.
    fault = (getattr(fault, "errors", None) or [fault])[-1]
    code = fault.code if isinstance(fault, ReportError) else type(fault).__name__
    reason = (
        str(fault) if isinstance(fault, ReportError) else f"A fault of the program: {type(fault).__name__}: {fault}"
    )
    with bench().store.database.writing() as session:
        row = session.get(RecordingRow, recording_id, with_for_update=True)
        if row is None or row.run_id != run_id or _given_to(row) > given:
            say("late-result-refused", recording=recording_id, worker=bench().worker, code=code)
            return
        row.state, row.reason = "failed", reason
        mirror(session, row, "failed", reason)
        tally.count(session, "failed")
        say("set-aside", jobs.job_of(session, row), recording=recording_id, code=code, tries=row.tries)


def left_s(recording: RecordingRow) -> float | None:
    """Seconds that hearing will still take by the pace so far; None when it cannot be said yet."""
    if recording.state != "hearing" or not recording.heard_since or recording.done_s <= 0 or recording.all_s <= 0:
        return None
    from datetime import UTC, datetime

    began = datetime.fromisoformat(recording.heard_since)
    spent = (datetime.now(UTC) - began).total_seconds()
    return max(0.0, spent * (recording.all_s - recording.done_s) / recording.done_s) if spent >= 5 else None
