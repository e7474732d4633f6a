"""Workers for tests: processes with a transcriber that only sleeps, and a network that can be cut.

    python tests/app_workers.py HOME SECONDS [GONE_AFTER_S]

Works on the store of JOBTAPE_DB and JOBTAPE_FILES until it is ended; with a third figure it looks twice a second and
takes over from a worker that was silent for so long. What it "hears" names the hearing, so that a
draft can be compared with the hearing that it should stand on.
"""

from __future__ import annotations

import json
import os
import secrets
import selectors
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from app_drafts import timed

from pipeline.hear import Heard
from pipeline.hear_apart import Result, Wanted
from pipeline.keep import digest_of_file

LINES = ("box is at 51 right now", "compressor is pulling 9.6 on common")


def result(wanted: Wanted, duration_s: float = 90.0) -> Result:
    """What a recogniser would give, with a mark of this one hearing in it."""
    heard = Heard(transcript=timed((*LINES, f"mark {secrets.token_hex(6)}")), duration_s=duration_s, grade=0.9,
                  hearing="careful")  # fmt: skip
    source = {
        "sha256": digest_of_file(Path(wanted.path)), "kind": "sound", "declared_s": duration_s,
        "recorded_at": "2026-03-14T09:26:53", "recorded_at_from": "metadata",
    }  # fmt: skip
    return Result(json.dumps({"heard": heard.model_dump(mode="json"), "source": source}), b"\x10\x20")


def mark_of(body: str) -> str:
    """The mark of the hearing that a draft or a kept hearing stands on."""
    return body.split("mark ", 1)[1][:12]


class Sleeper:
    """A transcriber that sleeps, tells progress as it does, and notes each beginning and end in a file."""

    def __init__(self, notes: Path, seconds: float) -> None:
        self.notes, self.seconds = notes, seconds

    def note(self, what: str, wanted: Wanted) -> None:
        """One line, written in one piece."""
        with self.notes.open("a", encoding="utf-8") as file:
            file.write(f"{what} {os.getpid()} {Path(wanted.path).name}\n")

    def __call__(self, wanted: Wanted, tell: Callable[[float, float], None]) -> Result:
        """Sleeps its time."""
        self.note("began", wanted)
        until = time.monotonic() + self.seconds
        while (left := until - time.monotonic()) > 0:
            time.sleep(min(left, 0.25))
            tell(90.0 * (1 - left / self.seconds) if self.seconds else 90.0, 90.0)
        self.note("ended", wanted)
        return result(wanted)


def environ(address: str, files: Path | str) -> dict[str, str]:
    """The environment of a process of the shop."""
    return {**os.environ, "JOBTAPE_DB": address, "JOBTAPE_FILES": str(files), "JOBTAPE_LOG": "-"}


def start_worker(
    home: Path, address: str, files: Path | str, seconds: float, gone_after_s: float | None = None
) -> subprocess.Popen[str]:
    """A worker process; it is ready once it has printed a line."""
    home.mkdir(parents=True, exist_ok=True)
    log = (home / "log").open("a")
    process = subprocess.Popen(
        [sys.executable, __file__, str(home), str(seconds), *([str(gone_after_s)] if gone_after_s else [])],
        env=environ(address, files), stdout=subprocess.PIPE, stderr=log, text=True,
    )  # fmt: skip
    log.close()
    return process


def wait_ready(process: subprocess.Popen[str]) -> None:
    """Waits for a worker's first line."""
    assert process.stdout
    assert process.stdout.readline() == "ready\n"


class Wire:
    """A wire to a server on loopback that can be cut: both ends stay connected and hear nothing more."""

    def __init__(self, port: int) -> None:
        self.target = port
        self._whole = threading.Event()
        self._whole.set()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """From now on nothing passes."""
        self._whole.clear()

    def mend(self) -> None:
        """What was held back passes, and all that follows."""
        self._whole.set()

    def _accept(self) -> None:
        while True:
            near = self._listener.accept()[0]
            threading.Thread(target=self._carry, args=(near,), daemon=True).start()

    def _carry(self, near: socket.socket) -> None:
        self._whole.wait()
        with near, socket.create_connection(("127.0.0.1", self.target)) as far, selectors.DefaultSelector() as ready:
            ready.register(near, selectors.EVENT_READ, far)
            ready.register(far, selectors.EVENT_READ, near)
            while True:
                for key, _ in ready.select():
                    self._whole.wait()
                    source: Any = key.fileobj
                    try:
                        data = source.recv(65536)
                        key.data.sendall(data)
                    except OSError:
                        return
                    if not data:
                        return


def main() -> None:
    """The worker process."""
    from pipeline import worker
    from pipeline.log import begin
    from pipeline.settings import read_settings
    from pipeline.store.place import store_place

    if len(sys.argv) > 3:
        worker.LOOK_EVERY_S, worker.GONE_AFTER_S = 0.5, float(sys.argv[3])
    home, settings = Path(sys.argv[1]), read_settings()
    begin(settings.log)
    hear = Sleeper(home / "notes", float(sys.argv[2]))
    with worker.working(store_place(home=home), settings, hear=hear):
        print("ready", flush=True)
        threading.Event().wait()


if __name__ == "__main__":
    main()
