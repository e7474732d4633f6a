"""Listening beyond this machine: refused without people or TLS, its own certificate, and a proxy that is named."""

from __future__ import annotations

import ssl
import stat
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import httpx2
import pytest
from app_people import ANN, PASSWORD, browser, shop, tries
from app_store import store_at
from app_web import FROM_HERE, NoEngine
from sqlalchemy import select
from starlette.testclient import TestClient
from typer.testing import CliRunner

from pipeline.cli import app as commands
from pipeline.desk import Desk
from pipeline.errors import InputError, SetupError
from pipeline.store.place import store_place
from pipeline.store.store import Store
from pipeline.store.tables import AuditRow
from pipeline.web import certificate
from pipeline.web.app import create_app
from pipeline.web.certificate import fingerprint, own_certificate
from pipeline.web.network import Network, network_of
from pipeline.web.serve import listening


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"


def runs(*words: str, typed: str = "") -> tuple[int, str]:
    done = CliRunner().invoke(commands, [*words], input=typed)
    return done.exit_code, done.output


# What is refused


def test_a_network_is_refused_while_nobody_could_sign_in(home: Path) -> None:
    store_at(home).close()
    code, told = runs("serve", "--listen", "127.0.0.1", "--port", "0", "--home", str(home))
    assert code == SetupError.exit_status
    assert "jobtape people add NAME --role owner" in told


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--listen", "shop.example"], "no address of a network card"),
        (["--behind-proxy", "10.0.0.2"], "--listen ADDRESS"),
        (["--listen", "0.0.0.0", "--key", "k.pem"], "belong together"),
        (["--listen", "0.0.0.0", "--key", "k.pem", "--certificate", "c.pem"], "There is no file"),
        (["--listen", "0.0.0.0", "--behind-proxy", "the proxy"], "no address of a proxy"),
    ],
)
def test_options_that_cannot_be_meant_are_told_in_a_sentence(home: Path, words: list[str], told: str) -> None:
    code, said = runs("serve", "--home", str(home), *words)
    assert code == InputError.exit_status
    assert told in said


# People, from the terminal


def test_people_are_kept_from_the_terminal_and_the_password_is_asked(home: Path) -> None:
    at = ["--home", str(home)]
    typed = f"{PASSWORD}\n{PASSWORD}\n"
    assert "Nobody may sign in yet" in runs("people", "list", *at)[1]
    code, told = runs("people", "add", "Uma Owner", "--role", "owner", *at, typed=typed)
    assert (code, PASSWORD in told) == (0, False)
    assert runs("people", "add", "Uma Owner", *at, typed=typed)[0] == 2
    assert "guessed first" in runs("people", "add", "Ann", *at, typed="password1234\npassword1234\n")[1]
    assert runs("people", "add", "Ann", *at, typed=typed)[0] == 0
    assert "Ann  technician" in runs("people", "list", *at)[1]
    assert "no role" in runs("people", "role", "Ann", "boss", *at)[1]
    assert runs("people", "role", "ann", "office", *at)[1] == "Ann is office now.\n"
    assert runs("people", "disable", "ANN", *at)[0] == 0
    assert "Ann  office  shut out" in runs("people", "list", *at)[1]
    assert "only owner" in runs("people", "disable", "Uma Owner", *at)[1]
    assert runs("people", "enable", "Ann", *at)[0] == 0
    assert "signed out everywhere" in runs("people", "reset", "Ann", *at, typed=typed)[1]
    assert "Nobody here is called Zed" in runs("people", "reset", "Zed", *at)[1]


# TLS


def test_the_own_certificate_is_made_once_for_its_names_and_its_key_is_private(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made, key = own_certificate(tmp_path / "tls", ["shop", "127.0.0.1"])
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert stat.S_IMODE(key.parent.stat().st_mode) == 0o700
    first = fingerprint(made)
    own_certificate(tmp_path / "tls", ["127.0.0.1"])
    assert fingerprint(made) == first
    own_certificate(tmp_path / "tls", ["127.0.0.1", "other"])
    second = fingerprint(made)
    assert second != first
    monkeypatch.setattr(certificate, "RENEWED_BEFORE", certificate.GOOD_FOR + timedelta(days=1))
    own_certificate(tmp_path / "tls", ["127.0.0.1"])
    assert fingerprint(made) != second
    made.write_text("not a certificate")
    with pytest.raises(SetupError, match="certificate"):
        own_certificate(tmp_path / "tls", ["127.0.0.1"])


@contextmanager
def served(network: Network, store: Store) -> Iterator[int]:
    import uvicorn

    app = create_app(store, Desk(store), NoEngine(), None, hosts=network.names)
    with listening(0, network.address) as (sock, port):
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", **network.tls()))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        yield port
        server.should_exit = True
        thread.join(timeout=10)


def test_the_pages_answer_over_tls_with_the_own_certificate_and_not_without(home: Path) -> None:
    store = store_at(home)
    network = network_of(store_place({}, home=home), "127.0.0.1")
    assert network.certificate
    with served(network, store) as port:
        trusting = ssl.create_default_context(cafile=str(network.certificate))
        with httpx2.Client(verify=trusting) as client:
            assert client.get(f"https://127.0.0.1:{port}/health").json() == {"alive": True}
            assert client.get(f"https://127.0.0.1:{port}/").headers["location"] == "/sign-in"
            foreign = client.get(f"https://127.0.0.1:{port}/", headers={"host": "evil.example"})
            assert foreign.status_code == 403
        with httpx2.Client() as client, pytest.raises(httpx2.HTTPError):
            client.get(f"http://127.0.0.1:{port}/health")
        old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
        old.maximum_version = ssl.TLSVersion.TLSv1_1
        with httpx2.Client(verify=old) as client, pytest.raises(httpx2.HTTPError):
            client.get(f"https://127.0.0.1:{port}/health")
    store.close()


# The proxy


def test_only_the_named_proxy_is_answered_and_only_it_is_believed(store: Store) -> None:
    shop(store)
    network = network_of(store.place, "127.0.0.1", ["shop.example"], proxies=["10.0.0.2", "10.1.0.0/28"])
    assert network.tls() == {}
    app = create_app(store, Desk(store), NoEngine(), None, hosts=network.names, proxies=network.proxies)

    def asks(peer: str, **headers: str) -> int:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        client = TestClient(app, base_url="http://shop.example", headers={**FROM_HERE, **named}, client=(peer, 4000))
        return client.get("/sign-in").status_code

    assert asks("10.0.0.2", x_forwarded_proto="https", x_forwarded_for="192.0.2.4") == 200
    assert asks("10.1.0.7", x_forwarded_proto="https") == 200
    assert asks("10.0.0.2", x_forwarded_proto="http") == 403
    assert asks("10.0.0.3", x_forwarded_proto="https", x_forwarded_for="10.0.0.2") == 403


def test_the_asker_is_the_last_address_before_the_proxy_and_not_what_he_writes_himself(store: Store) -> None:
    from pipeline.web.network import Behind, _net

    seen: list[str] = []

    async def inner(scope, receive, send) -> None:  # type: ignore[no-untyped-def]
        from starlette.responses import PlainTextResponse

        seen.append(scope["client"][0])
        await PlainTextResponse("")(scope, receive, send)

    wrapped = Behind(inner, [_net("10.0.0.2"), _net("10.0.0.3")])
    client = TestClient(wrapped, client=("10.0.0.2", 1))
    for said in ("192.0.2.4", "1.2.3.4, 192.0.2.4", "1.2.3.4, 192.0.2.4, 10.0.0.3", "x, <b>", ""):
        client.get("/", headers={"x-forwarded-proto": "https", "x-forwarded-for": said})
    assert seen == ["192.0.2.4", "192.0.2.4", "192.0.2.4", "10.0.0.2", "10.0.0.2"]


def test_without_a_proxy_nobody_can_write_where_he_comes_from(store: Store, desk: Desk) -> None:
    shop(store)
    client = browser(create_app(store, desk, NoEngine(), None), "192.0.2.50")
    client.headers["x-forwarded-for"] = "10.9.9.9"
    assert tries(client, ANN, "not the password").status_code == 401
    with store.database.reading() as session:
        last = session.scalars(select(AuditRow).order_by(AuditRow.seq.desc())).first()
        assert last is not None
        assert (last.what, last.origin) == ("sign-in:refused", "192.0.2.50")
