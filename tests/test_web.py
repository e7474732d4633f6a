"""The pages in process: what they refuse, what they answer, and that nothing typed or said can run in them."""

from __future__ import annotations

import re
from typing import Any

import pytest
from app_drafts import draft
from app_store import ready_job, taken
from app_web import BASE, FROM_HERE, NoEngine
from starlette.testclient import TestClient

from extractors.facts import Said
from pipeline.desk import Desk
from pipeline.store import jobs
from pipeline.store.store import LOCAL, Store
from pipeline.web.answers import disposition
from pipeline.web.app import ROUTES, create_app
from pipeline.web.people import User


def upload(client: TestClient, name: str, data: bytes, **asked: object) -> dict[str, Any]:
    begun = client.post("/uploads", json={"name": name, "size": len(data)}).json()
    assert client.put(f"/uploads/{begun['id']}?at=0", content=data).json()["received"] == len(data)
    return dict(client.post(f"/uploads/{begun['id']}/done", json={"batch": "b1", **asked}).json())


def edit(client: TestClient, job_id: str, **body: object) -> Any:
    now = client.get(f"/jobs/{job_id}/work").json()
    body = {"id": body.pop("id", "0123456789abcdef"), "seen": now["seen"], "draft": now["draft"], **body}
    return client.post(f"/jobs/{job_id}/edits", json=body)


# Uploads


def test_an_upload_is_answered_when_it_is_safe_and_its_job_waits(
    client: TestClient, store: Store, engine: NoEngine
) -> None:
    done = upload(client, "front cooler.m4a", b"sound" * 100)

    assert done["known"] is False
    assert len(engine.taken) == 1
    with store.database.reading() as session:
        recording = jobs.job(session, done["job"], LOCAL).recordings[0]
        assert store.files.get(recording.sha256) == b"sound" * 100
    page = client.get("/").text
    assert "front cooler" in page
    assert "Waiting" in page
    assert upload(client, "again.m4a", b"sound" * 100) == {"job": done["job"], "known": True, "name": "again.m4a"}


def test_an_upload_goes_on_from_what_arrived(client: TestClient) -> None:
    begun = client.post("/uploads", json={"name": "a.m4a", "size": 10}).json()
    client.put(f"/uploads/{begun['id']}?at=0", content=b"01234")
    assert client.get(f"/uploads/{begun['id']}").json()["received"] == 5
    assert client.post(f"/uploads/{begun['id']}/done", json={}).status_code == 400
    assert client.put(f"/uploads/{begun['id']}?at=7", content=b"789").status_code == 400
    assert client.put(f"/uploads/{begun['id']}?at=5", content=b"5678901").json()["code"] == "too-large"
    client.put(f"/uploads/{begun['id']}?at=5", content=b"56789")
    assert client.post(f"/uploads/{begun['id']}/done", json={}).json()["known"] is False


@pytest.mark.parametrize(
    "asked", [{"name": "a.m4a"}, {"name": "a.m4a", "size": "10"}, {"name": "a.m4a", "size": True}, {"size": 10}, {}]
)
def test_an_upload_without_name_or_size_is_a_sentence(client: TestClient, asked: dict[str, object]) -> None:
    answer = client.post("/uploads", json=asked)
    assert answer.status_code == 400
    assert answer.json()["message"].endswith(".")


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b"\xff\xfe", b"null", b"3"])
def test_what_is_no_json_is_refused_in_a_sentence(client: TestClient, store: Store, desk: Desk, body: bytes) -> None:
    job_id = ready_job(store, desk)
    for address in ("/uploads", f"/jobs/{job_id}/edits", "/words"):
        answer = client.post(address, content=body)
        assert answer.status_code == 400
        assert set(answer.json()) == {"code", "message", "hint"}


# Who may ask


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "", "origin": "http://elsewhere.example"},
        {"host": "elsewhere.example"},
        {"host": "localhost.elsewhere.example"},
    ],
    ids=str,
)
def test_another_sites_page_changes_nothing(store: Store, desk: Desk, headers: dict[str, str]) -> None:
    app = create_app(store, desk, NoEngine(), User(LOCAL, "Ann", "owner"))
    bare = TestClient(app, base_url=BASE)
    sent = {name: value for name, value in headers.items() if value}
    for route in ROUTES:
        for method in sorted((route.methods or set()) - {"GET", "HEAD"}):
            address = re.sub(r"\{\w+:int\}", "1", route.path).replace("{", "").replace("}", "")
            assert bare.request(method, address, headers=sent, content=b"{}").status_code == 403


def test_a_page_without_the_browsers_own_header_is_judged_by_its_origin(store: Store, desk: Desk) -> None:
    app = create_app(store, desk, NoEngine(), User(LOCAL, "Ann", "owner"))
    bare = TestClient(app, base_url=BASE)
    asked = {"name": "a.m4a", "size": 3}
    assert bare.post("/uploads", json=asked, headers={"origin": BASE}).status_code == 201
    assert bare.post("/uploads", json=asked).status_code == 201, "a script on this machine sends no origin"


def test_every_answer_carries_the_headers_that_keep_it_harmless(client: TestClient, store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    for address in (
        "/",
        f"/jobs/{job_id}",
        "/find?q=x",
        "/nothing",
        f"/jobs/{job_id}/papers/report.md",
        "/static/app.css",
    ):
        answer = client.get(address)
        policy = answer.headers["content-security-policy"]
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-frame-options"] == "DENY"
    assert client.get("/").headers["cache-control"] == "no-store"


def test_a_technician_sees_his_own_jobs_only(store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk, owner="ann")
    bob = TestClient(
        create_app(store, desk, NoEngine(), User("bob", "Bob", "technician")), base_url=BASE, headers=FROM_HERE
    )
    with store.database.reading() as session:
        machine_id = jobs.job(session, job_id, None).row.machine_id

    assert "feed store" not in bob.get("/").text
    assert "feed store" not in bob.get("/find?q=cooler").text
    assert "feed store" not in bob.get("/machines").text
    assert "gasket" not in bob.get("/due").text
    for address in ("", "/work", "/state", "/sound/0", "/strip/0", "/look", "/papers/report.md", "/sent/x"):
        assert bob.get(f"/jobs/{job_id}{address}").status_code == 404
    assert bob.get(f"/machines/{machine_id}").status_code == 404
    for address in ("/edits", "/again", "/send", "/machine?is=x"):
        body = {"do": "undo", "id": "0123456789abcdef", "seen": 0, "draft": ""}
        assert bob.post(f"/jobs/{job_id}{address}", json=body).status_code == 404
    assert bob.post(f"/jobs/{job_id}/forget").status_code == 403
    assert bob.post("/due/1?done=1").status_code == 400


# Pages


HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>{{ 7*7 }}'


def test_what_was_said_or_typed_never_runs_in_a_page(client: TestClient, store: Store, desk: Desk) -> None:
    machine = draft()
    said = Said(value=HOSTILE)
    machine = machine.model_copy(
        update={
            "summary": HOSTILE,
            "visit": machine.visit.model_copy(update={"customer": said, "site": said}),
            "equipment": machine.equipment.model_copy(update={"type": said, "model": said, "location": said}),
            "complaint": machine.complaint.model_copy(update={"text": HOSTILE}) if machine.complaint else None,
            "findings": tuple(f.model_copy(update={"text": HOSTILE, "component": HOSTILE}) for f in machine.findings),
            "readings": tuple(r.model_copy(update={"place": HOSTILE}) for r in machine.readings),
            "follow_ups": tuple(f.model_copy(update={"text": HOSTILE}) for f in machine.follow_ups),
            "gaps": (machine.gaps[0].model_copy(update={"question": HOSTILE, "field": f"part:{HOSTILE}"}),),
        }
    )
    job_id = ready_job(store, desk, machine, name='x"><b onclick=1>.m4a')
    with store.database.reading() as session:
        machine_id = jobs.job(session, job_id, None).row.machine_id
    pages = ["/", f"/jobs/{job_id}", f"/machines/{machine_id}", "/machines", "/due", "/find?q=" + HOSTILE]
    for address in pages:
        text = client.get(address).text
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "<b onclick" not in text
        assert "49" not in re.findall(r"&gt;(\d+)", text)
    told = client.get(f"/jobs/{job_id}/work").json()["pieces"]
    assert not any("<script>alert" in piece["html"] for piece in told.values())


def test_the_report_to_read_can_run_nothing(client: TestClient, store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    answer = client.get(f"/jobs/{job_id}/look")
    assert answer.status_code == 200
    assert "script-src 'none'" in answer.headers["content-security-policy"]
    assert "sandbox" in answer.headers["content-security-policy"]


def test_pages_name_no_other_host_and_hold_no_script_of_their_own(client: TestClient, store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    for address in ("/", f"/jobs/{job_id}", "/find", "/machines", "/due", "/words"):
        text = client.get(address).text
        assert re.findall(r"""(?:src|href|action)=["'](?:https?:)?//""", text) == []
        assert re.findall(r"<script(?![^>]*\bsrc=)", text) == []
        assert re.findall(r"\son\w+=|\sstyle=", text) == []


def test_a_job_that_is_not_heard_yet_shows_how_far_it_is(client: TestClient, store: Store) -> None:
    took = taken(store, "front.m4a", b"x")
    with store.database.writing() as session:
        row = jobs.job(session, took.job_id, None)
        row.row.job_state = "hearing"
        recording = row.recordings[0]
        recording.state, recording.done_s, recording.all_s = "hearing", 30.0, 120.0
        recording.heard_since = "2020-01-01T00:00:00Z"
    assert ">25</span> %" in client.get(f"/jobs/{took.job_id}").text
    told = client.get("/states").json()["jobs"][0]
    assert (told["state"], told["percent"]) == ("hearing", 25)
    with store.database.writing() as session:
        row = jobs.job(session, took.job_id, None)
        row.row.job_state = row.recordings[0].state = "failed"
        row.row.reason = row.recordings[0].reason = "Nobody speaks in it."
    assert "Nobody speaks in it." in client.get(f"/jobs/{took.job_id}").text
    assert "Try again" in client.get("/").text


def test_two_hundred_jobs_are_two_pages(client: TestClient, store: Store) -> None:
    for n in range(120):
        taken(store, f"job {n:03d}.m4a", b"%d" % n, batch=f"b{n}")
    with store.database.writing() as session:
        for n, row in enumerate(jobs.listed(session, None)):
            row.created_at = f"2026-03-14T09:{n // 60:02d}:{n % 60:02d}Z"
    first = client.get("/").text
    assert first.count("data-job=") == 100
    older = re.search(r'href="(/\?before=[^"]+)"', first)
    assert older
    assert client.get(older[1].replace("&amp;", "&")).text.count("data-job=") == 20


@pytest.mark.parametrize("address", ["/jobs/zzz", "/jobs/zzz/work", "/machines/zzz", "/nothing", "/jobs/..%2f..%2fetc"])
def test_what_is_not_there_is_a_page_with_a_sentence(client: TestClient, address: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 404
    assert "To the list of jobs" in answer.text
    assert "Traceback" not in answer.text


def test_sound_is_given_in_stretches(client: TestClient, store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    whole = client.get(f"/jobs/{job_id}/sound/0")
    assert (whole.content, whole.headers["content-type"]) == (b"dock-cooler.m4a", "audio/mp4")
    part = client.get(f"/jobs/{job_id}/sound/0", headers={"range": "bytes=5-10"})
    assert (part.status_code, part.content) == (206, b"cooler")
    assert client.get(f"/jobs/{job_id}/sound/7").status_code == 404


def test_a_recording_that_was_deleted_by_hand_leaves_the_review_usable(
    client: TestClient, store: Store, desk: Desk
) -> None:
    job_id = ready_job(store, desk)
    with store.database.reading() as session:
        store.files.remove(jobs.job(session, job_id, None).recordings[0].sha256)
    assert client.get(f"/jobs/{job_id}").status_code == 200
    answer = client.get(f"/jobs/{job_id}/sound/0", headers={"accept": "application/json"})
    assert answer.json()["code"] == "file-missing"


# Edits


def test_an_edit_comes_back_as_the_page_that_follows_from_it(client: TestClient, store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    told = edit(client, job_id, do="change", handle="r3", now={"value": "8,6"}).json()
    drawn = "".join(piece["html"] for piece in told["pieces"].values())
    assert "8.6" in drawn
    assert "Ann changed this" in drawn
    assert desk.open(job_id, None).draft.reading("r3").value == 8.6


def test_follow_ups_and_further_machines_are_edited_like_the_rest(client: TestClient, store: Store, desk: Desk) -> None:
    machine = draft().equipment.model_copy(update={"serial": Said(value="B-1"), "type": Said(value="freezer")})
    job_id = ready_job(store, desk, draft().model_copy(update={"other_equipment": (machine,)}))
    for n, body in enumerate(
        (
            {
                "do": "change",
                "handle": "follow_up:0",
                "now": {"text": "Fit the gasket", "when": "", "date": "2026-03-20"},
            },
            {"do": "change", "handle": "machine:0", "now": {"type": "freezer", "make": "", "serial": "B-7"}},
            {"do": "add", "kind": "follow_up", "fact": {"text": "Bring a filter", "when": "next month", "date": ""}},
        )
    ):
        answer = edit(client, job_id, id=f"several{n:03d}", **body)
        assert answer.status_code == 200, answer.text
    now = desk.open(job_id, None).draft
    assert [(f.text, f.when, f.date) for f in now.follow_ups] == [
        ("Fit the gasket", None, "2026-03-20"),
        ("Bring a filter", "next month", None),
    ]
    other = now.other_equipment[0]
    assert other.serial is not None
    assert (other.serial.value, other.serial.given, other.type) == ("B-7", True, machine.type)
    assert "Fit the gasket" in client.get("/due").text


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ({"do": "change", "handle": "r3", "now": {"value": "warm"}}, "not-a-figure"),
        ({"do": "change", "handle": "r3", "now": {"value": ""}}, "no-figure"),
        ({"do": "change", "handle": "r3", "now": {"value": "nan"}}, "not-a-figure"),
        ({"do": "change", "handle": "r3", "now": {"value": "1e300"}}, "not-a-figure"),
        ({"do": "change", "handle": "r3", "now": {"value": True}}, "not-a-figure"),
        ({"do": "change", "handle": "r99", "now": {"value": "1"}}, "no-such-fact"),
        ({"do": "change", "handle": "r3", "now": {"subject": ""}}, "empty"),
        ({"do": "change", "handle": "r3", "now": {"subject": "x" * 3000}}, "too-long"),
        ({"do": "choose", "handle": "r2", "now": {"choice": 4}}, "no-such-choice"),
        ({"do": "explode", "handle": "r3"}, "unknown-edit"),
        ({"do": "change", "handle": "r3", "now": {"value": "1"}, "id": "../x"}, "unknown-edit"),
        ({"do": "add", "kind": "machine", "fact": {}}, "unknown-edit"),
        ({"do": "add", "kind": "finding", "fact": {"text": "x", "component": "y", "condition": "odd"}}, "not-a-value"),
        (
            {"do": "add", "kind": "reading", "fact": {}, "words": {"segment": 99, "first": 0, "last": 0}},
            "no-such-words",
        ),
        ({"do": "words", "words": {"segment": 0}, "text": "x"}, "no-such-words"),
        ({"do": "answer", "gap": "visit.customer", "now": {"value": ""}}, "empty"),
        ({"do": "answer", "gap": "nothing", "now": {"value": "x"}}, "no-such-gap"),
        ({"do": "settle", "conflict": 0, "keep": "mine"}, "no-such-conflict"),
        ({"do": "undo"}, "nothing-to-do"),
    ],
    ids=lambda value: str(value)[:60],
)
def test_an_edit_that_cannot_be_is_refused_and_nothing_is_kept(
    client: TestClient, store: Store, desk: Desk, body: dict[str, object], code: str
) -> None:
    job_id = ready_job(store, desk)
    answer = edit(client, job_id, **body)
    assert (answer.status_code, answer.json()["code"]) == (400, code)
    assert desk.open(job_id, None).stored.edits == ()


def test_a_report_is_not_reviewed_before_what_may_hurt_was_heard(client: TestClient, store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    refused = edit(client, job_id, do="review", review="reviewed")
    assert refused.json()["code"] == "not-heard"
    for n, handle in enumerate(("r4", "r5")):
        assert (
            edit(client, job_id, id=f"heard00{n}", do="heard", handle=handle, now={"how": "sound"}).status_code == 200
        )
    assert edit(client, job_id, do="review", review="reviewed").status_code == 200
    with store.database.reading() as session:
        assert jobs.job(session, job_id, None).row.review == "reviewed"


def test_sent_papers_stay_as_they_were(client: TestClient, store: Store, desk: Desk) -> None:
    job_id = ready_job(store, desk)
    now = client.get(f"/jobs/{job_id}/work").json()
    asked = {"seen": now["seen"], "draft": now["draft"]}
    assert client.post(f"/jobs/{job_id}/send", json=asked).json()["code"] == "not-reviewed"
    for n, handle in enumerate(("r4", "r5")):
        edit(client, job_id, id=f"heard00{n}", do="heard", handle=handle, now={"how": "sound"})
    edit(client, job_id, do="review", review="reviewed")
    now = client.get(f"/jobs/{job_id}/work").json()
    sent = client.post(f"/jobs/{job_id}/send", json={"seen": now["seen"], "draft": now["draft"]})
    assert sent.status_code == 200
    with store.database.reading() as session:
        paper = next(p for p in jobs.job(session, job_id, None).papers if p.name == "report.md")
    before = client.get(f"/jobs/{job_id}/sent/{paper.id}").content

    edit(client, job_id, id="afterwards0", do="change", handle="r3", now={"value": "8.6"})
    assert client.get(f"/jobs/{job_id}/sent/{paper.id}").content == before
    assert client.get(f"/jobs/{job_id}/papers/report.md").content != before
    with store.database.reading() as session:
        assert jobs.job(session, job_id, None).row.review == "draft"


@pytest.mark.parametrize("name", ['a"b.pdf', "a\r\nb.pdf", "../b.pdf", "größe.pdf", "a;b.pdf", "日本.pdf"])
def test_a_saved_files_name_cannot_break_out_of_its_header(name: str) -> None:
    header = disposition(name)
    assert "\r" not in header
    assert "\n" not in header
    assert header.isascii()
    plain = re.search(r'filename="([^"]*)"', header)
    assert plain
    assert "/" not in plain[1]
    assert header.startswith("attachment")
