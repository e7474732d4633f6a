"""Files in S3-compatible storage. moto's server stands in for a real one: it keeps objects and checks no rights."""

from __future__ import annotations

import hashlib
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.errors import StoreError
from pipeline.store.files import Files, open_files


@pytest.fixture(scope="module")
def endpoint() -> Iterator[str]:
    """A stand-in for the storage on loopback, with one bucket."""
    pytest.importorskip("moto", reason="the stand-in is not installed here: pip install 'moto[server]'")
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port = sock.getsockname()[1]
    command = [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        address = f"http://127.0.0.1:{port}"
        until = time.monotonic() + 60
        while True:
            try:
                request = urllib.request.Request(f"{address}/jobs", method="PUT")
                urllib.request.urlopen(request, timeout=5).close()
                break
            except OSError:
                assert time.monotonic() < until
                time.sleep(0.2)
        yield address
        process.kill()


@pytest.fixture
def files(endpoint: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Files:
    names = {
        "AWS_ENDPOINT_URL": endpoint,
        "AWS_ACCESS_KEY_ID": "a",
        "AWS_SECRET_ACCESS_KEY": "b",
        "AWS_REGION": "us-east-1",
    }
    for name, value in names.items():
        monkeypatch.setenv(name, value)
    return open_files(f"s3://jobs/{tmp_path.name}", tmp_path / "fetched")


def test_what_was_put_is_given_back_and_removed(files: Files) -> None:
    key = files.put(b"spoken")
    assert key == hashlib.sha256(b"spoken").hexdigest()
    assert (files.put(b"spoken"), files.has(key), files.get(key)) == (key, True, b"spoken")
    assert list(files.keys()) == [key]
    files.remove(key)
    files.remove(key)
    assert not files.has(key)
    with pytest.raises(StoreError, match="no longer in the store"):
        files.get(key)


def test_a_recording_larger_than_a_part_is_taken_and_fetched_whole(files: Files, tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    path.write_bytes(os.urandom(12 << 20))
    key = hashlib.sha256(path.read_bytes()).hexdigest()
    files.take(path, key)
    assert not path.exists()
    assert hashlib.sha256(files.local(key).read_bytes()).hexdigest() == key


def test_what_came_back_otherwise_than_it_was_put_is_not_used(files: Files, tmp_path: Path) -> None:
    path = tmp_path / "note.txt"
    path.write_bytes(b"changed on its way")
    files.take(path, "0" * 64)
    with pytest.raises(StoreError, match="damaged"):
        files.local("0" * 64)
