"""Signing in by another service: who is connected gets in, and no answer that is not sound is believed."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from html import unescape
from typing import Any

import pytest
from app_people import ANN, BOB, PASSWORD, browser, quicken, shop, signed_in, token_of, tries
from app_web import NoEngine
from starlette.applications import Starlette
from starlette.testclient import TestClient

from pipeline.desk import Desk
from pipeline.errors import SetupError
from pipeline.store import audit
from pipeline.store.store import Store
from pipeline.web.app import create_app
from pipeline.web.service import Service, service_of

httpx = pytest.importorskip("httpx", reason="httpx is not installed here: pip install 'jobtape[shop]'")
pytest.importorskip("authlib", reason="authlib is not installed here: pip install 'jobtape[shop]'")

from app_provider import CLIENT, SECRET, Provider, provider  # noqa: E402


@pytest.fixture(scope="module")
def service() -> Iterator[Provider]:
    with provider() as found:
        yield found


@pytest.fixture
def app(store: Store, desk: Desk, service: Provider, monkeypatch: pytest.MonkeyPatch) -> Starlette:
    quicken(monkeypatch)
    service.wrong, service.sign, service.person = {}, "RS256", "subject-1"
    shop(store)
    return create_app(store, desk, NoEngine(), None, service=Service(service.issuer, CLIENT, SECRET))


def through(address: str) -> str:
    """What a browser does at the service: it signs in there and is sent back; gives the path it comes back to."""
    answer = httpx.get(address)
    assert answer.status_code == 307, answer.text
    assert answer.headers["location"].startswith("https://localhost/sign-in/service/back?")
    return str(answer.headers["location"].removeprefix("https://localhost"))


def comes_back(client: TestClient) -> Any:
    return client.get(through(client.get("/sign-in/service").headers["location"]))


def connected(client: TestClient) -> Any:
    page = client.post("/me/service", data={"password": PASSWORD})
    found = re.search(r'id="service-link" href="([^"]+)"', page.text)
    assert found, page.text
    return client.get(through(unescape(found[1])))


def test_who_connected_his_account_signs_in_by_the_service(app: Starlette, store: Store) -> None:
    assert "/sign-in/service" in browser(app).get("/sign-in").text
    stranger = comes_back(browser(app))
    assert stranger.status_code == 403
    assert "nobody here is connected" in stranger.text
    ann = signed_in(app, ANN)
    assert ann.post("/me/service", data={"password": "wrong wrong"}).status_code == 403
    assert connected(ann).headers["location"] == "/me"
    client = browser(app)
    assert comes_back(client).headers["location"] == "/"
    assert ANN in client.get("/me").text
    with store.database.reading() as session:
        lines = [(entry.who, entry.what, entry.detail) for entry in audit.entries(session)]
    assert lines.count((ANN, "sign-in", "service")) == 1
    assert lines.count((ANN, "service:connect", "")) == 1


def test_an_account_belongs_to_one_person_and_goes_with_another_password(app: Starlette) -> None:
    ann, bob = signed_in(app, ANN), signed_in(app, BOB)
    connected(ann)
    assert connected(bob).status_code == 409
    ann.headers["x-form-token"] = token_of(ann, "/me")
    new = "a kettle sings at the north gate"
    assert ann.post("/me/password", data={"password": PASSWORD, "new": new}).status_code == 303
    assert comes_back(browser(app)).status_code == 403


@pytest.mark.parametrize(
    ("wrong", "sign"),
    [
        ({"nonce": "another"}, "RS256"),
        ({"nonce": None}, "RS256"),
        ({"aud": "another-program"}, "RS256"),
        ({"aud": [CLIENT, "another"], "azp": "another"}, "RS256"),
        ({"iss": "https://evil.example"}, "RS256"),
        ({"exp": int(time.time()) - 3600}, "RS256"),
        ({"exp": None}, "RS256"),
        ({"sub": None}, "RS256"),
        ({}, "another key"),
        ({}, "HS256"),
        ({}, "none"),
    ],
)
def test_a_token_that_is_not_sound_signs_nobody_in(
    app: Starlette, service: Provider, wrong: dict[str, object], sign: str
) -> None:
    connected(signed_in(app, ANN))
    service.wrong, service.sign = wrong, sign
    client = browser(app)
    answer = comes_back(client)
    assert answer.status_code == 403
    assert "not sound" in answer.text
    assert client.get("/").status_code == 303


def test_an_answer_counts_in_the_browser_that_asked_and_once(app: Starlette) -> None:
    connected(signed_in(app, ANN))
    client = browser(app)
    path = through(client.get("/sign-in/service").headers["location"])
    assert browser(app).get(path).status_code == 403
    other = browser(app)
    other.get("/sign-in/service")
    assert other.get(path).status_code == 403
    assert client.get(re.sub("state=[0-9a-f]", "state=x", path)).status_code == 403
    assert client.get("/sign-in/service/back").status_code == 403
    assert client.get(path).status_code == 303
    assert client.get(path).status_code == 403


def test_a_stranger_cannot_connect_his_account_with_somebody_who_is_signed_in(app: Starlette) -> None:
    ann, bob = signed_in(app, ANN), signed_in(app, BOB)
    page = bob.post("/me/service", data={"password": PASSWORD}).text
    found = re.search(r'id="service-link" href="([^"]+)"', page)
    assert found
    path = through(unescape(found[1]))
    assert ann.get(path).status_code == 403
    # Nor when he gets his cookie into her browser: it is bound to his session.
    ann.cookies["__Host-jobtape-service"] = bob.cookies["__Host-jobtape-service"]
    assert ann.get(path).status_code == 403


def test_without_the_service_the_password_still_opens(
    store: Store, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    quicken(monkeypatch)
    shop(store)
    app = create_app(store, desk, NoEngine(), None, service=Service("http://127.0.0.1:9", CLIENT, SECRET))
    answer = browser(app).get("/sign-in/service")
    assert answer.status_code == 502
    assert "use your password" in answer.text
    assert tries(browser(app), ANN, PASSWORD).status_code == 303
    none = create_app(store, desk, NoEngine(), None)
    assert browser(none).get("/sign-in/service").status_code == 404
    assert "/sign-in/service" not in browser(none).get("/sign-in").text


@pytest.mark.parametrize("said", [("https://id.example", "", ""), ("http://id.example", "a", "b"), ("", "a", "b")])
def test_a_service_that_is_set_by_half_or_without_tls_is_told(said: tuple[str, str, str]) -> None:
    with pytest.raises(SetupError, match="by half, or without TLS"):
        service_of(*said)
