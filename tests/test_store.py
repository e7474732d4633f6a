"""The store: nothing acknowledged is lost, the same twice is harmless, what is forgotten is gone."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from app_drafts import draft
from app_store import does, heard, ready_job, store_at, taken, uploaded
from sqlalchemy import select, text

from extractors.facts import Said
from pipeline.desk import Clash, Desk, OpenJob
from pipeline.edits import EditKind
from pipeline.edits_make import make_edit
from pipeline.errors import InputError, SetupError, StoreError
from pipeline.store import jobs, search
from pipeline.store.database import HEAD, Database, ready, upgrade, version_of
from pipeline.store.files import FolderFiles
from pipeline.store.jobs import NewDraft
from pipeline.store.place import store_place
from pipeline.store.store import Store
from pipeline.store.tables import AuditRow, Base, JobRow
from pipeline.store.uploads import FORGOTTEN_AFTER_S, shown_name

# Files


def test_files_stand_under_their_hash_and_a_damaged_one_is_said(tmp_path: Path) -> None:
    files = FolderFiles(tmp_path / "files")
    key = files.put(b"spoken")
    assert key == hashlib.sha256(b"spoken").hexdigest()
    assert files.put(b"spoken") == key
    assert (files.get(key), list(files.keys())) == (b"spoken", [key])

    files.local(key).write_bytes(b"broken")
    with pytest.raises(StoreError, match="damaged"):
        files.get(key)
    files.remove(key)
    with pytest.raises(StoreError, match="no longer in the store"):
        files.get(key)


@pytest.mark.parametrize("name", ["../../etc/passwd", "..", "", "A" * 64, "a" * 63, "/" * 64])
def test_what_is_no_hash_is_no_file(tmp_path: Path, name: str) -> None:
    files = FolderFiles(tmp_path / "files")
    (tmp_path / "secret").write_text("x")

    assert not files.has(name)
    with pytest.raises(StoreError):
        files.local(name)


# Uploads


def test_an_upload_goes_on_where_it_broke_off(store: Store) -> None:
    upload = store.uploads.begin("front cooler.m4a", 10, "local")
    with store.uploads.open(upload, 0) as file:
        file.write(b"01234")
    upload = store.uploads.find(upload.id, "local")
    assert upload.received == 5
    with store.uploads.open(upload, 3) as file:
        file.write(b"3456789")

    path, sha256 = store.uploads.finish(store.uploads.find(upload.id, "local"))
    assert path.read_bytes() == b"0123456789"
    assert sha256 == hashlib.sha256(b"0123456789").hexdigest()


def test_an_upload_cannot_leave_a_hole_or_be_anothers(store: Store) -> None:
    upload = store.uploads.begin("front.m4a", 10, "ann")
    with pytest.raises(InputError, match="0 bytes"):
        store.uploads.open(upload, 4)
    with pytest.raises(InputError, match="not known"):
        store.uploads.find(upload.id, "bob")
    with pytest.raises(InputError, match="not known"):
        store.uploads.find("../" + upload.id, "ann")


@pytest.mark.parametrize(
    ("name", "size", "code"),
    [
        ("tool.zip", 10, "unknown-file-type"),
        ("page.html", 10, "unknown-file-type"),
        ("noname", 10, "unknown-file-type"),
        ("empty.m4a", 0, "empty-audio"),
        ("long.m4a", 5 << 30, "too-large"),
        ("long.txt", 5 << 20, "too-large"),
    ],
)
def test_what_cannot_be_a_recording_is_refused_before_a_byte_is_sent(
    store: Store, name: str, size: int, code: str
) -> None:
    with pytest.raises(InputError) as refused:
        store.uploads.begin(name, size, "local")
    assert refused.value.code == code


def test_a_full_disk_is_said_before_the_upload(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.store.uploads.free_bytes", lambda folder: 1 << 20)
    with pytest.raises(SetupError, match="no room"):
        store.uploads.begin("front.m4a", 1 << 20, "local")


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../a/b.m4a", "b.m4a"),
        ("C:\\jobs\\b.m4a", "b.m4a"),
        ("a\nb\x00.m4a", "a_b_.m4a"),
        ("x" * 300 + ".m4a", "x" * 196 + ".m4a"),
        ("...", "recording"),
    ],
)
def test_names_are_shown_and_never_paths(name: str, shown: str) -> None:
    assert shown_name(name) == shown


def test_an_upload_that_nobody_goes_on_with_is_swept_away(store: Store) -> None:
    upload = store.uploads.begin("front.m4a", 10, "local")
    part = store.place.uploads / f"{upload.id}.part"
    import os

    old = time.time() - FORGOTTEN_AFTER_S - 60
    os.utime(part, (old, old))
    store.uploads.begin("other.m4a", 10, "local")

    assert not part.exists()


# Taking in


def test_the_same_recording_twice_is_an_answer_not_a_second_job(store: Store) -> None:
    first = taken(store, "front.m4a", b"sound")
    second = taken(store, "copy of front.m4a", b"sound", batch="b2")

    assert (first.known, second.known) == (False, True)
    assert second.job_id == first.job_id
    assert list(store.place.uploads.glob("*")) == []


def test_the_same_recording_sent_twice_at_once_is_one_job(store: Store) -> None:
    uploads = [uploaded(store, f"front{n}.m4a", b"sound") for n in range(6)]
    results, faults = [], []

    def take(n: int) -> None:
        try:
            results.append(jobs.take_in(store, uploads[n], f"b{n}"))
        except Exception as fault:
            faults.append(fault)

    threads = [threading.Thread(target=take, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert len({result.job_id for result in results}) == 1
    assert [result.known for result in results].count(False) == 1


def test_two_people_may_have_the_same_recording(store: Store) -> None:
    ann, bob = taken(store, "f.m4a", b"sound", owner="ann"), taken(store, "f.m4a", b"sound", owner="bob")

    assert ann.job_id != bob.job_id
    with store.database.reading() as session:
        assert [row.id for row in jobs.listed(session, "ann")] == [ann.job_id]
        with pytest.raises(InputError) as refused:
            jobs.job(session, bob.job_id, "ann")
    assert refused.value.http_status == 404


def test_what_was_taken_in_is_there_after_a_kill(tmp_path: Path) -> None:
    """A process takes an upload in, says so, and is killed at once: job and bytes are on disk."""
    code = (
        "import os,sys; sys.path.insert(0, sys.argv[2]); from pathlib import Path\n"
        "from app_store import store_at, taken\n"
        "took = taken(store_at(Path(sys.argv[1])), 'front.m4a', b'sound' * 1000)\n"
        "print(took.job_id, flush=True); os.kill(os.getpid(), 9)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "home"), str(Path(__file__).parent)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    store = store_at(tmp_path / "home")
    with store.database.reading() as session:
        stored = jobs.job(session, done.stdout.strip(), None)
        assert stored.row.job_state == "waiting"
        assert store.files.get(stored.recordings[0].sha256) == b"sound" * 1000
    store.close()


# Drafts


def test_a_reading_made_of_less_than_was_heard_since_is_refused(store: Store) -> None:
    first, second = taken(store, "a.m4a", b"1"), taken(store, "b.m4a", b"2")
    one = heard(store, first.recording_id, "one")
    new = NewDraft(draft(), first.recording_id, 1, (first.recording_id,))
    two = heard(store, second.recording_id, "two")

    assert jobs.publish(store, "b1", [(first.recording_id, one)], [new]) is None
    both = NewDraft(draft(), first.recording_id, 1, (first.recording_id, second.recording_id))
    ids = jobs.publish(store, "b1", [(first.recording_id, one), (second.recording_id, two)], [both])
    assert ids == [first.job_id]
    with store.database.reading() as session:
        assert [row.id for row in jobs.listed(session, None)] == [first.job_id]
        joined = session.get(JobRow, second.job_id)
        assert joined is not None
        assert joined.joined_to == first.job_id


def test_a_recording_with_two_jobs_makes_a_second_one_and_the_same_twice_changes_nothing(store: Store) -> None:
    took = taken(store, "day.m4a", b"1")
    key = heard(store, took.recording_id)
    new = [
        NewDraft(draft().model_copy(update={"name": f"day-{n}"}), took.recording_id, n, (took.recording_id,))
        for n in (1, 2)
    ]

    ids = jobs.publish(store, "b1", [(took.recording_id, key)], new)
    assert ids is not None
    assert len(ids) == 2
    assert jobs.publish(store, "b1", [(took.recording_id, key)], new) == ids


# Edits


def test_edits_are_kept_and_lists_search_and_history_follow(store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    after = does(desk, job_id, EditKind.CHANGE, "equipment.serial", value="K47-2299")
    assert after.draft.equipment.serial is not None

    again = Desk(store).open(job_id, None)
    assert again.draft == after.draft
    with store.database.reading() as session:
        row = session.get(JobRow, job_id)
        assert row is not None
        assert row.serial == "K47-2299"
        assert [found.id for found in search.find(session, "k47-2299")] == [job_id]
        whos = session.scalars(select(AuditRow.what).where(AuditRow.job_id == job_id)).all()
    assert "edit:change" in whos


def test_the_same_edit_sent_twice_is_kept_once(store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    seen = desk.open(job_id, None)
    edit = make_edit(seen.replayed, "Ann", EditKind.CHANGE, "r3", {"value": 8.6})
    for _ in range(2):
        after = desk.take(job_id, None, lambda _: edit, seen=0, draft_key=seen.stored.row.draft_key or "")

    assert after.stored.edits == (edit,)


def test_two_windows_on_one_figure_clash_and_on_two_figures_do_not(store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    old = desk.open(job_id, None)
    does(desk, job_id, EditKind.CHANGE, "r3", value=8.6)

    def late(handle: str) -> OpenJob:
        return desk.take(
            job_id, None, lambda seen: make_edit(seen.replayed, "Bob", EditKind.CHANGE, handle, {"value": 1.0}),
            seen=old.stored.seen, draft_key=old.stored.row.draft_key or "",
        )  # fmt: skip

    with pytest.raises(Clash, match="Ann changed this in another window"):
        late("r3")
    assert late("r4").draft.reading("r3").value == 8.6


def test_an_edit_on_a_draft_that_was_heard_anew_is_not_taken_in(store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    with pytest.raises(Clash, match="heard again"):
        desk.take(
            job_id, None, lambda seen: make_edit(seen.replayed, "Ann", EditKind.ACCEPT, "r2"), seen=0, draft_key="other"
        )


def test_an_edit_that_cannot_stand_never_gets_into_the_log(store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    with pytest.raises(InputError):
        does(desk, job_id, EditKind.CHANGE, "r3", role="guessed")
    assert desk.open(job_id, None).stored.edits == ()


# Search


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("cooler", True),
        ("COOLER feed", True),
        ("k47-2209", True),
        ("k472209", True),
        ("21.9", True),
        ("gask", True),
        ("condensér", True),
        ("freezer", False),
        ("cooler freezer", False),
        ("' OR 1=1 --", False),
        ('"*', False),
        ("", False),
        ("and not or near", False),
    ],
)
def test_search_finds_what_was_said_and_nothing_else(store: Store, desk: Desk, words: str, found: bool) -> None:
    job_id = ready_job(store, desk)
    with store.database.reading() as session:
        assert [row.id for row in search.find(session, words)] == ([job_id] if found else [])


def test_search_by_days(store: Store, desk: Desk) -> None:
    visited = draft().visit.model_copy(update={"date": Said(value="2026-03-14", given=True)})
    ready_job(store, desk, draft().model_copy(update={"visit": visited}))
    with store.database.reading() as session:
        assert len(search.find(session, "cooler", since="2026-03-14", until="2026-03-14")) == 1
        assert search.find(session, "cooler", since="2026-03-15") == []


# Versions


def test_the_migrations_make_the_tables_that_the_program_means(tmp_path: Path) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    database = Database(f"sqlite:///{tmp_path / 'a.sqlite'}")
    ready(database)
    with database.engine.connect() as connection:
        known = {"search_index", *(f"search_index_{name}" for name in ("data", "idx", "docsize", "config"))}
        context = MigrationContext.configure(
            connection, opts={"include_name": lambda name, kind, _: kind != "table" or name not in known}
        )
        assert compare_metadata(context, Base.metadata) == []
    assert version_of(database) == HEAD
    upgrade(database)
    database.close()


@pytest.mark.parametrize(("version", "hint"), [("0000", "upgrade-store"), ("9999", "later version")])
def test_a_store_of_another_version_is_not_touched(tmp_path: Path, version: str, hint: str) -> None:
    place = store_place({}, home=tmp_path)
    store = store_at(tmp_path)
    with store.database.writing() as session:
        session.execute(text("update alembic_version set version_num = :v"), {"v": version})
    store.close()

    with pytest.raises(StoreError, match=hint):
        store_at(place.home)


@pytest.mark.parametrize("url", ["mysql://host/name", "sqlite://", "jobs"])
def test_a_database_of_an_unknown_kind_is_refused_in_a_sentence(tmp_path: Path, url: str) -> None:
    with pytest.raises(InputError, match="JOBTAPE_DB"):
        store_place({"JOBTAPE_DB": url}, home=tmp_path)
