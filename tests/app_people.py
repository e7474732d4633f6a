"""People of a shop for tests, and browsers in which they are signed in."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from app_web import FROM_HERE, NoEngine
from argon2 import PasswordHasher
from starlette.applications import Starlette
from starlette.testclient import TestClient

from pipeline.desk import Desk
from pipeline.store import people
from pipeline.store.store import Store
from pipeline.web.app import create_app

SECURE = "https://localhost"
PASSWORD = "wet gravel under seven lamps"
ANN, BOB, OLA, OWN = "Ann Field", "Bob Field", "Ola Desk", "Uma Owner"
ROLES = {ANN: "technician", BOB: "technician", OLA: "office", OWN: "owner"}


def quicken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hashes that take a millisecond, and a clock that stands: no wait ends while a slow machine works."""
    cheap = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(people, "hasher", lambda: cheap)
    stopped = datetime.now(UTC)
    monkeypatch.setattr(people, "present", lambda: stopped)


def shop(store: Store, *, password: str = PASSWORD) -> dict[str, str]:
    """Two technicians, the office and an owner; gives their ids by name."""
    with store.database.writing() as session:
        return {name: people.add(session, name, role, password, "test").id for name, role in ROLES.items()}


def network_app(store: Store, desk: Desk) -> Starlette:
    """The pages as they are on a network."""
    return create_app(store, desk, NoEngine(), None)


def browser(app: Starlette, address: str = "192.0.2.10") -> TestClient:
    """A browser in which nobody is signed in."""
    return TestClient(
        app,
        base_url=SECURE,
        headers=FROM_HERE,
        raise_server_exceptions=False,
        follow_redirects=False,
        client=(address, 50000),
    )


def token_of(client: TestClient, path: str = "/") -> str:
    """The form token of a page."""
    found = re.search(r'name="form[_-]token" (?:content|value)="([0-9a-f]{64})"', client.get(path).text)
    assert found
    return found[1]


def tries(client: TestClient, name: str, password: str, **more: str):  # type: ignore[no-untyped-def]
    """A sign-in as the form sends it."""
    form = {"form_token": token_of(client, "/sign-in"), "name": name, "password": password, **more}
    return client.post("/sign-in", data=form)


def signed_in(app: Starlette, name: str, address: str = "192.0.2.10") -> TestClient:
    """A browser in which a person is signed in, with the page's form token on its writes."""
    client = browser(app, address)
    answer = tries(client, name, PASSWORD)
    assert answer.status_code == 303, answer.text
    client.headers["x-form-token"] = token_of(client, "/me")
    return client
