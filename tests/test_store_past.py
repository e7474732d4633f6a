"""Machines and their past in the store; everything out as files and in again; what is forgotten is gone."""

from __future__ import annotations

from pathlib import Path

import pytest
from app_drafts import draft
from app_store import does, heard, ready_job, store_at, taken
from sqlalchemy import select

from extractors.facts import Said
from pipeline.desk import Desk
from pipeline.draft import Draft
from pipeline.edits import EditKind
from pipeline.errors import InputError
from pipeline.store import forgetting, jobs, machines, search
from pipeline.store.jobs import NewDraft
from pipeline.store.store import Store
from pipeline.store.tables import AuditRow, JobRow, MachineRow, RecordingRow
from pipeline.transfer import bring_in, export


def _dated(day: str) -> object:
    return draft().visit.model_copy(update={"date": Said(value=day, given=True)})


# Machines


def with_serial(serial: str, day: str, **equipment: str) -> Draft:
    made = draft()
    fields = {name: Said(value=value) for name, value in {"serial": serial, **equipment}.items() if value}
    return made.model_copy(
        update={"equipment": made.equipment.model_copy(update={"serial": None, **fields}), "visit": _dated(day)}
    )


def test_the_same_serial_is_the_same_machine_and_its_past_is_one(store: Store, desk: Desk) -> None:
    first = ready_job(store, desk, with_serial("K47-2209", "2025-01-10"), name="one.m4a")
    second = ready_job(store, desk, with_serial("k47 2209", "2026-03-14"), name="two.m4a")

    with store.database.reading() as session:
        rows = [session.get(JobRow, job_id) for job_id in (first, second)]
        assert rows[0] and rows[1]
        assert rows[0].machine_id == rows[1].machine_id
        past = machines.past(session, str(rows[0].machine_id), None)
        assert [job.id for job in past.jobs] == [second, first]


def test_a_serial_one_letter_off_is_a_question_and_never_merged_silently(store: Store, desk: Desk) -> None:
    ready_job(store, desk, with_serial("K47-2209", "2025-01-10"), name="one.m4a")
    second = ready_job(store, desk, with_serial("K47-2299", "2026-03-14"), name="two.m4a")

    with store.database.reading() as session:
        stored = jobs.job(session, second, None)
        assert len(session.scalars(select(MachineRow)).all()) == 2
    assert len(stored.likely) == 1
    assert "one letter apart" in stored.likely[0].why

    with store.database.writing() as session:
        stored = jobs.job(session, second, None)
        machines.decide(session, stored.row, stored.likely[0].machine_id, same=True, who="Ann")
    desk.refresh(desk.open(second, None))
    with store.database.reading() as session:
        assert len(session.scalars(select(MachineRow)).all()) == 1
        assert jobs.job(session, second, None).likely == ()


def test_a_refused_likeness_is_not_asked_again(store: Store, desk: Desk) -> None:
    ready_job(store, desk, with_serial("K47-2209", "2025-01-10"), name="one.m4a")
    second = ready_job(store, desk, with_serial("K47-2299", "2026-03-14"), name="two.m4a")
    with store.database.writing() as session:
        stored = jobs.job(session, second, None)
        machines.decide(session, stored.row, stored.likely[0].machine_id, same=False, who="Ann")
    does(desk, second, EditKind.CHANGE, "r3", value=8.6)

    with store.database.reading() as session:
        assert jobs.job(session, second, None).likely == ()


def test_a_follow_up_that_was_ticked_off_stays_so_through_an_edit(store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    with store.database.writing() as session:
        (row, _), *_ = machines.due(session, None)
        machines.tick(session, row.seq, None, "Ann", done=True)
    does(desk, job_id, EditKind.CHANGE, "r3", value=8.6)

    with store.database.reading() as session:
        assert machines.due(session, None) == []


# Out, in, gone


def test_an_exported_store_is_read_back_with_edits_papers_and_machines(
    store: Store, desk: Desk, tmp_path: Path
) -> None:
    job_id = ready_job(store, desk)
    does(desk, job_id, EditKind.CHANGE, "r3", value=8.6)
    moved = export(store, desk, tmp_path / "out")
    assert (moved.done, moved.faults) == (1, ())

    other = store_at(tmp_path / "other")
    brought = bring_in(other, Desk(other), tmp_path / "out", "local")
    assert (brought.done, brought.known, brought.faults) == (1, 0, ())
    assert Desk(other).open(job_id, None).draft == desk.open(job_id, None).draft
    with other.database.reading() as session:
        assert len(search.find(session, "cooler")) == 1
        assert len(session.scalars(select(MachineRow)).all()) == 1
    assert bring_in(other, Desk(other), tmp_path / "out", "local").known == 1
    other.close()


def test_a_job_whose_recording_was_deleted_by_hand_is_still_exported_and_told(
    store: Store, desk: Desk, tmp_path: Path
) -> None:
    job_id = ready_job(store, desk)
    with store.database.reading() as session:
        sha256 = jobs.job(session, job_id, None).recordings[0].sha256
    store.files.remove(sha256)

    moved = export(store, desk, tmp_path / "out")
    assert moved.done == 1
    assert "no longer in the store" in moved.faults[0]
    assert list((tmp_path / "out").glob("*/draft.json"))


def test_what_is_forgotten_is_in_no_file_any_more(store: Store, desk: Desk, tmp_path: Path) -> None:
    job_id = ready_job(store, desk)
    does(desk, job_id, EditKind.CHANGE, "complaint", text="Zebrafish pavilion is warm")
    forgetting.forget(store, [job_id], "Ann")

    store.database.close()
    left = [
        path
        for path in (tmp_path / "home").rglob("*")
        if path.is_file()
        and any(word in path.read_bytes().lower() for word in (b"zebrafish", b"feed store", b"gasket"))
    ]
    assert left == []
    with store.database.reading() as session:
        with pytest.raises(InputError):
            jobs.job(session, job_id, None)
        assert session.scalars(select(AuditRow.what).where(AuditRow.job_id == job_id)).all()[-1] == "forget"


def test_a_job_on_hold_is_not_forgotten_nor_taken_with_the_old_ones(store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    with store.database.writing() as session:
        row = session.get(JobRow, job_id)
        assert row is not None
        row.hold = True
    with store.database.reading() as session:
        assert jobs.older_than(session, "2999-01-01") == []
    with pytest.raises(InputError, match="hold"):
        forgetting.forget(store, [job_id], "Ann")


def test_a_recording_that_two_jobs_share_goes_with_the_last(store: Store) -> None:
    took = taken(store, "day.m4a", b"1")
    key = heard(store, took.recording_id)
    new = [NewDraft(draft(), took.recording_id, n, (took.recording_id,)) for n in (1, 2)]
    ids = jobs.publish(store, "b1", [(took.recording_id, key)], new) or []
    with store.database.reading() as session:
        sha256 = session.scalars(select(RecordingRow.sha256)).one()

    forgetting.forget(store, [ids[0]], "Ann")
    assert store.files.has(sha256)
    forgetting.forget(store, [ids[1]], "Ann")
    assert not store.files.has(sha256)
    assert list(store.files.keys()) == []
