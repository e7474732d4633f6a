"""The job engine in a process of its own: pages stay quick while it hears and reads, and a crash stays apart."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from pipeline.desk import Desk, shop_of
from pipeline.errors import ReportError, StoreError
from pipeline.hear_apart import hear_apart
from pipeline.jobs import Bench, Engine, Hear
from pipeline.keep import only_call
from pipeline.settings import Settings
from pipeline.store.place import StorePlace
from pipeline.store.store import Store, open_store

LAST_WORKER_GONE_WITHIN_S = 30
LOOK_EVERY_S = 5.0
SLOWEST_RESTART_S = 30.0


@contextlib.contextmanager
def working(place: StorePlace, settings: Settings, *, hear: Hear = hear_apart) -> Iterator[tuple[Store, Engine]]:
    """The engine at work in this process; one a store. Raises StoreError when another process works there."""
    with only_call(place.home / "worked"):
        store = open_store(place)
        engine = Engine(Bench(store, Desk(store, shop_of(place, settings)), settings, hear))
        stop = threading.Event()
        watch = threading.Thread(target=_watch, args=(engine, stop), daemon=True)
        try:
            engine.start()
            engine.submit_waiting()
            watch.start()
            yield store, engine
        finally:
            stop.set()
            engine.stop()
            store.close()


def _watch(engine: Engine, stop: threading.Event) -> None:
    """Sets aside what the engine gave up, and puts in what was taken in while no engine ran."""
    while not stop.wait(LOOK_EVERY_S):
        # The database may be away for a while; the next look does it.
        with contextlib.suppress(ReportError):
            engine.set_aside()
            engine.submit_waiting()


class WorkerProcess:
    """A worker that is started, watched and started again when it dies."""

    def __init__(self, place: StorePlace, settings: Settings, *, patience_s: float = LAST_WORKER_GONE_WITHIN_S) -> None:
        """Starts nothing yet. `patience_s`: how long it waits for a worker of before to be gone."""
        self.place = place
        self.patience_s = patience_s
        self.settings = settings
        self._stop = threading.Event()
        self._process: subprocess.Popen[str] | None = None
        self._watch = threading.Thread(target=self._keep_up, daemon=True)

    def start(self) -> None:
        """Starts it and waits until it works. Raises StoreError with its own words when it cannot."""
        told = self._begin()
        if told.get("ready") is not True:
            self.stop()
            raise StoreError(
                "worker-failed", str(told.get("error", "The job engine did not start.")), "Look at what it says above."
            )
        self._watch.start()

    def stop(self) -> None:
        """Ends it; what is in work goes on at the next start."""
        self._stop.set()
        process = self._process
        if process is None:
            return
        _close(process)
        try:
            process.wait(timeout=15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def _begin(self) -> dict[str, Any]:
        """Starts the process and gives its first line; an error where it ends without one."""
        # In a session of its own, so that Ctrl+C in the terminal reaches this process alone, which then ends it.
        process = subprocess.Popen(
            [sys.executable, "-m", "pipeline.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self._process = process
        assert process.stdin and process.stdout
        asked = {"place": asdict(self.place), "settings": asdict(self.settings), "patience_s": self.patience_s}
        # The pipe stays open: when this process dies, the worker sees its end and goes too.
        process.stdin.write(json.dumps(asked, default=str) + "\n")
        process.stdin.flush()
        try:
            told = json.loads(process.stdout.readline())
        except ValueError:
            return {"error": "The job engine ended at once."}
        return told if isinstance(told, dict) else {}

    def _keep_up(self) -> None:
        pause = 1.0
        while not self._stop.is_set():
            process = self._process
            if process is not None and process.poll() is None:
                self._stop.wait(1.0)
                continue
            if process is not None:
                _close(process)
            if self._stop.wait(pause):
                return
            pause = 1.0 if self._begin().get("ready") else min(SLOWEST_RESTART_S, 2 * pause)


def _close(process: subprocess.Popen[str]) -> None:
    """Lets go of a process's pipes, which tells it to end if it still runs."""
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            with contextlib.suppress(OSError):
                pipe.close()


def main() -> None:
    """The worker itself: reads where and how to work from its input, works until that input ends."""
    asked = json.loads(sys.stdin.readline())
    place = StorePlace(**{**asked["place"], "home": Path(asked["place"]["home"])})
    said = asked["settings"]
    settings = replace(
        Settings(model=said["model"], hearing=said["hearing"], threads=said["threads"]),
        shop=Path(said["shop"]) if said["shop"] else None,
        work=Path(said["work"]) if said["work"] else None,
    )
    until = time.monotonic() + asked["patience_s"]
    while True:
        try:
            with working(place, settings):
                print(json.dumps({"ready": True}), flush=True)
                sys.stdin.read()
                return
        except ReportError as fault:
            # A worker of before may still be going.
            if fault.code == "store-locked" and time.monotonic() < until:
                time.sleep(0.3)
                continue
            print(json.dumps({"error": str(fault)}), flush=True)
            return


if __name__ == "__main__":
    main()
