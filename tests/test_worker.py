"""The worker in a process of its own: it is started again when it dies, and what kills it is set aside."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from app_store import store_at, taken
from test_jobs import settled

from pipeline.errors import StoreError
from pipeline.keep import only_call
from pipeline.settings import read_settings
from pipeline.store import jobs
from pipeline.store.place import store_place
from pipeline.store.tables import RecordingRow
from pipeline.worker import WorkerProcess

SAID = b"The run capacitor is marked 5 microfarads plus or minus 6 percent and I'm reading 2.3 microfarads.\n"


def test_a_worker_that_dies_is_started_again_and_goes_on(tmp_path: Path) -> None:
    place = store_place({}, home=tmp_path)
    store = store_at(tmp_path)
    worker = WorkerProcess(place, read_settings({}))
    worker.start()
    try:
        first = worker._process
        assert first is not None
        os.kill(first.pid, signal.SIGKILL)
        took = taken(store, "front.said.txt", SAID)
        stored = settled(store, took.job_id, timeout_s=120)
        assert stored.row.draft_key is not None
        assert worker._process is not first
    finally:
        worker.stop()
    assert worker._process is not None
    assert worker._process.poll() is not None
    store.close()


def test_a_second_worker_of_an_embedded_store_says_why_it_does_not_start(tmp_path: Path) -> None:
    worker = WorkerProcess(store_place({}, home=tmp_path), read_settings({}), patience_s=0)
    with only_call(tmp_path / "worked"), pytest.raises(StoreError, match="Another jobtape call"):
        worker.start()


POISON = """
import os, signal, sys, time
sys.path.insert(0, sys.argv[2])
from pathlib import Path
from pipeline.settings import read_settings
from pipeline.store.place import store_place
import pipeline.worker as worker
worker.LOOK_EVERY_S = 0.2
home = Path(sys.argv[1])
def hear(wanted, tell):
    with (home / "calls").open("a") as file: file.write("x"); file.flush()
    os.kill(os.getpid(), signal.SIGKILL)
with worker.working(store_place({}, home=home), read_settings({}), hear=hear):
    time.sleep(20)
"""


def test_a_recording_that_kills_its_worker_each_time_is_set_aside(tmp_path: Path) -> None:
    store = store_at(tmp_path)
    took = taken(store, "front.m4a", b"x")

    def state() -> RecordingRow:
        with store.database.reading() as session:
            row = jobs.job(session, took.job_id, None).recordings[0]
            session.expunge_all()
            return row

    for _ in range(8):
        command = [sys.executable, "-c", POISON, str(tmp_path), str(Path(__file__).parent)]
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
            until = time.monotonic() + 60
            while process.poll() is None and state().state != "failed" and time.monotonic() < until:
                time.sleep(0.05)
            process.kill()
            process.communicate()
        if state().state == "failed":
            break
    row = state()
    assert row.state == "failed"
    assert "set aside" in str(row.reason)
    assert 2 <= len((tmp_path / "calls").read_text()) <= 5
    store.close()
