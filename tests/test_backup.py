"""Backups, tested by restoring: on both databases and across, under load, damaged, older, without what was removed."""

from __future__ import annotations

import gzip
import json
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from app_postgres import postgres
from app_store import does, ready_job, store_at, taken
from sqlalchemy import select, text

from pipeline.desk import Desk
from pipeline.edits import EditKind
from pipeline.errors import InputError, StoreError
from pipeline.store import backups, forgetting, jobs, search
from pipeline.store.backup import backup, restore
from pipeline.store.named import METADATA
from pipeline.store.store import Store
from pipeline.store.tables import JobRow, RecordingRow
from pipeline.store.verify import verify

Call = Callable[..., Any]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with postgres(tmp_path_factory.mktemp("pg")) as found:
        yield found


def empty(store: Store) -> None:
    """Empties a database that tests share."""
    with store.database.writing() as session:
        # The audit trail refuses to be emptied; only the database's own master may pass by its guard.
        session.execute(text("set local session_replication_role = replica"))
        for table in reversed(METADATA.sorted_tables):
            session.execute(table.delete())


@pytest.fixture(params=["sqlite-sqlite", "sqlite-postgresql", "postgresql-sqlite"])
def pair(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Store, Store]]:
    """A store and an empty one to restore into."""
    stores = []
    for name, kind in zip(("from", "into"), request.param.split("-"), strict=True):
        environ = {"JOBTAPE_DB": request.getfixturevalue("address")} if kind == "postgresql" else {}
        stores.append(store_at(tmp_path / name, environ))
        if kind == "postgresql":
            empty(stores[-1])
    yield stores[0], stores[1]
    for store in stores:
        store.close()


def test_what_was_restored_is_what_was_there_and_work_goes_on(pair: tuple[Store, Store], tmp_path: Path) -> None:
    store, into = pair
    desk = Desk(store)
    job_id = ready_job(store, desk)
    before = does(desk, job_id, EditKind.CHANGE, "r3", value=8.6)
    waiting = taken(store, "next.m4a", b"not heard yet")
    store.place.words_file.write_text("# our words\n", encoding="utf-8")

    made = backup(store, tmp_path / "target")
    assert (made.copied, made.missing) == (4, ())
    assert backup(store, tmp_path / "target").copied == 0
    assert restore(into, tmp_path / "target").missing == ()

    assert verify(into).faults == ()
    after = Desk(into).open(job_id, None)
    assert (after.draft, after.stored.edits) == (before.draft, before.stored.edits)
    assert into.place.words_file.read_text(encoding="utf-8") == "# our words\n"
    with into.database.reading() as session:
        assert [row.id for row in search.find(session, "gask")] == [job_id]
        row = session.get(RecordingRow, waiting.recording_id)
        assert row is not None
        assert (row.state, row.run_id) == ("waiting", None)
    # Rows that are written now get numbers beyond those that were restored.
    assert does(Desk(into), job_id, EditKind.CHANGE, "r3", value=8.7).stored.seen > before.stored.seen


@pytest.mark.postgres
def test_a_backup_under_load_has_the_file_of_every_row(address: str, tmp_path: Path) -> None:
    store = store_at(tmp_path / "from", {"JOBTAPE_DB": address})
    empty(store)
    stop, made = threading.Event(), []

    def load(number: int) -> None:
        desk, turn = Desk(store), 0
        while not stop.is_set():
            job_id = ready_job(store, desk, name=f"load {number} {turn}.m4a")
            does(desk, job_id, EditKind.CHANGE, "r3", value=turn)
            if turn % 3 == 2:
                forgetting.forget(store, [job_id], "Ann")
            made.append(job_id)
            turn += 1

    threads = [threading.Thread(target=load, args=(number,)) for number in range(3)]
    for thread in threads:
        thread.start()
    counts = []
    while len(made) < 24:
        done = backup(store, tmp_path / "target")
        assert done.missing == ()
        counts.append(done.rows)
    stop.set()
    for thread in threads:
        thread.join()
    into = store_at(tmp_path / "into")
    restored = restore(into, tmp_path / "target")
    assert restored.missing == ()
    assert verify(into).faults == ()
    desk = Desk(into)
    with into.database.reading() as session:
        ready = [row.id for row in jobs.listed(session, None) if row.job_state == "ready"]
    assert ready
    for job_id in ready:
        desk.open(job_id, None)
    store.close()
    into.close()


def test_a_backup_that_is_damaged_is_said_and_nothing_is_overwritten(store: Store, tmp_path: Path) -> None:
    ready_job(store, Desk(store))
    target = tmp_path / "target"
    into = store_at(tmp_path / "into")
    with pytest.raises(InputError, match="holds no finished backup"):
        restore(into, target)
    folder = backup(store, target).folder
    with pytest.raises(InputError, match="not empty"):
        restore(store, target)
    (folder / "rows.jsonl.gz").write_bytes(b"other")
    with pytest.raises(StoreError, match="are damaged"):
        restore(into, target)
    (folder / "index.json").write_text("{}")
    with pytest.raises(StoreError, match="no backup that can be read"):
        restore(into, folder)
    into.close()


def test_a_damaged_or_missing_file_is_named(store: Store, jobtape: Call, tmp_path: Path) -> None:
    ready_job(store, Desk(store))
    with store.database.reading() as session:
        key = session.query(RecordingRow).one().sha256
    store.files.local(key).write_bytes(b"spoilt")
    called = jobtape("backup", tmp_path / "target", "--home", store.place.home)
    assert called.status == 5
    assert f"missing in the store: sha256 {key}" in called.out
    called = jobtape("restore", tmp_path / "target", "--home", tmp_path / "into")
    assert called.status == 5
    assert f"missing in the backup: sha256 {key}" in called.out
    assert jobtape("verify-store", "--home", tmp_path / "into").status == 5


def test_only_the_newest_backups_stay_with_their_files(store: Store, jobtape: Call, tmp_path: Path) -> None:
    ready_job(store, Desk(store))
    for _ in range(3):
        assert jobtape("backup", tmp_path / "target", "--keep", "2", "--home", store.place.home).status == 0
    assert len(backups.folders_of(tmp_path / "target")) == 2
    assert jobtape("backup", tmp_path / "target", "--keep", "0", "--home", store.place.home).status == 2


def words_in(target: Path) -> str:
    """All that can be read in a target."""
    texts = []
    for path in target.rglob("*"):
        if path.is_file():
            data = path.read_bytes()
            texts.append((gzip.decompress(data) if path.suffix == ".gz" else data).decode("utf-8", "replace"))
    return "\n".join(texts)


def test_what_is_removed_is_taken_out_of_the_backups_too(store: Store, jobtape: Call, tmp_path: Path) -> None:
    desk, target = Desk(store), tmp_path / "target"
    gone, stays = ready_job(store, desk), ready_job(store, desk, name="other.m4a")
    backup(store, target)
    backup(store, target)
    assert "dock-cooler.m4a" in words_in(target)
    moved = target.rename(tmp_path / "away")
    assert "could not be reached" in jobtape("forget", gone, "--yes", "--home", store.place.home).out
    moved.rename(target)
    assert backups.reach(store) == []

    assert "dock-cooler.m4a" not in words_in(target)
    assert len(backups.folders_of(target)) == 2
    into = store_at(tmp_path / "into")
    assert restore(into, target).missing == ()
    with into.database.reading() as session:
        assert list(session.scalars(select(JobRow.id))) == [stays]
    assert verify(into).faults == ()
    into.close()


def test_a_backup_of_an_earlier_version_is_brought_to_this_one(store: Store, tmp_path: Path) -> None:
    job_id = ready_job(store, Desk(store))
    folder = backup(store, tmp_path / "target").folder
    newer = {"recording": {"claim", "queued_at", "heard_at"}}
    tables = {"audit", "machine", "recording", "job", "edit", "figure", "follow_up", "job_recording", "search"}
    kept = []
    with gzip.open(folder / "rows.jsonl.gz", "rt") as file:
        for line in file:
            table, row = json.loads(line)
            if table in tables:
                kept.append([table, {name: row[name] for name in row if name not in newer.get(table, ())}])
    with gzip.open(folder / "rows.jsonl.gz", "wt") as file:
        file.writelines(json.dumps(line) + "\n" for line in kept)
    index = backups.index_of(folder)
    changed = {"version": "0001", "rows_sha256": backups.digest_of_file(folder / "rows.jsonl.gz")}
    (folder / "index.json").write_text(index.model_copy(update=changed).model_dump_json())

    into = store_at(tmp_path / "into")
    restore(into, tmp_path / "target")
    assert Desk(into).open(job_id, None).draft == Desk(store).open(job_id, None).draft
    into.close()
