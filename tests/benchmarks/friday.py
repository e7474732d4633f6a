"""The worst Friday evening of a shop of fifty technicians, simulated against PostgreSQL; and how workers scale.

    python tests/benchmarks/friday.py [RECORDINGS] [HOURS] [WORKERS] [FASTER]
    python tests/benchmarks/friday.py --scale [JOBS] [SECONDS]

No audio: a transcriber that sleeps as long as was measured for a recording of that length, a reader that sleeps as
long as a reading takes, both divided by FASTER, as are the times between uploads. Everything else is real and not
faster: the database, the engine, the files, the rows of each job. So what those cost counts FASTER times. Defaults:
2000 recordings in 2 hours, 8 workers, 60 times faster. Prints the waiting times in minutes of the simulated evening.
`--scale` gives the jobs a second of 1, 2 and 4 workers with a transcriber that sleeps SECONDS (3). Needs PostgreSQL's
programs.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from app_drafts import draft
from app_postgres import postgres
from app_store import store_at, uploaded
from app_workers import environ, result, wait_ready
from sqlalchemy import func, select, text

from pipeline.desk import Desk
from pipeline.jobs import Bench
from pipeline.jobs_engine import Engine
from pipeline.settings import read_settings
from pipeline.store import jobs
from pipeline.store.store import Store
from pipeline.store.tables import RecordingRow

HEARD_IN = 0.8
"""Processor seconds of a careful hearing for each second of audio, on one core; see DEVELOPERS.md."""
READ_IN_S = 2.0
SHORTEST_S, USUAL_S, LONGEST_S = 30.0, 150.0, 900.0
"""A technician's note: two and a half minutes in the middle. A guess, since no shop's own were at hand."""


def worker(home: Path, faster: float) -> None:
    """A worker process: hears by sleeping for the length that the recording states, reads by sleeping."""
    import pipeline.jobs as steps
    from pipeline import run, worker
    from pipeline.draft import Draft
    from pipeline.hear_apart import Result, Wanted
    from pipeline.store.place import store_place

    made = draft()

    def hear(wanted: Wanted, tell: object) -> Result:
        seconds = float(Path(wanted.path).read_bytes().split()[0])
        time.sleep(HEARD_IN * seconds / faster)
        return result(wanted, seconds)

    def drafted(started: Draft, **_: object) -> Draft:
        time.sleep(READ_IN_S / faster)
        kept = {name: getattr(started, name) for name in ("name", "recordings", "made_with", "transcript")}
        return made.model_copy(update=kept)

    run.drafted = drafted
    steps.run.drafted = drafted
    with worker.working(store_place(home=home), read_settings(), hear=hear):
        print("ready", flush=True)
        threading.Event().wait()


def start(folder: Path, address: str, count: int, faster: float) -> list[subprocess.Popen[str]]:
    """Worker processes, ready to work."""
    processes = [
        subprocess.Popen(
            [sys.executable, __file__, "--worker", str(folder / f"worker{number}"), str(faster)],
            env=environ(address, folder / "files") | {"JOBTAPE_LOG": ""}, stdout=subprocess.PIPE, text=True,
        ) for number in range(count)
    ]  # fmt: skip
    for process in processes:
        wait_ready(process)
    return processes


def stop(processes: list[subprocess.Popen[str]]) -> None:
    """Ends them."""
    for process in processes:
        process.kill()
        process.communicate()


def take(engine: Engine, number: int, seconds: float) -> str:
    """A recording that states its length, taken in as an upload is; gives its id."""
    store = engine.work.store
    upload = uploaded(store, f"note {number}.m4a", f"{seconds:.2f} {number}\n".encode())
    took = jobs.take_in(store, upload, f"b{number}")
    with store.database.writing() as session:
        row = session.get(RecordingRow, took.recording_id)
        assert row is not None
        engine.submit(session, row)
    return took.recording_id


def shop(folder: Path, address: str) -> Engine:
    """The store with the door through which a web server puts jobs in."""
    store = store_at(folder / "web", {"JOBTAPE_DB": address, "JOBTAPE_FILES": str(folder / "files")})
    engine = Engine(Bench(store, Desk(store), read_settings({})))
    engine.prepare()
    return engine


def waiting(store: Store) -> int:
    """How many are not drafted yet."""
    with store.database.reading() as session:
        return session.execute(text("select count(*) from job where job_state in ('waiting', 'hearing')")).scalar() or 0


def evening(folder: Path, address: str, recordings: int, hours: float, workers: int, faster: float) -> None:
    """Runs the evening and prints it."""
    chance = random.Random(8)
    engine = shop(folder, address)
    store = engine.work.store
    lengths = [min(LONGEST_S, max(SHORTEST_S, chance.lognormvariate(5.0, 0.6))) for _ in range(recordings)]
    at = sorted(chance.uniform(0, hours * 3600 / faster) for _ in range(recordings))
    processes = start(folder, address, workers, faster)
    began, sent, done, longest = time.monotonic(), {}, {}, 0
    try:

        def send() -> None:
            for number, (moment, seconds) in enumerate(zip(at, lengths, strict=True)):
                time.sleep(max(0.0, began + moment - time.monotonic()))
                sent[take(engine, number, seconds)] = time.monotonic()

        sender = threading.Thread(target=send)
        sender.start()
        while sender.is_alive() or waiting(store):
            time.sleep(0.3)
            with store.database.reading() as session:
                ready = session.execute(text("select first_recording from job where job_state = 'ready'")).scalars()
                for recording_id in ready:
                    done.setdefault(recording_id, time.monotonic())
            longest = max(longest, len(sent) - len(done))
        ended = time.monotonic()
    finally:
        stop(processes)
    late = sorted((moment - sent[recording_id]) * faster / 60 for recording_id, moment in done.items())
    audio = sum(lengths)
    late_by = max(time_sent - began - moment for time_sent, moment in zip(sorted(sent.values()), at, strict=True))
    print(f"{recordings} recordings, {audio / 3600:.0f} h of audio, in {hours:g} h; {workers} workers; x{faster:g}")
    print(f"all drafted after {(ended - began) * faster / 3600:.2f} h; with no engine it would take "
          f"{max(hours, (audio * HEARD_IN + recordings * READ_IN_S) / workers / 3600):.2f} h")  # fmt: skip
    for share in (0.5, 0.9, 0.95, 1.0):
        print(f"{share:.0%} were ready within {late[min(len(late) - 1, int(len(late) * share))]:.0f} min of the upload")
    print(f"longest queue {longest}; uploads were late by up to {late_by:.1f} s of the real clock")
    with store.database.reading() as session:
        heard = session.scalar(select(func.count()).where(RecordingRow.state == "heard"))
        lost = recordings - len(done)
        rows = session.execute(text("select count(*) from dbos.operation_outputs")).scalar()
        print(f"heard {heard}, lost {lost}; rows of steps {rows}")
    measured(store, recordings)
    store.close()


def measured(store: Store, count: int) -> None:
    """Prints rows and bytes for each job, in the database and in the files."""
    with store.database.reading() as session:
        session.connection().exec_driver_sql("ANALYZE")
        found = session.execute(text(
            "select schemaname, relname, n_live_tup, pg_total_relation_size(relid) from pg_stat_user_tables "
            "order by 4 desc"
        )).all()  # fmt: skip
    for schema in ("public", "dbos"):
        of_it = [row for row in found if row[0] == schema]
        print(f"{schema}: {sum(row[2] for row in of_it) / count:.1f} rows, {sum(row[3] for row in of_it) / count:.0f} "
              "bytes a job; most in " + ", ".join(f"{row[1]} {row[3] / count:.0f}" for row in of_it[:4]))  # fmt: skip
    sizes = [store.files.local(key).stat().st_size for key in store.files.keys()]  # noqa: SIM118
    print(f"files: {len(sizes) / count:.1f} a job, {sum(sizes) / count:.0f} bytes without the recording itself")


def scale(folder: Path, address: str, count: int, seconds: float) -> None:
    """Prints the throughput of 1, 2 and 4 workers, each number against one worker."""
    engine = shop(folder, address)
    store = engine.work.store
    one, number = 0.0, 0
    for workers in (1, 2, 4):
        processes = start(folder, address, workers, 1.0)
        try:
            for _ in range(2 * workers):
                take(engine, number := number + 1, 0.01)
            while waiting(store):
                time.sleep(0.1)
            began = datetime.now(UTC)
            for _ in range(count * workers):
                take(engine, number := number + 1, seconds / HEARD_IN)
            while waiting(store):
                time.sleep(0.1)
            rate = count * workers / (datetime.now(UTC) - began).total_seconds()
        finally:
            stop(processes)
        one = one or rate
        print(f"{workers} workers: {rate:.2f} jobs a second, {rate / one / workers:.2f} of linear", flush=True)
    store.close()


def main() -> None:
    """One of the runs."""
    if sys.argv[1:2] == ["--worker"]:
        worker(Path(sys.argv[2]), float(sys.argv[3]))
        return
    scaling = sys.argv[1:2] == ["--scale"]
    given = [float(one) for one in sys.argv[2 if scaling else 1 :]]
    with tempfile.TemporaryDirectory() as name, postgres(Path(name) / "pg") as address:
        if scaling:
            jobs_each, seconds = [*given, *(15, 3)[len(given) :]]
            scale(Path(name), address, int(jobs_each), seconds)
            return
        recordings, hours, workers, faster = [*given, *(2000, 2, 8, 60)[len(given) :]]
        evening(Path(name), address, int(recordings), hours, int(workers), faster)


if __name__ == "__main__":
    main()
