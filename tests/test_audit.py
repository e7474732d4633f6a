"""The audit trail: everything that counts is in it once, nothing spoken is, and nobody can change a line."""

from __future__ import annotations

from pathlib import Path

import pytest
from app_people import ANN, BOB, OLA, OWN, PASSWORD, browser, signed_in, tries
from app_store import ready_job
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError
from starlette.applications import Starlette
from starlette.testclient import TestClient
from typer.testing import CliRunner

from pipeline.cli import app as commands
from pipeline.desk import Desk
from pipeline.store import audit
from pipeline.store.audit import Entry
from pipeline.store.store import Store
from pipeline.web import door

pytestmark = pytest.mark.usefixtures("quick_hashes")


def trail(store: Store, **asked: str) -> list[Entry]:
    with store.database.reading() as session:
        return audit.entries(session, limit=1000, **asked)  # type: ignore[arg-type]


def said(store: Store, **asked: str) -> list[tuple[str, str, str]]:
    return [(entry.who, entry.what, entry.detail) for entry in reversed(trail(store, **asked))]


def test_everything_that_is_done_with_a_job_leaves_a_line_with_who_and_from_where(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str]
) -> None:
    job = ready_job(store, desk, owner=ids[ANN])
    ann, office, owner = signed_in(app, ANN, "192.0.2.1"), signed_in(app, OLA, "192.0.2.2"), signed_in(app, OWN)
    before = len(said(store, job=job))
    for path in ("", "/work", "/sound/0", "/sound/0", "/strip/0", "/look"):
        office.get(f"/jobs/{job}{path}")
    seen = office.get(f"/jobs/{job}/work").json()
    edit = {"do": "accept", "handle": "r1", "id": "0123456789abcdef", "seen": seen["seen"], "draft": seen["draft"]}
    assert office.post(f"/jobs/{job}/edits", json=edit).status_code == 200
    assert office.get(f"/jobs/{job}/papers/report.md").status_code == 200
    assert ann.get(f"/jobs/{job}").status_code == 200
    assert owner.post(f"/jobs/{job}/forget").status_code == 200
    assert said(store, job=job)[before:] == [
        (OLA, "read", "page"),
        (OLA, "read", "sound"),
        (OLA, "read", "report"),
        (OLA, "edit:accept", ""),
        (OLA, "paper", "report.md"),
        (ANN, "read", "page"),
        (OWN, "forget", ""),
    ]
    assert {entry.who: entry.origin for entry in trail(store, job=job) if entry.origin} == {
        OLA: "192.0.2.2",
        ANN: "192.0.2.1",
        OWN: "192.0.2.10",
    }


def test_reading_is_noted_again_after_a_while(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    job, office = ready_job(store, desk, owner=ids[ANN]), signed_in(app, OLA)
    office.get(f"/jobs/{job}")
    monkeypatch.setattr(door, "READ_AGAIN_S", -1.0)
    office.get(f"/jobs/{job}")
    assert said(store, job=job).count((OLA, "read", "page")) == 2


def test_sign_ins_and_refusals_leave_a_line_and_no_password_or_unknown_name(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str]
) -> None:
    job = ready_job(store, desk, owner=ids[ANN])
    tries(browser(app), ANN, "not the password")
    tries(browser(app), PASSWORD, "typed the password into the field for the name")
    bob = signed_in(app, BOB)
    bob.get(f"/jobs/{job}/look")
    bob.get("/audit")
    token = bob.headers.pop("x-form-token")
    bob.post("/uploads", json={})
    bob.headers["x-form-token"] = token
    bob.post("/uploads", json={}, headers={"sec-fetch-site": "cross-site"})
    bob.post("/sign-out", data={})
    lines = [line for line in said(store) if line[0] != "test"]
    for line in (
        (ANN, "sign-in:refused", ""),
        ("somebody unknown", "sign-in:refused", ""),
        (BOB, "sign-in", ""),
        (BOB, "refused", "GET /jobs/{job}/look"),
        (BOB, "refused", "GET /audit"),
        (BOB, "refused", "form token"),
        ("somebody unknown", "refused", "by another site's page or name"),
        (BOB, "sign-out", ""),
    ):
        assert lines.count(line) == 1, line
    assert PASSWORD not in str(trail(store))
    assert "typed the password" not in str(trail(store))


def test_no_spoken_word_gets_into_the_trail(app: Starlette, store: Store, desk: Desk, ids: dict[str, str]) -> None:
    job = ready_job(store, desk, owner=ids[ANN])
    ann = signed_in(app, ANN)
    now = ann.get(f"/jobs/{job}/work").json()
    stamp = {"seen": now["seen"], "draft": now["draft"]}
    ann.post(f"/jobs/{job}/edits", json={"do": "change", "handle": "visit.customer", "id": "a" * 16,
             "now": {"value": "Zanzibar Dairy"}, **stamp})  # fmt: skip
    ann.get("/find?q=zanzibar")
    ann.post("/words", json={"how": "accept", "heard": "zanzibar", "say": "zanzibar"})
    ann.post("/due/1?done=1", json={})
    opened = desk.open(job, None)
    assert opened.draft.visit.customer and opened.draft.visit.customer.value == "Zanzibar Dairy"
    lines = " ".join(entry.line() for entry in trail(store)).lower()
    words = {word for segment in opened.draft.transcript.segments for word in segment.text.lower().split()}
    told = {word for word in words | {"zanzibar", "dairy"} if len(word) > 5 and word in lines}
    assert told == set()


def test_a_line_can_be_neither_changed_nor_removed(app: Starlette, store: Store) -> None:
    for deed in ("UPDATE audit SET who = 'x'", "DELETE FROM audit"):
        with pytest.raises(DatabaseError, match="only be added to"), store.database.writing() as session:
            session.execute(text(deed))
    assert len(trail(store)) == 4


def test_the_owner_reads_it_on_a_page_and_in_the_terminal(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str]
) -> None:
    job = ready_job(store, desk, owner=ids[ANN])
    signed_in(app, OLA).get(f"/jobs/{job}")
    owner = signed_in(app, OWN)
    assert "192.0.2.10" in owner.get(f"/audit?job={job}").text
    only = owner.get("/audit?who=ola%20desk").text
    assert (only.count("<td>Ola Desk</td>") > 0, only.count("<td>Uma Owner</td>")) == (True, 0)
    assert "No line fits" in owner.get("/audit?since=2999-01-01").text
    for odd in ("before=x", "before=99999999999999999999", "who=%00%ff", "since=never", "job=';--"):
        assert owner.get(f"/audit?{odd}").status_code == 200
    home = ["--home", str(store.place.home)]
    told = CliRunner().invoke(commands, ["audit", "--job", job, *home]).output.splitlines()
    assert "Ola Desk  read" in told[0]
    assert "from 192.0.2.10" in told[0]
    assert CliRunner().invoke(commands, ["audit", "--since", "soon", *home]).exit_code == 2


def test_on_this_machine_alone_reading_is_noted_too_and_a_full_disk_does_not_stop_it(
    client: TestClient, store: Store, desk: Desk, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from pipeline.errors import SetupError

    job = ready_job(store, desk)
    assert client.get(f"/jobs/{job}").status_code == 200
    assert ("Ann", "read", "page") in said(store, job=job)

    def full(*_: object) -> None:
        raise SetupError("no-space", "The disk is full.", "Free some space.")

    monkeypatch.setattr(door, "note", full)
    assert client.get(f"/jobs/{job}/look").status_code == 200


def test_on_a_network_nobody_reads_what_cannot_be_noted(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline.errors import SetupError

    job, office = ready_job(store, desk, owner=ids[ANN]), signed_in(app, OLA)

    def full(*_: object) -> None:
        raise SetupError("no-space", "The disk is full.", "Free some space.")

    monkeypatch.setattr(door, "note", full)
    answer = office.get(f"/jobs/{job}")
    assert answer.status_code == 503
    assert "The disk is full." in answer.text
