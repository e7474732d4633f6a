"""The second factor and the tokens of scripts."""

from __future__ import annotations

import base64
import re

import pytest
from app_people import ANN, BOB, OWN, PASSWORD, browser, signed_in, token_of, tries
from app_web import FROM_HERE
from sqlalchemy import select
from starlette.applications import Starlette
from starlette.testclient import TestClient

from pipeline.store import people, second_factor
from pipeline.store.second_factor import STEP_S, code_at, step_of
from pipeline.store.store import Store
from pipeline.store.tables import JobRow
from pipeline.store.tables_people import PersonRow, UploadTokenRow
from pipeline.web.rules import RULES

pytestmark = pytest.mark.usefixtures("quick_hashes")


# RFC 6238, appendix B: the rows for SHA-1, whose secret is the ASCII text 12345678901234567890.
VECTORS = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]
RFC_SECRET = b"12345678901234567890"


@pytest.mark.parametrize(("moment", "code"), VECTORS)
def test_codes_are_those_of_the_standard(moment: int, code: str) -> None:
    assert code_at(RFC_SECRET, moment // STEP_S, digits=8) == code
    secret = base64.b32encode(RFC_SECRET).decode()
    assert step_of(secret, code[-6:], 0, moment) == moment // STEP_S


# RFC 4226, appendix D: six digits for the counters 0 to 9 and the same secret.
@pytest.mark.parametrize(
    ("count", "code"),
    enumerate(["755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489"]),
)
def test_six_digits_are_those_of_the_standard(count: int, code: str) -> None:
    assert code_at(RFC_SECRET, count) == code


def test_a_code_works_for_its_half_minute_and_its_neighbours_and_once() -> None:
    secret, moment = base64.b32encode(RFC_SECRET).decode(), 1234567890.0
    code = code_at(RFC_SECRET, int(moment) // STEP_S)
    for shift, right in ((-61, False), (-30, True), (0, True), (30, True), (61, False)):
        assert (step_of(secret, code, 0, moment + shift) is not None) == right
    used = step_of(secret, code, 0, moment)
    assert used is not None
    assert step_of(secret, code, used, moment) is None
    for odd in ("", "abcdef", "12345", "١٢٣٤٥٦"):
        assert step_of(secret, odd, 0, moment) is None


def now_code(secret: str, ahead: int = 0) -> str:
    return code_at(base64.b32decode(secret), int(people.present().timestamp() // STEP_S) + ahead)


def switched_on(client: TestClient) -> tuple[str, list[str]]:
    old = client.cookies["__Host-jobtape"]
    page = client.post("/me/factor", data={"do": "begin", "password": PASSWORD}).text
    # Whoever gives his password again gets a new session.
    assert client.cookies["__Host-jobtape"] != old
    client.headers["x-form-token"] = token_of(client, "/me")
    secret = re.search(r'name="secret" value="([A-Z2-7]{32})"', page)
    seal = re.search(r'name="seal" value="([0-9a-f]{64})"', page)
    assert secret and seal
    assert f"secret={secret[1]}" in page
    form = {"do": "on", "secret": secret[1], "seal": seal[1]}
    assert client.post("/me/factor", data={**form, "code": "000000"}).status_code == 400
    page = client.post("/me/factor", data={**form, "code": now_code(secret[1], -1)}).text
    codes = re.findall(r"<li><code>([0-9a-f]{8}-[0-9a-f]{8})</code>", page)
    assert len(codes) == second_factor.RECOVERY_CODES
    return secret[1], codes


def test_with_the_second_factor_on_the_password_alone_is_not_enough(app: Starlette, store: Store) -> None:
    client = signed_in(app, ANN)
    assert client.post("/me/factor", data={"do": "begin", "password": "wrong wrong"}).status_code == 403
    secret, codes = switched_on(client)
    wrong = tries(browser(app), ANN, PASSWORD)
    assert wrong.status_code == 401
    assert wrong.text.count("name, password or code") == 1
    assert tries(browser(app), ANN, "not the password", code=now_code(secret)).status_code == 401
    code = now_code(secret)
    assert tries(browser(app), ANN, PASSWORD, code=f"{code[:3]} {code[3:]}").status_code == 303
    # Whoever saw the code over her shoulder is too late.
    assert tries(browser(app, "192.0.2.66"), ANN, PASSWORD, code=code).status_code == 401
    for said in (codes[0], codes[1].replace("-", "").upper()):
        assert tries(browser(app), ANN, PASSWORD, code=said).status_code == 303
    assert tries(browser(app), ANN, PASSWORD, code=codes[0]).status_code == 401
    with store.database.reading() as session:
        ann, bob = people.person(session, ANN), people.person(session, BOB)
        assert not second_factor.passes(session, ann, "")
        assert second_factor.passes(session, bob, "")


def test_codes_are_guessed_no_faster_than_passwords(app: Starlette) -> None:
    switched_on(signed_in(app, ANN))
    statuses = [tries(browser(app), ANN, PASSWORD, code=f"{n:06}").status_code for n in range(7)]
    assert statuses[-1] == 429


def test_the_second_factor_goes_off_with_the_password_or_by_an_owner(app: Starlette, store: Store) -> None:
    ann, bob, owner = signed_in(app, ANN), signed_in(app, BOB), signed_in(app, OWN)
    switched_on(ann)
    switched_on(bob)
    assert ann.post("/me/factor", data={"do": "off", "password": "wrong wrong"}).status_code == 403
    assert ann.post("/me/factor", data={"do": "off", "password": PASSWORD}).status_code == 303
    assert tries(browser(app), ANN, PASSWORD).status_code == 303
    with store.database.reading() as session:
        bob_id = people.person(session, BOB).id
    page = owner.post(f"/people/{bob_id}", data={"do": "reset"}).text
    given = re.search(r'id="given">([a-z2-9-]{19})<', page)
    assert given
    assert tries(browser(app), BOB, given[1]).status_code == 303


def test_a_secret_that_was_not_made_here_is_not_taken(app: Starlette, store: Store) -> None:
    client, secret = signed_in(app, ANN), base64.b32encode(RFC_SECRET).decode()
    form = {"do": "on", "secret": secret, "seal": "0" * 64, "code": now_code(secret)}
    assert client.post("/me/factor", data=form).status_code == 400
    with store.database.reading() as session:
        assert session.scalars(select(PersonRow.totp).where(PersonRow.name == ANN)).one() == ""


# Tokens


def script(app: Starlette, token: str) -> TestClient:
    """A script: no cookie, no page, no headers of a browser."""
    return TestClient(
        app, base_url="https://localhost", headers={"authorization": f"Bearer {token}"}, follow_redirects=False
    )


def made_token(client: TestClient, name: str = "the van's recorder") -> str:
    found = re.search(r'id="token">(jobtape_[A-Za-z0-9_-]{43})<', client.post("/me/tokens", data={"name": name}).text)
    assert found
    return found[1]


def test_a_script_uploads_for_its_person_and_does_nothing_else(
    app: Starlette, store: Store, ids: dict[str, str]
) -> None:
    ann = signed_in(app, ANN)
    token = made_token(ann)
    assert token not in ann.get("/me").text
    with store.database.reading() as session:
        assert session.scalars(select(UploadTokenRow.token)).one() == people.digest(token)
    client = script(app, token)
    begun = client.post("/uploads", json={"name": "a.m4a", "size": 3}).json()["id"]
    assert client.put(f"/uploads/{begun}?at=0", content=b"abc").json()["received"] == 3
    done = client.post(f"/uploads/{begun}/done", json={}).json()
    with store.database.reading() as session:
        assert session.get_one(JobRow, done["job"]).owner == ids[ANN]
    for (method, path), rule in RULES.items():
        if not rule.open and not rule.script:
            address = re.sub(r"{(\w+)(?::int)?}", lambda m: done["job"] if m[1] == "job" else "1", path)
            assert client.request(method, address).status_code == 403, path
    # A cookie beside the token opens nothing more.
    client.cookies.update(ann.cookies)
    assert client.get("/").status_code == 403


def test_a_token_ends_when_it_is_taken_back_or_its_person_is_shut_out(
    app: Starlette, store: Store, ids: dict[str, str]
) -> None:
    ann, bob, owner = signed_in(app, ANN), signed_in(app, BOB), signed_in(app, OWN)
    tokens = [made_token(ann, "one"), made_token(ann, "two")]
    id_of = dict(re.findall(r"<li>(\w+) .*?value=\"([0-9a-f]{16})\"", ann.get("/me").text, re.S))
    assert "not here any more" in bob.post("/me/tokens", data={"end": id_of["one"]}).text
    ann.post("/me/tokens", data={"end": id_of["one"]})
    body = {"name": "a.m4a", "size": 3}
    assert [script(app, token).post("/uploads", json=body).status_code for token in tokens] == [401, 201]
    owner.post(f"/people/{ids[ANN]}", data={"do": "disable"})
    assert script(app, tokens[1]).post("/uploads", json=body).json()["code"] == "wrong-token"
    assert script(app, "").post("/uploads", json=body).status_code == 401


def test_a_foreign_page_cannot_use_a_token_either(app: Starlette) -> None:
    client = script(app, made_token(signed_in(app, ANN)))
    foreign = {**FROM_HERE, "sec-fetch-site": "cross-site"}
    assert client.post("/uploads", json={"name": "a.m4a", "size": 3}, headers=foreign).json()["code"] == "refused"
