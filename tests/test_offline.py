"""The whole run with every socket blocked: nothing is sent anywhere, and nothing is asked of anybody."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
DAY = ROOT / "samples" / "day"

# Not `bind`: it sends nothing, and a library looks whether there is IPv6 by binding to this very machine.
# Runs before anything of the program is loaded, so that no library has kept an unblocked socket by then.
BLOCKED = """
import socket, sys
tried = []
def refuse(*arguments, **options):
    tried.append(arguments)
    raise OSError("the network is blocked")
for name in ("connect", "connect_ex", "sendto"):
    setattr(socket.socket, name, refuse)
socket.getaddrinfo = socket.create_connection = refuse
from pipeline.cli import app
try:
    app(sys.argv[1:])
finally:
    print("tried", len(tried))
"""


def call(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", BLOCKED, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)


def test_a_day_of_texts_needs_no_network(tmp_path: Path) -> None:
    done = call("draft", DAY / "ice-machine.txt", "--out", tmp_path)

    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[-1] == "tried 0"
    assert (tmp_path / "ice-machine" / "report.pdf").is_file()


@pytest.mark.speech
def test_a_recording_needs_no_network(tmp_path: Path) -> None:
    done = call("draft", DAY / "walk-in-cooler.m4a", "--hearing", "quick", "--out", tmp_path)

    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[-1] == "tried 0"
    assert (tmp_path / "walk-in-cooler" / "report.pdf").is_file()


def test_the_block_of_this_test_blocks() -> None:
    script = BLOCKED.split("from pipeline.cli")[0] + "socket.create_connection(('localhost', 9))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)

    assert "the network is blocked" in done.stderr
