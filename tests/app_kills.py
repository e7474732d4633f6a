"""A store with its server and workers, killed at random while recordings come in; and the count of what came of it."""

from __future__ import annotations

import http.client
import json
import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from app_postgres import away
from app_store import store_at
from app_workers import environ, mark_of, start_worker
from sqlalchemy import func, select

from pipeline.store import verify
from pipeline.store.store import Store
from pipeline.store.tables import JobRow, RecordingRow

SERVE = [sys.executable, "-c", "from pipeline.cli import main; main()", "serve", "--workers", "0"]


@dataclass
class Counts:
    """What came of it. `lost` and `twice` must be empty."""

    answered: int = 0
    worker_kills: int = 0
    server_kills: int = 0
    set_aside: int = 0
    hearings_begun: int = 0
    took_s: float = 0.0
    lost: list[str] = field(default_factory=list)
    twice: list[str] = field(default_factory=list)


class Shop:
    """The processes of a shop, each of which may be killed and comes back, but for one that does not."""

    def __init__(self, folder: Path, address: str, *, seconds: float, workers: int, gone_after_s: float | None) -> None:
        self.folder, self.address, self.seconds, self.gone_after_s = folder, address, seconds, gone_after_s
        self.counts = Counts()
        self.port = 0
        self.ended = threading.Event()
        self._lock = threading.Lock()
        self.store: Store = store_at(folder / "look", {"JOBTAPE_DB": address, "JOBTAPE_FILES": str(folder / "files")})
        self.server = self._serve()
        self.workers = [self._work(number) for number in range(workers)]

    def _serve(self) -> subprocess.Popen[str]:
        home = self.folder / "web"
        home.mkdir(exist_ok=True)
        with (home / "log").open("a") as log:
            process = subprocess.Popen(
                [*SERVE, "--port", str(self.port), "--home", str(home)], stdout=subprocess.PIPE, stderr=log, text=True,
                env=environ(self.address, self.folder / "files"),
            )  # fmt: skip
        assert process.stdout
        told = process.stdout.readline()
        if told:
            self.port = int(told.split("127.0.0.1:")[1].split("/")[0])
        return process

    def _work(self, number: int) -> subprocess.Popen[str]:
        return start_worker(
            self.folder / f"worker{number}", self.address, self.folder / "files", self.seconds, self.gone_after_s
        )

    def kill_worker(self, number: int, *, back: bool = True) -> None:
        """Kills a worker at once; another process takes its place, or none ever."""
        process = self.workers[number]
        process.kill()
        process.communicate()
        self.counts.worker_kills += 1
        if back:
            self.workers[number] = self._work(number)
        else:
            del self.workers[number]

    def kill_server(self) -> None:
        """Kills the web server at once and starts it again."""
        with self._lock:
            self.server.kill()
            self.server.communicate()
            self.counts.server_kills += 1
            while (server := self._serve()).poll() is not None:
                time.sleep(0.5)
            self.server = server

    def ask(self, method: str, path: str, body: bytes | None = None) -> Any:
        """The JSON of an answer; raises OSError when there is none, or an error."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(
                method, path, body, {"accept": "application/json", "origin": f"http://127.0.0.1:{self.port}"}
            )
            answer = connection.getresponse()
            data = answer.read()
        except http.client.HTTPException as fault:
            raise OSError(str(fault)) from fault
        finally:
            connection.close()
        if answer.status >= 400:
            raise OSError(f"{answer.status} {data[:200]!r}")
        return json.loads(data)

    def upload(self, number: int) -> str:
        """Sends one recording until it is answered, from the start after each break; gives its job."""
        data = f"recording {number} ".encode() * 200
        while True:
            with suppress(OSError):
                begun = self.ask("POST", "/uploads", json.dumps({"name": f"r{number}.m4a", "size": len(data)}).encode())
                self.ask("PUT", f"/uploads/{begun['id']}?at=0", data)
                done = self.ask("POST", f"/uploads/{begun['id']}/done", json.dumps({"batch": f"b{number}"}).encode())
                self.counts.answered += 1
                return str(done["job"])
            time.sleep(0.3)

    def stop(self) -> None:
        """Ends all that was started here."""
        self.ended.set()
        for process in (*self.workers, self.server):
            process.kill()
            process.communicate()
        self.store.close()


def storm(
    folder: Path, address: str, *, jobs: int, seconds: float, workers: int, kill_every_s: float, away_s: float = 0.0,
    gone_after_s: float | None = None, patience_s: float = 1800.0, seed: int = 8, tell: Callable[[str], None] = print,
) -> Counts:  # fmt: skip
    """Sends `jobs` recordings while processes are killed, waits for all to end, and counts.

    Each recording is sent twice at once. One worker is killed for good; with `away_s` the database is away so long.
    """
    chance, began = random.Random(seed), time.monotonic()
    shop = Shop(folder, address, seconds=seconds, workers=workers, gone_after_s=gone_after_s)
    try:
        with ThreadPoolExecutor(8) as pool:
            sent = [
                (number, pool.submit(shop.upload, number), pool.submit(shop.upload, number)) for number in range(jobs)
            ]
            shop.kill_worker(0, back=False)
            fallen = not away_s
            while not (fallen and all(one.done() and two.done() for _, one, two in sent) and _resting(shop)):
                assert time.monotonic() - began < patience_s, "not all came to rest"
                time.sleep(kill_every_s * chance.uniform(0.5, 1.5))
                if not fallen and _count(shop, "heard") > jobs // 3:
                    tell(f"the database is away for {away_s:g} s")
                    with away(address):
                        time.sleep(away_s)
                    fallen = True
                elif chance.random() < 0.2:
                    shop.kill_server()
                elif not _quiet(shop):
                    shop.kill_worker(chance.randrange(len(shop.workers)))
                _again(shop)
            for number, one, two in sent:
                if one.result() != two.result():
                    shop.counts.twice.append(f"r{number} has two jobs")
        _judge(shop, jobs)
        shop.counts.took_s = time.monotonic() - began
        return shop.counts
    finally:
        shop.stop()


def _count(shop: Shop, state: str) -> int:
    with suppress(Exception), shop.store.database.reading() as session:
        return session.scalar(select(func.count()).where(RecordingRow.state == state)) or 0
    return 0


def _quiet(shop: Shop) -> bool:
    """Whether so little is left that more kills would only set jobs aside."""
    return _count(shop, "waiting") == 0


def _resting(shop: Shop) -> bool:
    with suppress(Exception), shop.store.database.reading() as session:
        return not session.scalar(select(func.count()).where(JobRow.job_state.in_(("waiting", "hearing"))))
    return False


def _again(shop: Shop) -> None:
    """A person tries again what was set aside."""
    with suppress(Exception):
        with shop.store.database.reading() as session:
            failed = list(session.scalars(select(JobRow.id).where(JobRow.job_state == "failed")))
        for job_id in failed:
            shop.ask("POST", f"/jobs/{job_id}/again", b"{}")
            shop.counts.set_aside += 1


def _judge(shop: Shop, jobs: int) -> None:
    """Counts what is lost and what was done twice in effect: two jobs, or a draft of another hearing than is kept."""
    counts = shop.counts
    with shop.store.database.reading() as session:
        recordings = list(session.scalars(select(RecordingRow)))
        names = {row.file_name for row in recordings}
        counts.lost += [f"r{number} is gone" for number in range(jobs) if f"r{number}.m4a" not in names]
        if len(recordings) != jobs:
            counts.twice.append(f"{len(recordings)} recordings of {jobs}")
        for recording in recordings:
            rows = list(session.scalars(select(JobRow).where(JobRow.batch == recording.batch)))
            if len(rows) != 1:
                counts.twice.append(f"{recording.file_name} has {len(rows)} jobs")
            row = rows[0]
            if row.job_state != "ready" or not row.draft_key or not recording.heard:
                counts.lost.append(f"{recording.file_name}: {row.job_state} {row.reason}")
            elif mark_of(shop.store.files.get(row.draft_key).decode()) != mark_of(
                shop.store.files.get(recording.heard).decode()
            ):
                counts.twice.append(f"{recording.file_name}: its draft is of another hearing")
    counts.lost += [str(fault) for fault in verify.verify(shop.store).faults]
    for notes in shop.folder.glob("worker*/notes"):
        counts.hearings_begun += notes.read_text().count("began")
