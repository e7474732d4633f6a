"""Pictures of a job: drawn anew, kept under their digest, in the report, taken out and back, gone with the job."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest
from app_store import ready_job, store_at
from starlette.testclient import TestClient
from test_pictures import jpeg
from test_web import edit

from pipeline.desk import Desk
from pipeline.store.forgetting import forget
from pipeline.store.store import LOCAL, Store
from pipeline.store.verify import verify
from pipeline.transfer import bring_in, export


def add(client: TestClient, job_id: str, data: bytes) -> Any:
    return client.post(f"/jobs/{job_id}/pictures", content=data)


def test_a_picture_is_drawn_anew_and_shown_and_stands_in_the_report(
    client: TestClient, store: Store, desk: Desk
) -> None:
    job_id = ready_job(store, desk)
    told = add(client, job_id, jpeg(400, 200)).json()

    (photo,) = desk.open(job_id, None).draft.photos
    address = f"/jobs/{job_id}/pictures/{photo.sha256}"
    assert address in told["pieces"]["pictures"]["html"]
    served = client.get(address)
    assert served.headers["content-type"] == "image/jpeg"
    assert served.headers["x-content-type-options"] == "nosniff"
    assert hashlib.sha256(served.content).hexdigest() == photo.sha256
    assert b"secret place" not in served.content

    edit(client, job_id, do="change", handle="photo:0", now={"caption": "the nameplate"})
    report = client.get(f"/jobs/{job_id}/look").text
    assert "data:image/jpeg;base64," in report
    assert "he nameplate" in report


def test_the_same_picture_twice_is_one_and_one_taken_out_comes_back(
    client: TestClient, store: Store, desk: Desk
) -> None:
    job_id = ready_job(store, desk)
    for _ in range(2):
        assert add(client, job_id, jpeg(400, 200)).status_code == 200
    assert len(desk.open(job_id, None).draft.photos) == 1

    edit(client, job_id, id="takeitout0001", do="delete", handle="photo:0")
    assert desk.open(job_id, None).draft.photos == ()
    edit(client, job_id, id="undothat00001", do="undo")
    assert len(desk.open(job_id, None).draft.photos) == 1
    assert verify(store).faults == ()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"GIF89a",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"\xff\xd8\xff\xe0" * 99,
    ],
    ids=["empty", "cut off", "drawing that runs", "noise"],
)
def test_what_is_no_picture_is_refused_in_a_sentence(client: TestClient, store: Store, desk: Desk, data: bytes) -> None:
    job_id = ready_job(store, desk)
    answer = add(client, job_id, data)

    assert answer.status_code == 400
    assert answer.json()["message"].endswith(".")
    assert desk.open(job_id, None).draft.photos == ()


def test_a_picture_of_another_job_is_not_to_be_had(client: TestClient, store: Store, desk: Desk) -> None:
    mine, other = ready_job(store, desk), ready_job(store, desk, name="roof.m4a")
    add(client, mine, jpeg(400, 200))
    (photo,) = desk.open(mine, None).draft.photos

    assert client.get(f"/jobs/{other}/pictures/{photo.sha256}").status_code == 404


def test_pictures_go_out_and_come_in_again_and_are_removed_with_their_job(
    client: TestClient, store: Store, desk: Desk, tmp_path: Path
) -> None:
    job_id = ready_job(store, desk)
    add(client, job_id, jpeg(400, 200))
    (photo,) = desk.open(job_id, None).draft.photos
    export(store, desk, tmp_path / "out")
    there = store_at(tmp_path / "there")

    assert bring_in(there, Desk(there), tmp_path / "out", LOCAL).faults == ()
    assert Desk(there).open(job_id, None).draft.photos == (photo,)
    assert verify(there).faults == ()
    forget(there, [job_id], "Ann")
    assert not there.files.has(photo.sha256)
    there.close()
