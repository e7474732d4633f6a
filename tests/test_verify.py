"""The store read back: what is missing or damaged is said, and the exit status tells it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from app_store import ready_job

from pipeline.desk import Desk
from pipeline.store.named import METADATA, named_files
from pipeline.store.store import Store
from pipeline.store.tables import RecordingRow
from pipeline.store.verify import verify

Call = Callable[..., Any]


def file_of(store: Store, sha256: str) -> Path:
    return store.files.local(sha256)


def test_a_whole_store_is_whole_and_a_stray_file_is_no_fault(store: Store, jobtape: Call) -> None:
    ready_job(store, Desk(store))
    assert verify(store).faults == ()
    store.files.put(b"left over by a kill")
    called = jobtape("verify-store", "--home", store.place.home)
    assert (called.status, called.out) == (
        0, "3 files read back: all as they should be. 1 more belong to nothing, which is no fault.\n",
    )  # fmt: skip


@pytest.mark.parametrize("column", ["sha256", "heard"])
@pytest.mark.parametrize(("kind", "data"), [("missing", None), ("damaged", b"other bytes")])
def test_a_file_that_is_gone_or_changed_is_named(
    store: Store, jobtape: Call, column: str, kind: str, data: bytes | None
) -> None:
    ready_job(store, Desk(store))
    with store.database.reading() as session:
        row = session.query(RecordingRow).one()
        key, owner = getattr(row, column), row.id
    path = file_of(store, key)
    if data is None:
        path.unlink()
    else:
        path.write_bytes(data)
    called = jobtape("verify-store", "--home", store.place.home)
    assert called.status == 5
    assert f"{kind}: recording {owner}, sha256 {key}\n" in called.out


def test_a_recording_that_is_no_longer_kept_is_not_missed(store: Store) -> None:
    ready_job(store, Desk(store))
    with store.database.writing() as session:
        row = session.query(RecordingRow).one()
        row.kept = False
        key = row.sha256
    store.files.remove(key)
    assert verify(store).faults == ()


def test_every_column_of_a_digest_is_known_as_one() -> None:
    """By the names they have; a new one that is called otherwise has to be marked by whoever adds it."""
    marked = {f"{t.name}.{c.name}" for t in METADATA.sorted_tables for c in t.columns if c.info.get("file")}
    named = {
        f"{t.name}.{c.name}" for t in METADATA.sorted_tables for c in t.columns
        if c.name in ("sha256", "draft_key", "heard", "peaks", "playable")
    }  # fmt: skip
    assert marked == named


def test_files_are_named_by_their_rows(store: Store) -> None:
    ready_job(store, Desk(store))
    with store.database.reading() as session:
        assert sorted(owner.split()[0] for _, owner in named_files(session)) == ["job", "recording", "recording"]
