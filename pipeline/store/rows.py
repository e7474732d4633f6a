"""All rows of the store as lines of JSON, out of one moment of the database, and back into another database."""

from __future__ import annotations

import base64
import gzip
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Integer, MetaData, Table, func, insert, select, text
from sqlalchemy.orm import Session

from pipeline.store.database import HEAD, Database, upgrade
from pipeline.store.named import all_tables

PASSING = frozenset({"worker", "session", "sign_in_try"})
"""Tables that say only what goes on just now."""
AT_ONCE = 500


def dump(database: Database, path: Path, seen: Callable[[Session], None]) -> dict[str, int]:
    """Writes all rows as they stood at one moment; gives how many of each table. `seen` looks at the same moment."""
    counted: dict[str, int] = {}
    with database.reading() as session, gzip.open(path, "wt", encoding="utf-8", compresslevel=6) as file:
        if not database.sqlite:
            session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
        for table in all_tables():
            if table.name in PASSING:
                continue
            counted[table.name] = 0
            for row in session.execute(select(table).execution_options(yield_per=AT_ONCE)).mappings():
                file.write(json.dumps([table.name, {name: _out(value) for name, value in row.items()}]) + "\n")
                counted[table.name] += 1
        seen(session)
    return counted


def _out(value: Any) -> Any:
    return {"base64": base64.b64encode(value).decode()} if isinstance(value, bytes) else value


def lines(path: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    """The rows of a dump: the table's name and the values."""
    with gzip.open(path, "rt", encoding="utf-8") as file:
        for line in file:
            table, row = json.loads(line)
            yield (
                table,
                {
                    name: base64.b64decode(value["base64"]) if isinstance(value, dict) else value
                    for name, value in row.items()
                },
            )


def load(database: Database, path: Path, version: str, folder: Path) -> None:
    """Puts the rows of a dump in place of those that are there, whole or not at all; the audit trail goes on.

    A table of which the dump has no row is left as it is: whoever set the new store up must still get in.
    `version` is that of the store which they are from; an older one is brought to ours in a database of its own
    in `folder`. Works between the two kinds of database.
    """
    if version != HEAD:
        path = _raised(path, version, folder)
    with database.writing() as session:
        tables = {table.name: table for table in all_tables()}
        coming = {name for name, _ in lines(path)} - {"audit"}
        for table in reversed(all_tables()):
            if table.name in coming:
                session.execute(table.delete())
        _fill(session, tables, path)
        # What was in work goes into the queue anew; so does what was heard but not yet read.
        session.execute(
            text(
                "UPDATE recording SET run_id = NULL, claim = NULL, state = 'waiting' WHERE state IN ('waiting', "
                "'hearing') OR id IN (SELECT first_recording FROM job WHERE job_state IN ('waiting', 'hearing'))"
            )
        )


def _fill(session: Session, tables: dict[str, Table], path: Path) -> None:
    waiting: list[dict[str, Any]] = []
    audit = "audit" in tables and session.execute(select(func.count()).select_from(tables["audit"])).scalar()
    at = ""
    for name, row in lines(path):
        if name != at or len(waiting) >= AT_ONCE:
            _insert(session, tables.get(at), waiting)
            at, waiting = name, []
        if name == "audit" and audit:
            del row["seq"]
        waiting.append(row)
    _insert(session, tables.get(at), waiting)
    if session.connection().dialect.name == "postgresql":
        for table in tables.values():
            # Rows came with their numbers; the next one must be beyond them.
            for column in table.primary_key:
                if isinstance(column.type, Integer) and column.name == "seq":
                    session.execute(
                        text(
                            f"SELECT setval(pg_get_serial_sequence('{table.name}', 'seq'), "
                            f"(SELECT coalesce(max(seq), 0) + 1 FROM {table.name}), false)"
                        )
                    )


def _insert(session: Session, table: Table | None, rows: list[dict[str, Any]]) -> None:
    if rows and table is not None:
        session.execute(insert(table), rows)


def _raised(path: Path, version: str, folder: Path) -> Path:
    """The dump of an older store as one of ours, by the migrations that its own database would have gone through."""
    old = Database(f"sqlite:///{folder / 'older.sqlite'}")
    try:
        upgrade(old, version)
        known = MetaData()
        known.reflect(old.engine)
        with old.writing() as session:
            _fill(session, dict(known.tables), path)
        upgrade(old)
        raised = folder / "raised.jsonl.gz"
        dump(old, raised, lambda _: None)
    finally:
        old.close()
    return raised
