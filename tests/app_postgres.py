"""A PostgreSQL of the test's own: on loopback, in its own folder, as a user that is not root."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


def programs() -> Path | None:
    """The folder with PostgreSQL's programs, or None."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if found:
        return found[-1].parent
    path = shutil.which("initdb")
    return Path(path).parent if path else None


@contextmanager
def postgres(folder: Path) -> Iterator[str]:
    """The address of a fresh database. Skips the test where PostgreSQL is not installed.

    Started by root it runs as another user and lies apart from `folder`, which that user may not be able to enter.
    """
    if programs() is None:
        pytest.skip("no PostgreSQL is installed here: apt-get install postgresql")
    user = "postgres" if os.geteuid() == 0 else None
    if user:
        folder = Path(tempfile.mkdtemp(prefix="jobtape-postgres-"))
        shutil.chown(folder, user)
    data = folder / "data"

    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port = sock.getsockname()[1]
    _call("initdb", "-D", str(data), "-U", "jobtape", "-A", "trust", "-E", "UTF8", "--no-sync")
    _start(data, port)
    try:
        yield f"postgresql://jobtape@127.0.0.1:{port}/postgres"
    finally:
        _call("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")
        shutil.rmtree(data)
        if user:
            folder.rmdir()


def _start(data: Path, port: int) -> None:
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={data}"
    _call("pg_ctl", "-D", str(data), "-o", options, "-l", str(data / "log"), "-w", "start")


def _call(program: str, *given: str) -> None:
    folder, user = programs(), "postgres" if os.geteuid() == 0 else None
    assert folder
    done = subprocess.run([folder / program, *given], user=user, cwd="/", capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@contextmanager
def away(address: str) -> Iterator[None]:
    """The server is down, as after a crash, until the block ends."""
    import psycopg

    with psycopg.connect(address) as connection:
        row = connection.execute("show data_directory").fetchone()
        port = connection.info.port
    assert row
    data = Path(row[0])
    _call("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")
    try:
        yield
    finally:
        _start(data, port)
