"""Who may do what: every address has a rule, every rule holds for every role, and nobody reaches another's job."""

from __future__ import annotations

import re
from itertools import product

import pytest
from app_drafts import draft
from app_people import ANN, BOB, OLA, OWN, ROLES, browser, signed_in
from app_store import ready_job
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Mount, Route
from starlette.testclient import TestClient

from pipeline.desk import Desk
from pipeline.store import jobs, people, search
from pipeline.store.store import Store
from pipeline.web import rules
from pipeline.web.rules import RULES, Rule

pytestmark = pytest.mark.usefixtures("quick_hashes")


def addresses(app: Starlette) -> set[tuple[str, str]]:
    found = set()
    for route in app.routes:
        if isinstance(route, Mount):
            found.add(("GET", route.path))
        else:
            assert isinstance(route, Route)
            found |= {(method, route.path) for method in route.methods or () if method != "HEAD"}
    return found


def filled(path: str, **values: str) -> str:
    return re.sub(r"{(\w+)(?::int)?}", lambda m: values.get(m[1], "1"), path)


def asks(client: TestClient, method: str, path: str) -> int:
    return client.request(method, path, **({} if method == "GET" else {"json": {}})).status_code


def test_every_address_has_a_rule_and_every_rule_an_address(app: Starlette) -> None:
    assert addresses(app) == set(RULES)


def test_little_is_open_to_everybody() -> None:
    assert {key for key, rule in RULES.items() if rule.open} == {
        ("GET", "/health"),
        ("GET", "/ready"),
        ("GET", "/metrics"),
        ("GET", "/static"),
        ("GET", "/fonts"),
        ("GET", "/sign-in"),
        ("POST", "/sign-in"),
        ("GET", "/sign-in/service"),
        ("GET", "/sign-in/service/back"),
    }


def test_every_rule_holds_for_every_role(app: Starlette, store: Store, desk: Desk, ids: dict[str, str]) -> None:
    clients = {name: signed_in(app, name) for name in ROLES}
    nobody = browser(app)
    mine = {ids[name]: ready_job(store, desk, name=f"{n}.m4a", owner=ids[name]) for n, name in enumerate(ROLES)}
    for (method, path), rule in sorted(RULES.items()):
        if rule.open or path in ("/sign-out", "/me/password", "/me/factor"):
            continue
        assert asks(nobody, method, filled(path)) in (303, 401), (method, path)
        for name, role in ROLES.items():
            status = asks(clients[name], method, filled(path, job=mine[ids[name]]))
            assert (status == 403) == (role not in rule.roles), (method, path, role, status)


def test_an_address_without_a_rule_is_shut_for_everybody(app: Starlette) -> None:
    app.router.routes.append(Route("/forgotten", lambda request: PlainTextResponse("secret")))
    for name in (ANN, OLA, OWN):
        assert signed_in(app, name).get("/forgotten").status_code == 403


def test_whose_job_it_is_is_asked_at_the_door_also_when_an_address_forgets_to(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def careless(request: Request) -> PlainTextResponse:
        return PlainTextResponse("the words of the job")

    app.router.routes.append(Route("/jobs/{job}/careless", careless))
    monkeypatch.setitem(rules.RULES, ("GET", "/jobs/{job}/careless"), Rule(rules.ALL))
    address = f"/jobs/{ready_job(store, desk, owner=ids[ANN])}/careless"
    statuses = {name: signed_in(app, name).get(address).status_code for name in ROLES}
    assert statuses == {ANN: 200, BOB: 404, OLA: 200, OWN: 200}


def test_a_technician_reaches_nothing_of_anothers_job_and_is_told_the_same_as_of_none(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str]
) -> None:
    job = ready_job(store, desk, owner=ids[ANN])
    bob = signed_in(app, BOB)
    about_jobs = [(method, path) for method, path in RULES if "{job}" in path]
    assert len(about_jobs) >= 12
    for method, path in about_jobs:
        answers = [bob.request(method, filled(path, job=job_id)) for job_id in (job, "0" * 16)]
        assert answers[0].status_code in (403, 404), path
        assert answers[0].text == answers[1].text
    with store.database.reading() as session:
        machine = jobs.job(session, job, None).row.machine_id
    assert machine
    assert bob.get(f"/machines/{machine}").status_code == 404
    assert bob.post("/due/1?done=1", json={}).status_code == 400
    lists = [bob.get(path).text for path in ("/", "/states", "/machines", "/due", "/find?q=cooler")]
    ann = signed_in(app, ANN)
    assert job in ann.get("/").text
    assert job in ann.get("/find?q=cooler").text
    assert not any(job in text or machine in text for text in lists)


def test_an_upload_belongs_to_who_began_it(app: Starlette) -> None:
    ann, bob = signed_in(app, ANN), signed_in(app, BOB)
    begun = ann.post("/uploads", json={"name": "a.m4a", "size": 3}).json()["id"]
    assert bob.get(f"/uploads/{begun}", headers={"accept": "application/json"}).json()["code"] == "no-such-upload"
    assert bob.put(f"/uploads/{begun}?at=0", content=b"abc").json()["code"] == "no-such-upload"
    assert bob.post(f"/uploads/{begun}/done", json={}).json()["code"] == "no-such-upload"
    assert ann.put(f"/uploads/{begun}?at=0", content=b"abc").json()["received"] == 3


def test_office_and_owner_see_all_jobs(app: Starlette, store: Store, desk: Desk, ids: dict[str, str]) -> None:
    job = ready_job(store, desk, owner=ids[ANN])
    for name in (OLA, OWN):
        client = signed_in(app, name)
        assert job in client.get("/").text
        assert f'<span class="detail">{ANN}</span>' in client.get("/").text
        assert client.get(f"/jobs/{job}").status_code == 200
        assert client.get(f"/jobs/{job}/papers/report.md").status_code == 200


def test_links_lead_only_where_their_reader_may_go(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str]
) -> None:
    job = ready_job(store, desk, owner=ids[ANN])
    for name in ROLES:
        client = signed_in(app, name)
        for page in ("/", "/me", *([f"/jobs/{job}"] if name != BOB else [])):
            links = set(re.findall(r'href="(/[^"#?]*)', client.get(page).text))
            assert {link: client.get(link).status_code for link in links if link != "/jobs"} == dict.fromkeys(
                links, 200
            )
        assert ("data-forget" in client.get(f"/jobs/{job}").text) == (ROLES[name] == "owner")


def test_the_jobs_of_others_do_not_crowd_out_ones_own_in_the_search(store: Store, desk: Desk) -> None:
    mine = ready_job(store, desk, draft(), name="mine.m4a", owner="ann")
    for number in range(3):
        ready_job(store, desk, draft(), name=f"{number}.m4a", owner="bob")
    with store.database.reading() as session:
        assert [row.id for row in search.find(session, "cooler", owner="ann", most=2)] == [mine]
        assert len(search.find(session, "cooler", most=2)) == 2


@pytest.mark.parametrize(("role", "rule"), product(sorted(set(ROLES.values())), [rules.REFUSED]))
def test_what_is_refused_is_refused_to_every_role(role: str, rule: Rule) -> None:
    assert not rules.may(rules.User("1", "x", people.checked_role(role)), rule)
