"""The job engine in a process of its own: pages stay quick while it hears and reads, and a crash stays apart."""

from __future__ import annotations

import contextlib
import json
import os
import platform
import secrets
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy.exc import SQLAlchemyError

from pipeline.desk import Desk, shop_of
from pipeline.errors import InputError, ReportError, StoreError
from pipeline.hear_apart import hear_apart
from pipeline.jobs import Bench, Hear
from pipeline.jobs_engine import Engine
from pipeline.jobs_watch import BEAT_EVERY_S, GONE_AFTER_S, Heart
from pipeline.keep import only_call
from pipeline.log import begin, say
from pipeline.settings import Settings
from pipeline.store.backups import reach
from pipeline.store.place import StorePlace
from pipeline.store.retention import Keeping, tidy
from pipeline.store.store import Store, open_store

LAST_WORKER_GONE_WITHIN_S = 30
LOOK_EVERY_S = BEAT_EVERY_S
SLOWEST_RESTART_S = 30.0
TIDY_EVERY_S = 3600.0


@contextlib.contextmanager
def working(place: StorePlace, settings: Settings, *, hear: Hear = hear_apart) -> Iterator[tuple[Store, Engine]]:
    """The engine at work in this process, on one job at a time.

    Of an embedded store it is the only one; raises StoreError when another process works there. A shared store has
    any number, each under a name of its own that is new at each start.
    """
    with contextlib.ExitStack() as stack:
        if place.embedded:
            stack.enter_context(only_call(place.home / "worked"))
        store = open_store(place)
        stack.callback(store.close)
        name = "embedded" if place.embedded else f"{platform.node()[:40]}-{os.getpid()}-{secrets.token_hex(4)}"
        engine = Engine(Bench(store, Desk(store, shop_of(place, settings)), settings, hear, name))
        heart = None if place.embedded else Heart(store, name, GONE_AFTER_S)
        if heart is not None:
            # Before the engine can take a job: a worker that holds one and is not on the list counts as gone.
            heart.beat()
        stop = threading.Event()
        watch = threading.Thread(target=_watch, args=(engine, heart, stop), daemon=True)
        try:
            engine.start()
            engine.submit_waiting()
            watch.start()
            threading.Thread(target=_tidy, args=(engine, stop), daemon=True).start()
            say("worker-began", worker=name)
            yield store, engine
        finally:
            stop.set()
            engine.stop()
            if heart is not None:
                with contextlib.suppress(ReportError):
                    heart.leave()
            say("worker-ended", worker=name)


def _watch(engine: Engine, heart: Heart | None, stop: threading.Event) -> None:
    """Beats, takes over from workers that are gone, sets aside what the engine gave up, puts in what waits."""
    while not stop.wait(LOOK_EVERY_S):
        # The database may be away for a while; the next look does it.
        with contextlib.suppress(ReportError, SQLAlchemyError):
            if heart is not None:
                heart.beat()
                heart.take_over()
            engine.set_aside()
            engine.submit_waiting()


def _tidy(engine: Engine, stop: threading.Event) -> None:
    """Removes what is due, also out of the backups; apart from the beat, which must not wait for it."""
    store, settings = engine.work.store, engine.work.settings
    while True:
        with contextlib.suppress(ReportError, SQLAlchemyError):
            tidy(store, Keeping(settings.recording_days, settings.paper_years), datetime.now(UTC).date())
            reach(store)
        if stop.wait(TIDY_EVERY_S):
            return


class Workers:
    """As many worker processes as jobs are to be in work at a time; each hears with its share of the processor."""

    def __init__(self, place: StorePlace, settings: Settings, count: int) -> None:
        """Starts nothing yet. Raises InputError for more than one on an embedded store."""
        if count < 1 or (place.embedded and count != 1):
            raise InputError(
                "wrong-count",
                f"{count} jobs at a time cannot be worked on here.",
                "Give one or more; a store without PostgreSQL has one worker.",
            )
        if not settings.threads and count > 1:
            settings = replace(settings, threads=max(1, (os.cpu_count() or 1) // count))
        self.all = [WorkerProcess(place, settings) for _ in range(count)]

    def start(self) -> None:
        """Starts all of them and waits until they work. Raises StoreError when one cannot; none is left then."""
        try:
            with ThreadPoolExecutor(len(self.all)) as pool:
                list(pool.map(WorkerProcess.start, self.all))
        except BaseException:
            self.stop()
            raise
        say("workers-began", host=platform.node(), capacity=len(self.all))

    def stop(self) -> None:
        """Ends all of them; what is in work goes on elsewhere, or at the next start."""
        with ThreadPoolExecutor(len(self.all)) as pool:
            list(pool.map(WorkerProcess.stop, self.all))


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
        Settings(**said),
        shop=Path(said["shop"]) if said["shop"] else None,
        work=Path(said["work"]) if said["work"] else None,
    )
    begin(said["log"])
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
