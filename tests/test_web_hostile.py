"""Whatever a page or a stranger's script sends, the answer is a page or a sentence, and the log stays readable."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from app_store import ready_job, store_at
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient
from test_web import BASE, FROM_HERE, NoEngine

from pipeline.desk import Desk
from pipeline.edits import dump_edits, load_edits
from pipeline.store.store import LOCAL, Store
from pipeline.web.app import create_app
from pipeline.web.editing import MAKERS
from pipeline.web.people import User

PLAIN = st.none() | st.booleans() | st.integers(-5, 200) | st.floats(allow_nan=True) | st.text(max_size=20)
VALUES = st.recursive(
    PLAIN, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
)
NAMES = st.sampled_from(
    [
        *("value", "low", "high", "unit", "subject", "role", "stage", "place", "text", "component", "condition"),
        *("status", "choice", "reason", "as", "how", "fact", "description", "quantity", "id", "evidence", "confirm"),
    ]
)
HANDLES = st.sampled_from(
    [
        *("r1", "r2", "r5", "r9", "f1", "a1", "p1", "follow_up:0", "follow_up:7", "unplaced:0", "machine:0"),
        *("complaint", "equipment.serial", "equipment.refrigerant", "visit.customer", "visit", "equipment.", "job", ""),
    ]
)
GAPS = st.sampled_from(["equipment.refrigerant", "visit.customer", "cause", "which:compressor", "part:", "x", ""])
BODIES = st.fixed_dictionaries(
    {"do": st.sampled_from([*MAKERS, "explode"])},
    optional={
        "handle": HANDLES | VALUES,
        "now": st.dictionaries(NAMES, VALUES, max_size=4) | VALUES,
        "fact": st.dictionaries(NAMES, VALUES, max_size=6) | VALUES,
        "kind": st.sampled_from(["reading", "finding", "action", "part", "follow_up", "gap"]) | VALUES,
        "words": st.fixed_dictionaries({"segment": VALUES, "first": VALUES, "last": VALUES}) | VALUES,
        "gap": GAPS | VALUES,
        "text": VALUES,
        "keep": VALUES,
        "conflict": VALUES,
        "unplaced": VALUES,
        "review": VALUES,
    },
)


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> tuple[Store, Desk, str]:
    store = store_at(tmp_path_factory.mktemp("home"))
    desk = Desk(store)
    return store, desk, ready_job(store, desk)


@given(body=BODIES, number=st.integers(0, 10**9))
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=120)
def test_no_edit_that_anybody_can_send_is_a_fault_of_the_program(
    opened: tuple[Store, Desk, str], body: dict[str, object], number: int
) -> None:
    store, desk, job_id = opened
    client = TestClient(
        create_app(store, desk, NoEngine(), User(LOCAL, "Ann", "owner")), base_url=BASE, headers=FROM_HERE
    )
    now = desk.open(job_id, None).stored
    body = {"id": f"fuzz{number:010d}", "seen": now.seen, "draft": now.row.draft_key, **body}
    # TestClient raises what the program does not catch.
    answer = client.post(f"/jobs/{job_id}/edits", content=_json(body))
    assert answer.status_code in (200, 400, 409), answer.text
    if answer.status_code != 200:
        assert answer.json()["message"]
    edits = desk.open(job_id, None).stored.edits
    assert load_edits(dump_edits(edits)) == edits
    assert client.get(f"/jobs/{job_id}").status_code == 200


def _json(body: dict[str, object]) -> bytes:
    return json.dumps(body).encode("utf-8", "surrogatepass")


@pytest.mark.parametrize("size", [-1, 0, 2**70])
def test_sizes_that_cannot_be_are_refused(tmp_path: Path, size: int) -> None:
    store = store_at(tmp_path)
    client = TestClient(
        create_app(store, Desk(store), NoEngine(), User(LOCAL, "A", "owner")), base_url=BASE, headers=FROM_HERE
    )
    assert client.post("/uploads", json={"name": "a.m4a", "size": size}).status_code == 400
    store.close()
