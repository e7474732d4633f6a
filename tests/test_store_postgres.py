"""The same store on a real PostgreSQL: the same tables, the same answers, jobs on the same engine."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from app_postgres import postgres
from app_store import ready_job, store_at, taken, uploaded
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from test_jobs import engine, result, settled, submit

from pipeline.desk import Desk
from pipeline.edits import EditKind
from pipeline.edits_make import make_edit
from pipeline.errors import InputError
from pipeline.store import forgetting, jobs, machines, people, search, sessions
from pipeline.store.database import HEAD, upgrade, version_of
from pipeline.store.store import Store
from pipeline.store.tables import Base
from pipeline.store.tables_people import PersonRow

pytestmark = pytest.mark.postgres


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with postgres(tmp_path_factory.mktemp("pg")) as found:
        yield found


@pytest.fixture
def store(address: str, tmp_path: Path) -> Iterator[Store]:
    """An empty store: its own schema would do as well, but the migrations are part of what is tested."""
    opened = store_at(tmp_path / "home", {"JOBTAPE_DB": address})
    with opened.database.writing() as session:
        # The audit trail refuses to be emptied; only the database's own master may pass by its guard.
        session.execute(text("set local session_replication_role = replica"))
        for table in reversed(Base.metadata.sorted_tables):
            session.execute(table.delete())
    yield opened
    opened.close()


def test_the_migrations_make_the_same_tables(store: Store) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with store.database.engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"include_name": lambda name, kind, _: name not in ("words", "search_words", "dbos")}
        )
        assert compare_metadata(context, Base.metadata) == []
    assert version_of(store.database) == HEAD
    upgrade(store.database)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("cooler", True),
        ("k47-2209", True),
        ("k472209", True),
        ("21.9", True),
        ("gask", True),
        ("condensér", True),
        ("cooler freezer", False),
        ("' OR 1=1 --", False),
        ('"*:&|!()', False),
        ("and not or near", False),
    ],
)
def test_search_gives_what_it_gives_on_sqlite(store: Store, words: str, found: bool) -> None:
    job_id = ready_job(store, Desk(store))
    with store.database.reading() as session:
        assert [row.id for row in search.find(session, words)] == ([job_id] if found else [])


def test_edits_machines_and_forgetting(store: Store) -> None:
    desk = Desk(store)
    job_id, other = ready_job(store, desk), ready_job(store, desk, name="second.m4a")
    seen = desk.open(job_id, None)
    after = desk.take(
        job_id, None, lambda now: make_edit(now.replayed, "Ann", EditKind.CHANGE, "r3", {"value": 8.6}),
        seen=0, draft_key=seen.stored.row.draft_key or "",
    )  # fmt: skip
    assert after.draft.reading("r3").value == 8.6
    with store.database.reading() as session:
        machine_id = jobs.job(session, job_id, None).row.machine_id
        past = machines.past(session, str(machine_id), None)
        assert {row.id for row in past.jobs} == {job_id, other}
        assert [found.id for found in machines.machines(session, None, "k47 feed")] == [machine_id]
    forgetting.forget(store, [job_id, other], "Ann")
    with store.database.reading() as session:
        with pytest.raises(InputError):
            jobs.job(session, job_id, None)
        left = {
            table.name
            for table in Base.metadata.sorted_tables
            if session.execute(text(f"select count(*) from {table.name}")).scalar()
        }
    assert left == {"audit", "removed"}
    assert list(store.files.keys()) == []


def test_the_same_recording_sent_twice_at_once_is_one_job(store: Store) -> None:
    uploads = [uploaded(store, f"front{n}.m4a", b"sound") for n in range(6)]
    results: list[jobs.TakenIn] = []
    faults: list[Exception] = []

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
    assert len({one.job_id for one in results}) == 1


def test_a_recording_becomes_a_draft(store: Store) -> None:
    took = taken(store, "dock-cooler.m4a", b"sound")
    with engine(store, lambda wanted, tell: result(wanted)) as running:
        submit(running, took.recording_id)
        settled(store, took.job_id)
    with store.database.reading() as session:
        assert [row.id for row in search.find(session, "lint")] == [took.job_id]


@pytest.mark.parametrize("deed", ["UPDATE audit SET who = 'x'", "DELETE FROM audit", "TRUNCATE audit"])
def test_a_line_of_the_audit_trail_can_be_neither_changed_nor_removed(store: Store, deed: str) -> None:
    with pytest.raises(DBAPIError, match="only be added to"), store.database.writing() as session:
        session.execute(text(deed))


def test_people_sign_in_and_tries_at_one_moment_are_all_counted(store: Store) -> None:
    with store.database.writing() as session:
        ann = people.add(session, "Ann", "owner", "wet gravel under seven lamps", "test").id

    def tries(_: int) -> int:
        with store.database.writing() as session:
            return sessions.admit(session, "Ann", "192.0.2.1")

    with ThreadPoolExecutor(8) as pool:
        waits = list(pool.map(tries, range(16)))
    assert sum(wait == 0 for wait in waits) == sessions.FREE
    with store.database.writing() as session:
        secret = sessions.begin(session, session.get_one(PersonRow, ann), "192.0.2.1")
    found = sessions.find(store.database, secret)
    assert found is not None
    assert found.id == ann
    assert sessions.find(store.database, secret + "x") is None
