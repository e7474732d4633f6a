"""Signing in on a network: who gets in, how long, how guesses are braked, and what a foreign page can do: nothing."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from app_people import ANN, BOB, OLA, OWN, PASSWORD, browser, network_app, quicken, shop, signed_in, token_of, tries
from argon2 import PasswordHasher
from sqlalchemy import func, select, update
from starlette.applications import Starlette

from pipeline.desk import Desk
from pipeline.errors import InputError
from pipeline.store import people, sessions
from pipeline.store.store import Store
from pipeline.store.tables_people import SessionRow, TryRow
from pipeline.web.door import own_path

REAL = people.hasher
OTHER = "a kettle sings at the north gate"


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    quicken(monkeypatch)


@pytest.fixture
def app(store: Store, desk: Desk) -> Starlette:
    shop(store)
    return network_app(store, desk)


def rows(store: Store, table: type) -> int:
    with store.database.reading() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


# Getting in


def test_who_is_not_signed_in_is_led_to_the_sign_in_and_then_to_where_he_wanted(app: Starlette) -> None:
    client = browser(app)
    for path in ("/", "/jobs/0123456789abcdef", "/machines", "/people", "/nothing-here"):
        answer = client.get(path)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/sign-in")
    assert client.get("/states", headers={"accept": "application/json"}).status_code == 401
    assert client.post("/uploads", json={"name": "a.m4a", "size": 3}).json()["code"] == "signed-out"
    assert client.get("/health").json() == {"alive": True}

    going = client.get("/find?q=cooler").headers["location"]
    assert going == "/sign-in?next=/find%3Fq%3Dcooler"
    form = {"form_token": token_of(client, going), "name": "  ann  field ", "password": PASSWORD}
    answer = client.post(going, data={**form, "next": "/find?q=cooler"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/find?q=cooler")
    assert ANN in client.get("/find?q=cooler").text


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites_and_is_stored_as_a_hash(
    app: Starlette, store: Store
) -> None:
    client = browser(app)
    answer = tries(client, ANN, PASSWORD)
    cookie = answer.headers["set-cookie"]
    assert re.match(r"__Host-jobtape=[A-Za-z0-9_-]{43};", cookie)  # 256 bits in base64
    assert {"httponly", "secure", "samesite=lax", "path=/"} <= {part.strip().lower() for part in cookie.split(";")}
    assert "domain" not in cookie.lower()
    secret = client.cookies["__Host-jobtape"]
    with store.database.reading() as session:
        kept = session.scalars(select(SessionRow.token)).one()
    assert kept == people.digest(secret) != secret
    headers = client.get("/").headers
    assert headers["strict-transport-security"].startswith("max-age=31536000")
    assert headers["cache-control"] == "no-store"
    assert "script-src 'self'" in headers["content-security-policy"]


def test_a_new_sign_in_gives_a_new_cookie_and_ends_the_old_one(app: Starlette, store: Store) -> None:
    client = browser(app)
    tries(client, ANN, PASSWORD)
    old = client.cookies["__Host-jobtape"]
    tries(client, ANN, PASSWORD)
    assert client.cookies["__Host-jobtape"] != old
    stolen = browser(app)
    stolen.cookies["__Host-jobtape"] = old
    assert stolen.get("/").status_code == 303
    assert rows(store, SessionRow) == 1


def test_an_unknown_name_and_a_wrong_password_give_the_same_answer_after_the_same_work(
    app: Starlette, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, hash: str, password: str) -> bool:  # type: ignore[override]
            checked.append(hash)
            return super().verify(hash, password)

    counting = Counting(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(people, "hasher", lambda: counting)
    texts = []
    for name in (ANN, "Nobody Here"):
        answer = tries(browser(app), name, "not the password")
        assert answer.status_code == 401
        texts.append(re.sub(r'value="[^"]*"', "", answer.text))
    assert texts[0] == texts[1]
    assert len(checked) == 2


def test_where_one_goes_after_signing_in_is_always_here() -> None:
    for said in ("//evil.example/", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "", "/a\nb"):
        assert own_path(said) == "/"
    assert own_path("/jobs/1?x=2") == "/jobs/1?x=2"


# The brake


def test_guesses_are_braked_for_one_person_from_one_place_and_a_right_password_has_to_wait_too(
    app: Starlette,
) -> None:
    client = browser(app)
    for _ in range(sessions.FREE):
        assert tries(client, ANN, "guess guess guess").status_code == 401
    answer = tries(client, ANN, PASSWORD)
    assert answer.status_code == 429
    assert "Wait" in answer.text
    # Her own phone, elsewhere, is not kept out by that, nor is somebody else here.
    assert tries(browser(app, "192.0.2.99"), ANN, PASSWORD).status_code == 303
    assert tries(browser(app), BOB, PASSWORD).status_code == 303


def test_the_brake_is_kept_in_the_store_so_that_a_second_server_knows_it(
    app: Starlette, store: Store, desk: Desk
) -> None:
    for _ in range(sessions.FREE):
        tries(browser(app), ANN, "guess guess guess")
    assert tries(browser(network_app(store, desk)), ANN, PASSWORD).status_code == 429


def test_guesses_at_many_names_from_one_place_are_braked_and_an_own_account_does_not_help(app: Starlette) -> None:
    client = browser(app)
    codes = []
    for turn in range(4 * sessions.FREE + 2):
        codes.append(tries(client, f"person {turn}", "guess guess guess").status_code)
        if turn % 5 == 0 and codes[-1] == 401:
            tries(client, BOB, PASSWORD)
    assert codes[:20] == [401] * 20
    assert codes[-1] == 429


def test_guesses_at_one_name_from_everywhere_are_braked_but_not_where_she_is_signed_in(
    app: Starlette, store: Store
) -> None:
    signed_in(app, ANN, "192.0.2.77")
    for turn in range(sessions.FREE_ACCOUNT):
        tries(browser(app, f"198.51.100.{turn}"), ANN, "guess guess guess")
    assert tries(browser(app, "198.51.100.200"), ANN, PASSWORD).status_code == 429
    assert tries(browser(app, "192.0.2.77"), ANN, PASSWORD).status_code == 303


def test_a_wait_ends_and_grows(app: Starlette, store: Store) -> None:
    client = browser(app)
    for _ in range(sessions.FREE):
        tries(client, ANN, "guess guess guess")
    waits = []
    for _ in range(4):
        with store.database.reading() as session:
            row = session.scalars(select(TryRow).where(TryRow.key.startswith("both:"))).one()
            waits.append(sessions._seconds_to(row.until))
        with store.database.writing() as session:
            session.execute(update(TryRow).values(until=people.moment(timedelta(seconds=-1))))
        assert tries(client, ANN, "guess guess guess").status_code == 401
    assert waits == sorted(waits)
    assert waits[-1] >= 7
    with store.database.writing() as session:
        session.execute(update(TryRow).values(until=people.moment(timedelta(seconds=-1))))
    assert tries(client, ANN, PASSWORD).status_code == 303


# Staying in, and out again


@pytest.mark.parametrize(("column", "after"), [("seen", sessions.IDLE), ("since", sessions.ABSOLUTE)])
def test_a_session_ends_when_it_is_idle_and_in_any_case_after_a_week(
    app: Starlette, store: Store, column: str, after: timedelta
) -> None:
    client = signed_in(app, ANN)
    for age, status in ((after - timedelta(minutes=2), 200), (after + timedelta(minutes=2), 303)):
        with store.database.writing() as session:
            session.execute(update(SessionRow).values({column: people.moment(-age)}))
        assert client.get("/").status_code == status


def test_signing_out_ends_this_browser_and_everywhere_ends_all(app: Starlette, store: Store) -> None:
    phone, laptop = signed_in(app, ANN), signed_in(app, ANN)
    secret = laptop.cookies["__Host-jobtape"]
    answer = laptop.post("/sign-out", data={})
    assert answer.headers["location"] == "/sign-in"
    assert answer.headers["clear-site-data"] == '"cache"'
    laptop.cookies["__Host-jobtape"] = secret
    assert laptop.get("/").status_code == 303
    assert phone.get("/").status_code == 200
    laptop = signed_in(app, ANN)
    phone.post("/sign-out", data={"everywhere": "1"})
    assert laptop.get("/").status_code == 303
    assert rows(store, SessionRow) == 0


def test_who_is_shut_out_is_out_at_the_next_request(app: Starlette, store: Store) -> None:
    owner, ann = signed_in(app, OWN), signed_in(app, ANN)
    with store.database.reading() as session:
        ann_id = people.person(session, ANN).id
    assert owner.post(f"/people/{ann_id}", data={"do": "disable"}).status_code == 303
    assert ann.get("/").status_code == 303
    assert tries(browser(app), ANN, PASSWORD).status_code == 401
    owner.post(f"/people/{ann_id}", data={"do": "enable"})
    assert tries(browser(app), ANN, PASSWORD).status_code == 303


# Writes


def test_a_write_needs_the_token_of_the_page_and_must_not_come_from_another_site(app: Starlette) -> None:
    client = signed_in(app, ANN)
    body = {"name": "a.m4a", "size": 3}
    assert client.post("/uploads", json=body).status_code == 201
    token = client.headers.pop("x-form-token")
    assert client.post("/uploads", json=body).json()["code"] == "form-token"
    assert client.post("/sign-out", data={}).status_code == 403
    assert client.post("/sign-out", data={"form_token": "0" * 64}).status_code == 403
    other = token_of(signed_in(app, ANN), "/me")
    assert client.post("/sign-out", data={"form_token": other}).status_code == 403
    client.headers["x-form-token"] = token
    for headers in (
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "", "origin": "https://evil.example"},
    ):
        assert client.post("/uploads", json=body, headers=headers).json()["code"] == "refused"
    assert client.post("/uploads", json=body, headers={"origin": "https://localhost"}).status_code == 201


def test_nobody_can_be_signed_in_by_a_foreign_page(app: Starlette) -> None:
    client = browser(app)
    client.get("/sign-in")
    assert client.post("/sign-in", data={"name": ANN, "password": PASSWORD}).status_code == 403


def test_a_page_that_stood_open_gets_a_new_token(app: Starlette) -> None:
    client = signed_in(app, ANN)
    old = client.headers["x-form-token"]
    tries(client, ANN, PASSWORD)
    assert client.post("/uploads", json={"name": "a.m4a", "size": 3}).json()["code"] == "form-token"
    fresh = client.get("/form-token", headers={"accept": "application/json"}).json()["token"]
    assert fresh != old
    client.headers["x-form-token"] = fresh
    assert client.post("/uploads", json={"name": "a.m4a", "size": 3}).status_code == 201


def test_forms_that_are_too_long_or_broken_are_refused_with_a_sentence(app: Starlette) -> None:
    client = browser(app)
    for body in (b"x=" + b"a" * 300_000, b"\xff\xfe&=&==&name=%ff"):
        answer = client.post("/sign-in", content=body, headers={"content-type": "application/x-www-form-urlencoded"})
        assert answer.status_code in (403, 413)


# Passwords and people


@pytest.mark.parametrize(
    "weak",
    ["short", "password1234", "qwertyuiop123", "aaaaaaaaaaaaaaaa", "123456789012", "Ann Field 2026", "x" * 257],
)
def test_weak_passwords_are_refused(weak: str) -> None:
    with pytest.raises(InputError, match="password"):
        people.checked_password(weak, ANN)


@pytest.mark.parametrize("good", [PASSWORD, "ö" * 3 + " kalte Füße im Maschinenraum", "b" + "orthodox lamp " * 6])
def test_any_signs_and_long_passwords_are_taken(good: str) -> None:
    assert people.checked_password(good, ANN) == good
    assert people.checked_password((good * 9)[:256], ANN)


def test_passwords_are_kept_as_argon2id_above_the_least_that_is_advised(store: Store) -> None:
    """OWASP password storage sheet: argon2id, at least 19 MiB, two passes, one lane."""
    from argon2 import Type, extract_parameters

    found = extract_parameters(REAL().hash("x"))
    assert found.type is Type.ID
    assert found.memory_cost >= 19 * 1024
    assert found.time_cost >= 2
    with store.database.writing() as session:
        assert people.add(session, ANN, "owner", PASSWORD, "test").password.startswith("$argon2id$")


def test_a_password_is_changed_by_who_knows_the_present_one_and_other_browsers_go(app: Starlette) -> None:
    client, other = signed_in(app, ANN), signed_in(app, ANN)
    assert client.post("/me/password", data={"password": "wrong wrong", "new": OTHER}).status_code == 403
    assert client.post("/me/password", data={"password": PASSWORD, "new": "password1234"}).status_code == 400
    # Whoever gives his password again gets a new session, and with it a new token.
    client.headers["x-form-token"] = token_of(client, "/me")
    assert client.post("/me/password", data={"password": PASSWORD, "new": OTHER}).status_code == 303
    assert client.get("/").status_code == 200
    assert other.get("/").status_code == 303
    assert tries(browser(app), ANN, PASSWORD).status_code == 401
    assert tries(browser(app), ANN, OTHER).status_code == 303


def test_an_owner_lets_somebody_in_with_a_password_that_only_begins(app: Starlette, store: Store) -> None:
    owner = signed_in(app, OWN)
    page = owner.post("/people", data={"name": "Eli New", "role": "office"}).text
    found = re.search(r'id="given">([a-z2-9-]{19})<', page)
    assert found
    client = browser(app)
    assert tries(client, "Eli New", found[1]).status_code == 303
    assert client.get("/").headers["location"] == "/me"
    client.headers["x-form-token"] = token_of(client, "/me")
    assert client.post("/uploads", json={"name": "a.m4a", "size": 3}).json()["code"] == "start-password"
    assert client.post("/me/password", data={"password": found[1], "new": OTHER}).status_code == 303
    assert client.get("/").status_code == 200
    # One that nobody used in time is of no use any more.
    page = owner.post("/people", data={"name": "Finn Late", "role": "technician"}).text
    late = re.search(r'id="given">([a-z2-9-]{19})<', page)
    assert late
    with store.database.writing() as session:
        people.person(session, "Finn Late").start_until = people.moment(timedelta(seconds=-1))
    assert tries(browser(app), "Finn Late", late[1]).status_code == 401
    assert "name-taken" not in page
    assert "already" in owner.post("/people", data={"name": "eli  NEW", "role": "office"}).text


def test_the_last_owner_stays(app: Starlette, store: Store) -> None:
    owner = signed_in(app, OWN)
    with store.database.reading() as session:
        owner_id, office_id = people.person(session, OWN).id, people.person(session, OLA).id
    for form in ({"do": "disable"}, {"do": "role", "role": "office"}):
        answer = owner.post(f"/people/{owner_id}", data=form)
        assert answer.status_code == 400
        assert "only owner" in answer.text
    assert owner.post(f"/people/{office_id}", data={"do": "role", "role": "owner"}).status_code == 303
    assert owner.post(f"/people/{owner_id}", data={"do": "role", "role": "office"}).status_code == 303
    assert owner.get("/people").status_code == 403


def test_a_name_cannot_run_in_the_page(app: Starlette) -> None:
    owner, markup = signed_in(app, OWN), "<script>alert(1)</script>"
    assert markup not in owner.post("/people", data={"name": markup, "role": "technician"}).text
    page = owner.get("/people").text
    assert markup not in page
    assert "&lt;script&gt;" in page
    assert markup not in tries(browser(app), markup, "x").text


def test_what_asks_in_the_background_is_refused_and_shown_no_form(app: Starlette) -> None:
    client = browser(app)
    behind = client.get("/", headers={"sec-fetch-mode": "no-cors"})

    assert behind.status_code == 401
    assert "set-cookie" not in behind.headers
    assert client.get("/", headers={"sec-fetch-mode": "navigate"}).status_code == 303
