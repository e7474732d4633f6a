"""Opens the database of the store, and checks that its tables are those that this program knows."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from typing import Any

from sqlalchemy import Engine, create_engine, event, inspect, text
from sqlalchemy.engine import Connection
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.orm import Session

from pipeline.errors import SetupError, StoreError
from pipeline.keep import make_folder

HEAD = "0040"
"""The newest migration; a test compares it with the files."""

BUSY_MS = 20_000
NETWORK: Mapping[str, int] = {
    "connect_timeout": 10,
    "keepalives_idle": 5,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 20_000,
}
"""A server that does not answer is given up after twenty seconds, instead of the system's many minutes."""


class Database:
    """Transactions on one database: `reading` and `writing`."""

    def __init__(self, url: str) -> None:
        """Opens nothing yet; the first transaction does."""
        self.url = url
        self.sqlite = url.startswith("sqlite")
        self.engine = _engine(url)
        # One writer at a time is all that SQLite can do, and it makes the others look again at ever longer intervals.
        # Threads of this process that wait here instead go on the moment it is their turn.
        self._turn = RLock() if self.sqlite else contextlib.nullcontext()

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A transaction that only reads."""
        with self._faults(), Session(self.engine) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A transaction that is kept whole when the block ends, and not at all when it raises.

        On SQLite it takes the writer's lock at once: one that reads first and wants to write later would be
        refused without waiting when another wrote meanwhile.
        """
        engine = self.engine.execution_options(jobtape_writes=True)
        with self._faults(), self._turn, Session(engine, expire_on_commit=False) as session, session.begin():
            yield session

    def scrub(self) -> None:
        """Takes what was removed out of SQLite's journal too; other databases do so by themselves in time."""
        if self.sqlite:
            with self.engine.connect() as connection:
                connection.exec_driver_sql("COMMIT")
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
                connection.exec_driver_sql("BEGIN")

    def close(self) -> None:
        """Lets go of all connections."""
        self.engine.dispose()

    @contextmanager
    def _faults(self) -> Iterator[None]:
        try:
            yield
        except OperationalError as fault:
            said = str(fault.orig).lower()
            if "full" in said:
                raise SetupError(
                    "no-space", "The disk is full: nothing was saved.", "Free some space and do it again."
                ) from fault
            raise StoreError(
                "store-away",
                "The store cannot be reached just now; nothing of this was saved.",
                "Wait a moment and do it again.",
            ) from fault


def _engine(url: str) -> Engine:
    if not url.startswith("sqlite"):
        return create_engine(url, pool_size=10, pool_pre_ping=True, connect_args=dict(NETWORK))
    make_folder(Path(url.removeprefix("sqlite:///")).parent)
    engine = create_engine(url, connect_args={"timeout": BUSY_MS / 1000})

    @event.listens_for(engine, "connect")
    def _open(connection: Any, _record: Any) -> None:
        # The driver would begin transactions by itself, and later than SQLAlchemy thinks.
        connection.isolation_level = None
        for pragma in (
            "journal_mode=WAL",
            "synchronous=FULL",
            "foreign_keys=ON",
            "secure_delete=ON",
            f"busy_timeout={BUSY_MS}",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("jobtape_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def version_of(database: Database) -> str | None:
    """The migration that the database stands at; None for an empty one."""
    with database.reading() as session:
        if not inspect(session.connection()).has_table("alembic_version"):
            return None
        found = session.execute(text("select version_num from alembic_version")).scalar()
        return None if found is None else str(found)


def upgrade(database: Database, version: str = "head") -> None:
    """Brings the tables to a version, all of it or nothing; nothing when they are so already."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")))
    with database.engine.execution_options(jobtape_writes=True).begin() as connection:
        if not database.sqlite:
            # Several processes of a new shop may start at the same moment.
            connection.execute(text("SELECT pg_advisory_xact_lock(hashtext('jobtape tables'))"))
        config.attributes["connection"] = connection
        command.upgrade(config, version)


def ready(database: Database) -> None:
    """Makes the tables of an empty store. Raises StoreError when those that are there are of another version."""
    try:
        version = version_of(database)
    except DBAPIError as fault:
        raise StoreError(
            "store-unreadable", "The store's database cannot be opened.", "Check JOBTAPE_DB, or restore a backup."
        ) from fault
    if version is None:
        upgrade(database)
    elif version < HEAD:
        raise StoreError(
            "store-old",
            "The store was made by an earlier version of this program.",
            "Make a backup, then run: jobtape upgrade-store",
        )
    elif version > HEAD:
        raise StoreError(
            "unknown-schema",
            "The store was made by a later version of this program.",
            "Install that version, or name another store with JOBTAPE_DB.",
        )
