"""What the pages keep and forget over time: own words, machines that may be the same, removal, a second hearing."""

from __future__ import annotations

import re
from typing import Any

from app_drafts import draft
from app_store import ready_job
from app_web import NoEngine
from starlette.testclient import TestClient

from extractors.facts import Said
from pipeline.desk import Desk
from pipeline.edits import EditKind
from pipeline.store.store import Store


def edit(client: TestClient, job_id: str, **body: object) -> Any:
    now = client.get(f"/jobs/{job_id}/work").json()
    body = {"id": body.pop("id", "0123456789abcdef"), "seen": now["seen"], "draft": now["draft"], **body}
    return client.post(f"/jobs/{job_id}/edits", json=body)


def test_own_words_are_proposed_after_the_second_time_accepted_and_taken_back(
    client: TestClient, store: Store, desk: Desk
) -> None:
    for name in ("one.m4a", "two.m4a"):
        job_id = ready_job(store, desk, name=name)
        answer = edit(client, job_id, do="words", words={"segment": 5, "first": 4, "last": 4}, text="fluff")
        assert answer.status_code == 200, answer.text
    assert "“lint” means <strong>fluff</strong>" in client.get("/words").text
    client.post("/words", json={"how": "accept", "heard": "lint", "say": "fluff"})
    assert 'heard = "lint"' in store.place.words_file.read_text()
    page = client.get("/words").text
    assert "Take it back" in page
    client.post("/words", json={"how": "remove", "heard": "lint", "say": "fluff"})
    assert "Take it back" not in client.get("/words").text
    assert "Use it" not in client.get("/words").text


def test_a_person_says_that_a_near_serial_is_the_known_machines(client: TestClient, store: Store, desk: Desk) -> None:
    ready_job(store, desk, name="one.m4a")
    near = draft().model_copy(
        update={
            "equipment": draft().equipment.model_copy(
                update={"serial": Said(value="K47-2299", confirm=("low confidence",))}
            )
        }
    )
    job_id = ready_job(store, desk, near, name="two.m4a")
    page = client.get(f"/jobs/{job_id}").text
    assert "Yes, and its serial is K47-2209" in page
    known = re.search(r"is=([0-9a-f]+)&amp;serial=known", page)
    assert known
    assert client.post(f"/jobs/{job_id}/machine?is={known[1]}&serial=known").status_code == 200

    opened = desk.open(job_id, None)
    assert opened.draft.equipment.serial is not None
    assert (opened.draft.equipment.serial.value, opened.stored.row.machine_id) == ("K47-2209", known[1])
    assert opened.stored.edits[-1].was == {"value": "K47-2299"}


def test_a_removed_job_is_gone(client: TestClient, store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    assert client.post(f"/jobs/{job_id}/forget").json() == {"done": True}
    assert client.get(f"/jobs/{job_id}").status_code == 404
    assert list(store.files.keys()) == []


def test_hearing_again_puts_every_recording_into_the_queue(
    client: TestClient, store: Store, desk: Desk, engine: NoEngine
) -> None:
    job_id = ready_job(store, desk)
    assert client.post(f"/jobs/{job_id}/again?hearing=quick").status_code == 200
    assert len(engine.taken) == 1
    assert "is being heard again" in client.get(f"/jobs/{job_id}").text
    assert EditKind.CHANGE not in [edit.kind for edit in desk.open(job_id, None).stored.edits]
