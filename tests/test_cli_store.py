"""The store from the terminal: lists, search, out and in, removal, the pages on this machine."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from app_drafts import draft
from app_store import ready_job, store_at

from pipeline.desk import Desk

Call = Callable[..., Any]


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Path]:
    """A store with one job."""
    store = store_at(tmp_path / "home")
    ready_job(store, Desk(store))
    store.close()
    yield tmp_path / "home"


def test_an_empty_store_says_how_to_begin(jobtape: Call, tmp_path: Path) -> None:
    called = jobtape("jobs", "--home", str(tmp_path / "new"))
    assert (called.status, called.out) == (0, "No job yet. Put recordings in with: jobtape serve\n")


def test_jobs_are_listed_found_and_their_machine_shown(jobtape: Call, home: Path) -> None:
    line = jobtape("jobs", "--home", str(home)).out
    assert "reach-in cooler  feed store, loading dock  K47-2209" in line
    assert jobtape("find", "gasket", "K47-2209", "--home", str(home)).out == line
    assert jobtape("find", "freezer", "--home", str(home)).out == "No job holds all these words.\n"
    shown = jobtape("machine", "k47", "--home", str(home)).out
    assert shown.startswith("reach-in cooler  K47-2209  feed store, loading dock\n")
    assert "open: Come back to look at the door gasket thursday" in shown
    assert jobtape("machine", "walk-in", "--home", str(home)).status == 2


def test_a_machine_of_several_visits_shows_its_figures(jobtape: Call, tmp_path: Path) -> None:
    store = store_at(tmp_path)
    for name in ("one.m4a", "two.m4a"):
        ready_job(store, Desk(store), name=name)
    store.close()
    assert "run capacitor, capacitance (µF):" in jobtape("machine", "k47", "--home", str(tmp_path)).out


def test_out_and_in_again_is_the_same_and_what_is_there_is_left_alone(
    jobtape: Call, home: Path, tmp_path: Path
) -> None:
    assert jobtape("export", str(tmp_path / "out"), "--home", str(home), "--quiet").status == 0
    (folder,) = (tmp_path / "out").iterdir()
    names = {path.name for path in folder.iterdir()}
    assert {"job.json", "draft.json", "recordings", "report.html", "report.pdf"} <= names
    body = json.loads((folder / "job.json").read_text())
    assert body["schema"] == "job/1"
    assert (folder / "recordings" / body["recordings"][0]["file"]).read_bytes() == b"dock-cooler.m4a"

    for said in ("1 job was read.", "0 jobs were read, 1 were there already."):
        assert said in jobtape("import", str(tmp_path / "out"), "--home", str(tmp_path / "other")).out
    listed = [jobtape("jobs", "--home", str(tmp_path / name)).out for name in ("home", "other")]
    assert listed[0] == listed[1]


def test_what_was_changed_by_hand_is_not_taken_for_what_was_sent(jobtape: Call, home: Path, tmp_path: Path) -> None:
    jobtape("export", str(tmp_path / "out"), "--home", str(home), "--quiet")
    next((tmp_path / "out").glob("*/recordings/*dock-cooler.m4a")).write_bytes(b"other sound")
    called = jobtape("import", str(tmp_path / "out"), "--home", str(tmp_path / "other"))
    assert called.status == 2
    assert "is not what was exported" in called.err
    assert "No job yet" in jobtape("jobs", "--home", str(tmp_path / "other")).out


def test_a_folder_without_jobs_is_a_sentence(jobtape: Call, tmp_path: Path) -> None:
    assert "holds no exported job" in jobtape("import", str(tmp_path), "--home", str(tmp_path / "new")).err


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        ((), 2, "Nothing was named."),
        (("zzz",), 2, "That job is not here."),
        (("--before", "yesterday"), 2, "'yesterday' is no day."),
        (("--before", "2001-01-01"), 0, "No job is that old."),
    ],
)
def test_nothing_is_forgotten_by_a_slip(
    jobtape: Call, home: Path, arguments: tuple[str, ...], status: int, says: str
) -> None:
    called = jobtape("forget", *arguments, "--yes", "--home", str(home))
    assert called.status == status
    assert says in called.out + called.err
    assert "K47-2209" in jobtape("jobs", "--home", str(home)).out


def test_everything_older_than_a_day_is_forgotten(jobtape: Call, home: Path) -> None:
    called = jobtape("forget", "--before", "2999-01-01", "--yes", "--home", str(home))
    assert called.out.endswith("1 job was removed.\n")
    assert "No job yet" in jobtape("jobs", "--home", str(home)).out


def test_an_up_to_date_store_needs_no_upgrade(jobtape: Call, home: Path) -> None:
    assert jobtape("upgrade-store", "--home", str(home)).out == "The store was up to date.\n"


def test_a_taken_port_is_a_sentence(jobtape: Call, tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        called = jobtape("serve", "--port", str(other.getsockname()[1]), "--home", str(tmp_path))
    assert called.status == 3
    assert "--port" in called.err


def test_the_pages_are_served_on_this_machine_until_stopped(tmp_path: Path) -> None:
    command = [
        sys.executable,
        "-c",
        "from pipeline.cli import main; main()",
        "serve",
        "--port",
        "0",
        "--home",
        str(tmp_path),
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout
        line = process.stdout.readline()
        address = line.split()[3]
        assert address.startswith("http://127.0.0.1:")
        with urllib.request.urlopen(address, timeout=20) as page:
            assert b"Put recordings in" in page.read()
        os.kill(process.pid, signal.SIGINT)
        _, complaint = process.communicate(timeout=30)
    assert "Traceback" not in complaint
    assert draft().name not in complaint
