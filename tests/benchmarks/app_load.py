"""Many at once on an embedded store: uploads of 5 MB, and reviewers who open a job, play and correct. Prints.

    python tests/benchmarks/app_load.py [UPLOADS] [REVIEWERS] [SECONDS] [--in-step] [--narration FILE]

One real program on loopback with its worker, which finds that what was uploaded is no sound. Defaults: 100 uploads, 50
reviewers, 60 seconds; a reviewer does one thing every two seconds, as his page does it. All uploads begin at once, from
a process of their own. The reviewers begin spread over the first two seconds, as people do; with `--in-step` all in the
same instant, and stay so. Their job is the invented visit of the tests, or a narration. Bounded in count and time;
asserts that nothing failed and prints how long requests took and what processor time the pages needed.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

from app_pages import narration
from app_store import ready_job, store_at

from pipeline.desk import Desk
from pipeline.draft import Recording

SIZE = 5 << 20


class Client:
    """One connection to the program, with the time that each request took."""

    def __init__(self, address: str) -> None:
        self.host = address.removeprefix("http://")
        self.took: list[float] = []
        self.faults: list[str] = []

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Any:
        """The JSON of an answer, or its bytes; a fault is noted."""
        connection = http.client.HTTPConnection(self.host, timeout=120)
        began = time.perf_counter()
        connection.request(
            method, path, body, {"accept": "application/json", "origin": f"http://{self.host}", **headers}
        )
        answer = connection.getresponse()
        data = answer.read()
        self.took.append(time.perf_counter() - began)
        connection.close()
        if answer.status >= 400:
            self.faults.append(f"{method} {path}: {answer.status} {data[:200]!r}")
        return json.loads(data) if answer.headers["content-type"] == "application/json" else data


def upload(address: str, number: int) -> Client:
    """Sends one recording."""
    client = Client(address)
    data = os.urandom(SIZE)
    begun = client.ask("POST", "/uploads", json.dumps({"name": f"load {number}.m4a", "size": SIZE}).encode())
    client.ask("PUT", f"/uploads/{begun['id']}?at=0", data)
    client.ask("POST", f"/uploads/{begun['id']}/done", json.dumps({"batch": f"load{number}"}).encode())
    return client


def upload_all(address: str, count: int) -> list[Client]:
    """Sends so many at once."""
    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(lambda number: upload(address, number), range(count)))


SEEN = re.compile(rb'id="work" data-job="\w+" data-seen="(\d+)" data-draft="(\w+)"')
PIECE = re.compile(rb'id="piece-(\w+)" data-digest="(\w+)"')


def review(client: Client, job: str, until: float, late_s: float) -> None:
    """Opens a job, plays a stretch and corrects a figure, one thing every two seconds, until the time is over."""
    time.sleep(late_s)
    turn, seen, draft, has = 0, 0, "", {}
    while time.monotonic() < until:
        began = time.monotonic()
        if turn % 3 == 0:
            html = client.ask("GET", f"/jobs/{job}", accept="text/html")
            found = SEEN.search(html)
            assert found
            seen, draft = int(found[1]), found[2].decode()
            has = {name.decode(): digest.decode() for name, digest in PIECE.findall(html)}
        elif turn % 3 == 1:
            client.ask("GET", f"/jobs/{job}/sound/0", range="bytes=0-1000")
        else:
            body = {
                "id": os.urandom(8).hex(), "do": "change", "handle": "r3", "now": {"value": turn},
                "seen": seen, "draft": draft, "has": has,
            }  # fmt: skip
            client.ask("POST", f"/jobs/{job}/edits", json.dumps(body).encode())
        turn += 1
        time.sleep(max(0.0, 2.0 - (time.monotonic() - began)))


def told(name: str, clients: list[Client]) -> None:
    """Prints the times of a group of clients."""
    took = sorted(1000 * one for client in clients for one in client.took)
    faults = [fault for client in clients for fault in client.faults]
    p95 = took[int(len(took) * 0.95)]
    middle = statistics.median(took)
    print(f"{name}: {len(took)} requests, {len(faults)} faults, median {middle:.0f} ms, 95 % {p95:.0f} ms")
    assert faults == [], faults[:3]


@contextmanager
def served(home: Path) -> Iterator[tuple[str, int]]:
    """The program as a user starts it, on a free port: its address and process."""
    command = [
        sys.executable,
        "-c",
        "from pipeline.cli import main; main()",
        "serve",
        "--port",
        "0",
        "--home",
        str(home),
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout
        try:
            yield process.stdout.readline().split()[3].rstrip("/"), process.pid
        finally:
            process.send_signal(signal.SIGINT)


def processor_s(pid: int) -> float:
    """Seconds of processor time that a process has used, without its children."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Seeds a job for each reviewer, then lets all of them loose."""
    parser = argparse.ArgumentParser()
    parser.add_argument("uploads", nargs="?", type=int, default=100)
    parser.add_argument("reviewers", nargs="?", type=int, default=50)
    parser.add_argument("seconds", nargs="?", type=float, default=60)
    parser.add_argument("--in-step", action="store_true")
    parser.add_argument("--narration", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        store = store_at(home)
        desk = Desk(store)
        recordings = (Recording(file="x", sha256="x"),)
        base = narration(asked.narration).model_copy(update={"recordings": recordings}) if asked.narration else None
        ids = [ready_job(store, desk, base, name=f"review {n}.m4a") for n in range(asked.reviewers)]
        store.close()
        with served(home) as (address, pid):
            time.sleep(4)
            before = processor_s(pid)
            until = time.monotonic() + asked.seconds
            apart = 0.0 if asked.in_step else 2.0 / max(1, asked.reviewers)
            readers = [Client(address) for _ in ids]
            with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
                sent = pool.submit(upload_all, address, asked.uploads) if asked.uploads else None
                threads = [
                    threading.Thread(target=review, args=(client, job, until, n * apart))
                    for n, (client, job) in enumerate(zip(readers, ids, strict=True))
                ]
                for thread in threads:
                    thread.start()
                for thread in threads:
                    thread.join()
                senders = sent.result() if sent else []
            for name, clients in (("uploads", senders), ("reviewers", readers)):
                if clients:
                    told(name, clients)
            print(f"processor time of the pages: {processor_s(pid) - before:.1f} s")


if __name__ == "__main__":
    main()
