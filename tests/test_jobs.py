"""Durable jobs: a kill at any moment, a fault that comes again, a second hearing; nothing lost, nothing done over."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from app_drafts import LINES, timed
from app_store import store_at, taken

from pipeline import hear_apart as hear_apart_module
from pipeline.desk import Desk
from pipeline.edits import EditKind
from pipeline.edits_make import make_edit
from pipeline.errors import InputError, StoreError
from pipeline.hear import Heard
from pipeline.hear_apart import Result, Wanted
from pipeline.jobs import Bench, left_s
from pipeline.jobs_engine import Engine, JsonSerializer
from pipeline.keep import digest_of_file, only_call
from pipeline.learned import OwnWord, OwnWords, save_words_file
from pipeline.settings import read_settings
from pipeline.store import jobs
from pipeline.store.store import Store
from pipeline.store.tables import RecordingRow

Hear = Callable[[Wanted, Callable[[float, float], None]], Result]


def result(wanted: Wanted, lines: tuple[str, ...] = LINES) -> Result:
    """What a recogniser would give for the invented visit."""
    heard = Heard(transcript=timed(lines), duration_s=90.0, grade=0.9, hearing="careful")
    source = {
        "sha256": digest_of_file(Path(wanted.path)), "kind": "sound", "declared_s": 90.0,
        "recorded_at": "2026-03-14T09:26:53", "recorded_at_from": "metadata",
    }  # fmt: skip
    return Result(json.dumps({"heard": heard.model_dump(mode="json"), "source": source}), b"\x10\x20")


@contextmanager
def engine(store: Store, hear: Hear) -> Iterator[Engine]:
    made = Engine(Bench(store, Desk(store), read_settings({}), hear))
    made.start()
    try:
        yield made
    finally:
        made.stop()


def submit(engine: Engine, recording_id: str) -> None:
    with engine.work.store.database.writing() as session:
        row = session.get(RecordingRow, recording_id)
        assert row is not None
        engine.submit(session, row)


def settled(
    store: Store, job_id: str, wanted: str = "ready", *, timeout_s: float = 60, other_than: str = ""
) -> jobs.StoredJob:
    """The job once it came to rest with another draft than that; the test fails when it comes to another rest."""
    until = time.monotonic() + timeout_s
    while True:
        with store.database.reading() as session:
            stored = jobs.job(session, job_id, None)
            session.expunge_all()
        states = [recording.state for recording in stored.recordings]
        resting = stored.row.job_state in ("ready", "failed") and not {"waiting", "hearing"} & set(states)
        if resting and stored.row.draft_key != (other_than or "none"):
            assert stored.row.job_state == wanted, stored.row.reason
            return stored
        assert time.monotonic() < until, f"still {stored.row.job_state}, {states}"
        time.sleep(0.05)


def test_a_recording_becomes_a_draft_that_can_be_found(store: Store) -> None:
    took = taken(store, "dock-cooler.m4a", b"sound")
    with engine(store, lambda wanted, tell: result(wanted)) as running:
        submit(running, took.recording_id)
        stored = settled(store, took.job_id)

    opened = Desk(store).open(took.job_id, None)
    assert opened.draft.name == "dock-cooler"
    assert opened.draft.transcript == timed()
    assert stored.row.visit_day == "2026-03-14"
    assert store.files.get(stored.recordings[0].peaks or "") == b"\x10\x20"


def test_a_fault_that_would_come_again_is_told_at_once_and_a_person_tries_again(store: Store) -> None:
    calls: list[str] = []

    def hear(wanted: Wanted, tell: Callable[[float, float], None]) -> Result:
        calls.append(wanted.hearing)
        if len(calls) == 1:
            raise InputError("silent", "Nobody speaks in it.", "Choose another recording.")
        return result(wanted)

    took = taken(store, "dock.m4a", b"sound")
    with engine(store, hear) as running:
        submit(running, took.recording_id)
        assert settled(store, took.job_id, "failed").row.reason == "Nobody speaks in it. Choose another recording."
        submit(running, took.recording_id)
        assert settled(store, took.job_id).row.reason is None
    assert len(calls) == 2


def test_a_fault_of_the_program_is_tried_three_times_and_then_set_aside(store: Store) -> None:
    calls: list[int] = []

    def hear(wanted: Wanted, tell: Callable[[float, float], None]) -> Result:
        calls.append(1)
        raise StoreError("hearing-died", "The program that hears recordings ended.", "Try again.")

    took = taken(store, "dock.m4a", b"sound")
    with engine(store, hear) as running:
        submit(running, took.recording_id)
        reason = settled(store, took.job_id, "failed").row.reason
    assert len(calls) == 3
    assert reason == "The program that hears recordings ended. Try again."


def test_a_recording_that_was_deleted_by_hand_is_one_clear_sentence(store: Store) -> None:
    took = taken(store, "dock.m4a", b"sound")
    with store.database.reading() as session:
        store.files.remove(jobs.job(session, took.job_id, None).recordings[0].sha256)
    with engine(store, lambda wanted, tell: result(wanted)) as running:
        submit(running, took.recording_id)
        assert "no longer in the store" in str(settled(store, took.job_id, "failed").row.reason)


def test_a_full_disk_is_said_and_tried_again_when_there_is_room(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    took = taken(store, "dock.m4a", b"sound")
    with engine(store, lambda wanted, tell: result(wanted)) as running:
        monkeypatch.setattr("pipeline.jobs.free_bytes", lambda folder: 1000)
        submit(running, took.recording_id)
        assert "disk is full" in str(settled(store, took.job_id, "failed").row.reason)
        monkeypatch.undo()
        submit(running, took.recording_id)
        settled(store, took.job_id)


def test_a_corrected_job_heard_again_keeps_its_corrections(store: Store) -> None:
    said = [LINES, tuple(line.replace("9.6", "9.9") for line in LINES)]
    took = taken(store, "dock.m4a", b"sound")
    with engine(store, lambda wanted, tell: result(wanted, said.pop(0))) as running:
        submit(running, took.recording_id)
        settled(store, took.job_id)
        desk = running.work.desk
        seen = desk.open(took.job_id, None)
        amps = next(r for r in seen.draft.readings if r.value == 9.6)
        desk.take(
            took.job_id, None, lambda now: make_edit(now.replayed, "Ann", EditKind.CHANGE, amps.id, {"value": 8.6}),
            seen=0, draft_key=seen.stored.row.draft_key or "",
        )  # fmt: skip
        with store.database.writing() as session:
            row = session.get(RecordingRow, took.recording_id)
            assert row is not None
            row.hearing = "quick"
            running.submit(session, row)
        settled(store, took.job_id, other_than=seen.stored.row.draft_key or "")

        after = desk.open(took.job_id, None)
        assert [r.value for r in after.draft.readings if r.subject == amps.subject and r.unit == "A"] == [8.6]
        assert [(c.kind, c.machine) for c in after.replayed.conflicts] == [("changed", "9.9")]


def test_the_shops_own_words_are_put_right_before_reading_and_given_as_hints(store: Store) -> None:
    hints: list[str] = []

    def hear(wanted: Wanted, tell: Callable[[float, float], None]) -> Result:
        hints.append(wanted.hotwords)
        return result(wanted, ("run cup is marked 25 plus or minus 5 percent and I'm getting 21.9",))

    save_words_file(store.place.words_file, OwnWords(word=(OwnWord(heard="run cup", say="run cap"),)))
    took = taken(store, "dock.m4a", b"sound")
    with engine(store, hear) as running:
        submit(running, took.recording_id)
        settled(store, took.job_id)
    draft = Desk(store).open(took.job_id, None).draft
    assert draft.transcript.segments[0].text.startswith("run cap is marked")
    assert {reading.subject for reading in draft.readings} == {"run capacitor"}
    assert hints == ["run cap"]


def test_two_recordings_of_one_upload_that_are_one_job(store: Store) -> None:
    first = taken(store, "one.m4a", b"1")
    second = taken(store, "two.m4a", b"2")
    with store.database.writing() as session:
        for recording_id in (first.recording_id, second.recording_id):
            row = session.get(RecordingRow, recording_id)
            assert row is not None
            row.one_job = True
    with engine(store, lambda wanted, tell: result(wanted)) as running:
        submit(running, first.recording_id)
        submit(running, second.recording_id)
        settled(store, first.job_id)
        until = time.monotonic() + 30
        while len(settled(store, first.job_id).recordings) < 2:
            assert time.monotonic() < until
            time.sleep(0.05)
    with store.database.reading() as session:
        assert [row.id for row in jobs.listed(session, None)] == [first.job_id]


KILLED = """
import sys, time, os
sys.path.insert(0, sys.argv[2])
from pathlib import Path
from app_store import store_at
from test_jobs import engine, result
home = Path(sys.argv[1])
def hear(wanted, tell):
    with (home / "calls").open("a") as file: file.write("x"); file.flush()
    if sys.argv[3] == "slow": time.sleep(60)
    return result(wanted)
store = store_at(home)
with engine(store, hear) as running:
    running.submit_waiting()
    print("up", flush=True)
    time.sleep(120)
"""


def run_apart(home: Path, pace: str) -> subprocess.Popen[str]:
    code = [sys.executable, "-c", KILLED, str(home), str(Path(__file__).parent), pace]
    return subprocess.Popen(code, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_a_kill_while_hearing_costs_nothing_but_time(tmp_path: Path) -> None:
    home = tmp_path / "home"
    store = store_at(home)
    took = taken(store, "dock.m4a", b"sound")
    process = run_apart(home, "slow")
    until = time.monotonic() + 60
    while not (home / "calls").exists():
        assert time.monotonic() < until
        assert process.poll() is None, process.stderr.read() if process.stderr else ""
        time.sleep(0.05)
    os.kill(process.pid, signal.SIGKILL)
    process.communicate()
    with store.database.reading() as session:
        assert jobs.job(session, took.job_id, None).row.job_state == "hearing"

    process = run_apart(home, "quick")
    try:
        settled(store, took.job_id)
    finally:
        process.kill()
        process.communicate()
    assert (home / "calls").read_text() == "xx"
    store.close()


def test_a_stop_while_hearing_is_at_once_and_the_next_start_goes_on(store: Store) -> None:
    began = threading.Event()
    ended: list[int] = []

    def long(wanted: Wanted, tell: Callable[[float, float], None]) -> Result:
        """Sound that lasts until its process is ended."""
        sleeper = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"], text=True)
        hear_apart_module._children.add(sleeper)
        began.set()
        ended.append(sleeper.wait())
        raise StoreError("hearing-died", "It was ended.", "")

    took = taken(store, "dock.m4a", b"sound")
    with engine(store, long) as running:
        submit(running, took.recording_id)
        assert began.wait(timeout=30)
    until = time.monotonic() + 30
    while not ended and time.monotonic() < until:
        time.sleep(0.05)
    assert ended == [-signal.SIGKILL]
    with store.database.reading() as session:
        assert jobs.job(session, took.job_id, None).row.job_state == "hearing"
    with engine(store, lambda wanted, tell: result(wanted)):
        settled(store, took.job_id)


def test_a_store_is_served_by_one_process_only(tmp_path: Path) -> None:
    from pipeline.store.place import store_place
    from pipeline.web.serve import running

    with (
        only_call(tmp_path / "served"),
        pytest.raises(StoreError, match="Another jobtape call"),
        running(store_place({}, home=tmp_path), read_settings({})),
    ):
        pass


def test_values_of_steps_are_plain_text_in_the_database() -> None:
    made = JsonSerializer()
    assert made.deserialize(made.serialize({"args": ["a", 1, None]})) == {"args": ["a", 1, None]}
    assert "ValueError" not in made.serialize(ValueError("what went wrong"))


def test_time_left_is_said_only_when_it_can_be_known() -> None:
    row = RecordingRow(state="hearing", heard_since="2020-01-01T00:00:00Z", done_s=0.0, all_s=100.0)
    assert left_s(row) is None
    row.done_s = 50.0
    assert (left_s(row) or 0) > 1000
    row.state = "heard"
    assert left_s(row) is None
