"""Keeping and forgetting: by age and kind, on hold, out of the backups; and all that is held on somebody, taken out."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from app_store import ready_job, store_at, taken
from sqlalchemy import select

from pipeline.desk import Desk
from pipeline.edits import EditKind, Target, TargetKind, new_edit
from pipeline.errors import InputError
from pipeline.settings import read_settings
from pipeline.store import backups, forgetting, jobs
from pipeline.store.backup import backup, restore
from pipeline.store.retention import Keeping, due, expire, hold, sweep, tidy
from pipeline.store.store import Store
from pipeline.store.tables import AuditRow, JobRow, RecordingRow
from pipeline.store.verify import verify

Call = Callable[..., Any]
USUAL = Keeping()


def aged(store: Store, desk: Desk, name: str, taken_on: str, *, checked: bool = True, visit: str | None = None) -> str:
    """A job whose recording came in on that day, and whose visit was then."""
    job_id = ready_job(store, desk, name=name)
    edit = new_edit("Ann", EditKind.REVIEW, Target(kind=TargetKind.JOB), now={"review": "reviewed"})
    with store.database.writing() as session:
        row = session.get(JobRow, job_id)
        assert row is not None
        if checked:
            jobs.add_edit(session, row, edit)
        row.visit_day = visit or taken_on
        recording = session.get(RecordingRow, row.first_recording)
        assert recording is not None
        recording.created_at = f"{taken_on}T08:00:00Z"
        recording.peaks = store.files.put(f"strip {name}".encode())
    return job_id


def found(store: Store, today: str, keeping: Keeping = USUAL) -> tuple[int, int, int]:
    with store.database.reading() as session:
        one = due(session, keeping, date.fromisoformat(today))
    return len(one.recordings), len(one.jobs), one.unchecked


@pytest.mark.parametrize(
    ("today", "keeping", "wanted"),
    [
        ("2026-06-12", USUAL, (0, 0, 0)),
        ("2026-06-13", USUAL, (1, 0, 1)),
        ("2026-06-13", Keeping(recording_days=None), (0, 0, 0)),
        ("2033-03-14", USUAL, (1, 0, 1)),
        ("2033-03-15", USUAL, (1, 2, 1)),
        ("2033-03-15", Keeping(recording_days=None, paper_years=None), (0, 0, 0)),
    ],
)
def test_each_kind_goes_after_its_own_time(
    store: Store, today: str, keeping: Keeping, wanted: tuple[int, int, int]
) -> None:
    desk = Desk(store)
    aged(store, desk, "checked.m4a", "2026-03-14")
    aged(store, desk, "unchecked.m4a", "2026-03-14", checked=False)
    assert found(store, today, keeping) == wanted


def test_the_sound_goes_and_the_words_stay(store: Store) -> None:
    desk = Desk(store)
    job_id = aged(store, desk, "dock.m4a", "2026-03-14")
    before = desk.open(job_id, None).draft
    with store.database.reading() as session:
        row = session.query(RecordingRow).one()
        sound, strip = row.sha256, row.peaks or ""
    assert tidy(store, USUAL, date(2026, 7, 1))
    assert not tidy(store, USUAL, date(2026, 7, 1))
    assert (store.files.has(sound), store.files.has(strip)) == (False, False)
    assert Desk(store).open(job_id, None).draft == before
    assert verify(store).faults == ()
    with store.database.reading() as session:
        assert "expire:recording" in session.scalars(select(AuditRow.what).where(AuditRow.job_id == job_id)).all()


def test_what_is_on_hold_stays_until_the_hold_is_taken_off(store: Store, jobtape: Call) -> None:
    desk = Desk(store)
    job_id = aged(store, desk, "dock.m4a", "2010-03-14")
    assert jobtape("hold", job_id, "--why", "asked by the insurer", "--home", store.place.home).status == 0
    assert found(store, "2026-11-25") == (0, 0, 0)
    with pytest.raises(InputError, match="on hold"):
        forgetting.forget(store, [job_id], "Ann")
    assert jobtape("hold", job_id, "--off", "--home", store.place.home).out == "The hold was taken off.\n"
    assert found(store, "2026-11-25") == (1, 1, 0)
    assert jobtape("hold", "0" * 16, "--home", store.place.home).status == 2


def test_a_hold_that_comes_in_between_is_heeded(store: Store) -> None:
    desk = Desk(store)
    job_id = aged(store, desk, "dock.m4a", "2010-03-14")
    with store.database.reading() as session:
        before = due(session, USUAL, date(2026, 11, 25))
    with store.database.writing() as session:
        hold(session, job_id, True, "Ann")
    expire(store, before)
    assert verify(store).faults == ()
    with store.database.reading() as session:
        assert session.query(RecordingRow).one().kept
        assert jobs.job(session, job_id, None).row.hold


def test_the_command_shows_first_and_removes_when_told(
    store: Store, jobtape: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    aged(store, Desk(store), "dock.m4a", "2010-03-14")
    called = jobtape("retention", "--home", store.place.home)
    assert called.out == "1 recordings and 1 jobs are due to be removed.\n"
    monkeypatch.setenv("JOBTAPE_PAPERS", "always")
    assert "1 recordings and 0 jobs" in jobtape("retention", "--yes", "--home", store.place.home).out
    assert "0 recordings and 0 jobs" in jobtape("retention", "--home", store.place.home).out


@pytest.mark.parametrize("said", ["0", "-3", "ninety", "9.5", "٣"])
def test_a_slip_in_the_settings_removes_nothing(said: str) -> None:
    with pytest.raises(InputError, match="JOBTAPE_RECORDINGS"):
        read_settings({"JOBTAPE_RECORDINGS": said})


def test_sound_that_is_due_goes_out_of_the_backups_and_stays_out(store: Store, tmp_path: Path) -> None:
    desk = Desk(store)
    job_id = aged(store, desk, "dock.m4a", "2026-03-14")
    backup(store, tmp_path / "target")
    with store.database.reading() as session:
        sound = session.query(RecordingRow).one().sha256
    tidy(store, USUAL, date(2026, 7, 1))
    assert backups.reach(store) == []
    assert not (tmp_path / "target" / "files" / sound[:2] / sound).exists()
    into = store_at(tmp_path / "into")
    assert restore(into, tmp_path / "target").missing == ()
    assert verify(into).faults == ()
    assert Desk(into).open(job_id, None).draft == desk.open(job_id, None).draft
    into.close()


def test_earlier_drafts_and_leavings_are_swept_and_young_files_are_not(store: Store) -> None:
    ready_job(store, Desk(store))
    left = store.files.put(b"an earlier draft")
    assert sweep(store) == 0
    assert sweep(store, older_than_s=-1) == 1
    assert not store.files.has(left)
    assert verify(store).faults == ()


def test_all_that_is_held_on_a_site_and_nothing_of_another(store: Store, jobtape: Call, tmp_path: Path) -> None:
    from app_drafts import draft

    from extractors.facts import Said

    desk = Desk(store)
    ours = ready_job(store, desk)
    other = draft().model_copy(update={"visit": draft().visit.model_copy(
        update={"site": Said(value="bakery", evidence=draft().visit.site.evidence)})})  # fmt: skip
    not_ours = ready_job(store, desk, other, name="other.m4a", owner="bea")
    waiting = taken(store, "bakery front.m4a", b"not heard", batch="b9", owner="bea")
    out = tmp_path / "out"
    called = jobtape("export", out, "--about", "bakery", "--home", store.place.home)
    assert called.status == 0, called.err
    held = json.loads((out / "held.json").read_text(encoding="utf-8"))
    assert set(held["jobs"]) == {not_ours, waiting.job_id}
    assert {line["job_id"] for line in held["trail"]} == {not_ours, waiting.job_id}
    assert sorted(path.parent.name.rsplit("-", 1)[1] for path in out.glob("*/job.json")) == sorted(held["jobs"])

    jobtape("export", tmp_path / "person", "--person", "local", "--home", store.place.home)
    assert json.loads((tmp_path / "person" / "held.json").read_text(encoding="utf-8"))["jobs"] == [ours]
    both = jobtape("export", out, "--about", "x", "--person", "y", "--home", store.place.home)
    assert (both.status, "Nothing was named" in both.err) == (2, True)
