"""Many at once on an embedded store: uploads of 5 MB, and reviewers who open a job, play and correct. Prints.

    python tests/benchmarks/app_load.py [UPLOADS] [REVIEWERS] [SECONDS]

One real program on loopback with its worker, which finds that what was uploaded is no sound. Defaults: 100 uploads, 50
reviewers, 60 seconds; a reviewer does one thing every two seconds. Bounded in count and time; asserts that nothing
failed and prints how long requests took.
"""

from __future__ import annotations

import http.client
import json
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from app_store import ready_job, store_at

from pipeline.desk import Desk

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


def upload(client: Client, number: int) -> None:
    """Sends one recording."""
    data = os.urandom(SIZE)
    begun = client.ask("POST", "/uploads", json.dumps({"name": f"load {number}.m4a", "size": SIZE}).encode())
    client.ask("PUT", f"/uploads/{begun['id']}?at=0", data)
    client.ask("POST", f"/uploads/{begun['id']}/done", json.dumps({"batch": f"load{number}"}).encode())


def review(client: Client, job: str, until: float) -> None:
    """Opens a job, plays a stretch and corrects a figure, one thing every two seconds, until the time is over."""
    turn = 0
    while time.monotonic() < until:
        began = time.monotonic()
        if turn % 3 == 0:
            client.ask("GET", f"/jobs/{job}", accept="text/html")
        elif turn % 3 == 1:
            client.ask("GET", f"/jobs/{job}/sound/0", range="bytes=0-1000")
        else:
            now = client.ask("GET", f"/jobs/{job}/work")
            body = {
                "id": os.urandom(8).hex(), "do": "change", "handle": "r3", "now": {"value": turn},
                "seen": now["seen"], "draft": now["draft"],
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
def served(home: Path) -> Iterator[str]:
    """The program as a user starts it, on a free port."""
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
        yield process.stdout.readline().split()[3].rstrip("/")
        process.send_signal(signal.SIGINT)


def main() -> None:
    """Seeds a job for each reviewer, then lets all of them loose."""
    wanted = [int(one) for one in sys.argv[1:4]]
    uploads, reviewers, seconds = [*wanted, *(100, 50, 60)[len(wanted) :]]
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        store = store_at(home)
        desk = Desk(store)
        ids = [ready_job(store, desk, name=f"review {n}.m4a") for n in range(reviewers)]
        store.close()
        with served(home) as address:
            time.sleep(3)
            senders = [Client(address) for _ in range(uploads)]
            readers = [Client(address) for _ in ids]
            until = time.monotonic() + seconds
            threads = [threading.Thread(target=upload, args=(client, n)) for n, client in enumerate(senders)]
            threads += [
                threading.Thread(target=review, args=(client, job, until))
                for client, job in zip(readers, ids, strict=True)
            ]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            if senders:
                told("uploads", senders)
            told("reviewers", readers)


if __name__ == "__main__":
    main()
