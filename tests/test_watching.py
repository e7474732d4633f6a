"""Health, readiness, figures and the log: what a shop watches, and that none of it tells what was said."""

from __future__ import annotations

import http.client
import json
import logging
import re
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from app_store import heard, taken
from app_web import BASE, NoEngine
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import text
from starlette.testclient import TestClient

from pipeline.desk import Desk
from pipeline.errors import StoreError
from pipeline.log import Lines, say
from pipeline.store import tally
from pipeline.store.state import metrics, present, text_of
from pipeline.store.store import LOCAL, Store
from pipeline.store.tables import RecordingRow
from pipeline.web.app import create_app
from pipeline.web.people import User

ROOT = Path(__file__).parents[1]


def asking(store: Store, *, token: str = "", host: str = "127.0.0.1", **headers: str) -> TestClient:
    app = create_app(store, Desk(store), NoEngine(), User(LOCAL, "Ann", "owner"), metrics_token=token)
    return TestClient(
        app, base_url=BASE, headers=headers, client=(host, 5000), raise_server_exceptions=False
    )  # fmt: skip


def figures(store: Store, now: datetime | None = None) -> dict[str, float]:
    """The figures as the reference parser of the format reads them."""
    found = "\n".join(text_of(metrics(store, now or present()))) + "\n"
    return {
        sample.name + "".join(sample.labels.values()): sample.value
        for family in text_string_to_metric_families(found) for sample in family.samples
    }  # fmt: skip


def test_ready_says_which_part_is_not(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    client = asking(store)
    assert client.get("/health").json() == {"alive": True}
    assert (client.get("/ready").status_code, client.get("/ready").json()) == (200, {"ready": True})

    monkeypatch.setattr("pipeline.store.state.free_bytes", lambda folder: 1000)
    answer = client.get("/ready")
    assert (answer.status_code, sorted(answer.json())) == (503, ["disk", "ready"])
    with store.database.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '0000'"))
    assert sorted(client.get("/ready").json()) == ["database", "disk", "ready"]

    def away(sha256: str) -> bool:
        raise StoreError("files-away", "The storage cannot be reached.", "Wait.")

    monkeypatch.setattr(store.files, "has", away)
    assert client.get("/ready").json()["files"] == "The storage cannot be reached."


def test_the_figures_are_those_of_the_queue(store: Store) -> None:
    now = present()
    for number, state in enumerate(("waiting", "waiting", "hearing")):
        took = taken(store, f"{number}.m4a", state.encode() + bytes([number]), batch=f"b{number}")
        with store.database.writing() as session:
            row = session.get(RecordingRow, took.recording_id)
            assert row is not None
            row.state = state
            row.queued_at = (now - timedelta(seconds=100 * number)).strftime("%Y-%m-%dT%H:%M:%SZ")
    done = taken(store, "done.m4a", b"done")
    heard(store, done.recording_id)
    with store.database.writing() as session:
        row = session.get(RecordingRow, done.recording_id)
        assert row is not None
        row.duration_s, row.heard_at = 1200.0, now.strftime("%Y-%m-%dT%H:%M:%SZ")
        for _ in range(2):
            tally.count(session, "audio_s", 600)
        tally.count(session, "failed")
    found = figures(store, now)
    assert found["jobtape_queue_lengthwaiting"] == 2
    assert found["jobtape_queue_lengthhearing"] == 1
    assert 200 <= found["jobtape_queue_oldest_seconds"] < 202
    assert found["jobtape_audio_seconds_per_second"] == 2.0
    assert found["jobtape_audio_heard_seconds_total"] == 1200
    assert found["jobtape_failures_total"] == 1
    assert figures(store, now + timedelta(hours=1))["jobtape_audio_seconds_per_second"] == 0


@pytest.mark.parametrize(
    ("token", "host", "headers", "status"),
    [
        ("", "127.0.0.1", {}, 200),
        ("", "10.0.0.7", {}, 404),
        ("", "127.0.0.1", {"x-forwarded-for": "127.0.0.1"}, 404),
        ("secret", "10.0.0.7", {"authorization": "Bearer secret"}, 200),
        ("secret", "127.0.0.1", {}, 404),
        ("secret", "10.0.0.7", {"authorization": "Bearer secreT"}, 404),
        ("secret", "10.0.0.7", {"authorization": "Bearer sécret"}, 404),
    ],
)
def test_the_figures_are_for_this_machine_or_for_who_knows_the_token(
    store: Store, token: str, host: str, headers: dict[str, str], status: int
) -> None:
    encoded = {name: value.encode() for name, value in headers.items()}
    assert asking(store, token=token, host=host).get("/metrics", headers=encoded).status_code == status


def test_a_fact_of_the_log_is_a_number_or_a_code(caplog: pytest.LogCaptureFixture) -> None:
    with pytest.raises(KeyError):
        say("heard", "j1", words="the box is warm")
    logger = logging.getLogger("jobtape")
    logger.setLevel(logging.INFO)
    lines: list[str] = []
    handler = logging.Handler()
    handler.emit = lambda record: lines.append(Lines().format(record))  # type: ignore[method-assign]
    logger.addHandler(handler)
    try:
        say("heard", "j1", recording="r1", audio_s=3.5, code="the box is warm")
        logging.getLogger("elsewhere").addHandler(handler)
        try:
            raise ValueError("the box is warm")
        except ValueError:
            logging.getLogger("elsewhere").exception("about %s", "the box is warm")
    finally:
        logger.removeHandler(handler)
        logging.getLogger("elsewhere").removeHandler(handler)
    first, second = map(json.loads, lines)
    assert (first["event"], first["job"], first["audio_s"], first["code"]) == ("heard", "j1", 3.5, "-")
    assert (second["event"], second["fault"], second["job"]) == ("library", "ValueError", "-")
    assert "warm" not in "".join(lines)


SAID = """Quillfeather called me out to Brambleford for the reach in cooler.
The run capacitor is marked 5 microfarads plus or minus 6 percent and I'm reading 2.3 microfarads.
Hung a new capacitor and the box is down to 38 degrees.
"""


def test_the_log_of_a_whole_run_tells_nothing_that_was_said(tmp_path: Path) -> None:
    log, home = tmp_path / "log", tmp_path / "home"
    command = [sys.executable, "-c", "from pipeline.cli import main; main()"]
    environ = {"JOBTAPE_LOG": str(log), "PATH": "/usr/bin:/bin", "PYTHONPATH": str(ROOT), "HOME": str(tmp_path)}
    with subprocess.Popen(
        [*command, "serve", "--port", "0", "--home", str(home)], env=environ, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout
        port = int(process.stdout.readline().split("127.0.0.1:")[1].split("/")[0])
        ask = asker(port)
        good = sent(ask, "Quillfeather dock.said.txt", SAID.encode())
        bad = sent(ask, "Quillfeather dock.m4a", b"no sound " * 100)
        until = time.monotonic() + 120
        while {ask("GET", f"/jobs/{job}/state")["state"] for job in (good, bad)} != {"ready", "failed"}:
            assert time.monotonic() < until
            time.sleep(0.2)
        assert ask("POST", f"/jobs/{good}/forget", b"{}") is not None
        process.terminate()
        errors = process.communicate()[1]
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    assert {"hearing", "heard", "drafted", "set-aside"} <= {line["event"] for line in lines}
    assert all(line["job"] for line in lines)
    assert {line["job"] for line in lines if line["event"] in ("hearing", "heard", "drafted")} == {good, bad}
    allowed = {"recording", "hearing"}
    said = set(re.findall(r"[a-z]{4,}", (SAID + "Quillfeather dock").lower())) - allowed
    written = set(re.findall(r"[a-z]{4,}", (log.read_text(encoding="utf-8") + errors).lower()))
    assert written & said == set()


def asker(port: int) -> Callable[..., Any]:
    def ask(method: str, path: str, body: bytes | None = None) -> Any:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        connection.request(method, path, body, {"accept": "application/json", "sec-fetch-site": "same-origin"})
        answer = connection.getresponse()
        data = answer.read()
        connection.close()
        return json.loads(data) if "json" in answer.headers.get("content-type", "") else data

    return ask


def sent(ask: Callable[..., Any], name: str, data: bytes) -> str:
    begun = ask("POST", "/uploads", json.dumps({"name": name, "size": len(data)}).encode())
    ask("PUT", f"/uploads/{begun['id']}?at=0", data)
    return str(ask("POST", f"/uploads/{begun['id']}/done", json.dumps({"batch": name[-5:]}).encode())["job"])
