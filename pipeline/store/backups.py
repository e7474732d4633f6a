"""What is in a folder of backups: its index, its files, and what was taken out of it for good."""

from __future__ import annotations

import gzip
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError
from sqlalchemy import func, select

from pipeline.errors import ReportError, StoreError
from pipeline.keep import digest_of_file, disk_faults, make_folder, only_call, write_whole
from pipeline.store.files import FolderFiles
from pipeline.store.named import METADATA, is_named
from pipeline.store.rows import lines
from pipeline.store.store import Store
from pipeline.store.tables_engine import BackupRow, RemovedRow

ROWS = "rows.jsonl.gz"
INDEX = "index.json"
REMOVED = "removed.jsonl"


class Index(BaseModel):
    """What a backup says of itself. `missing` are files that the store itself no longer had."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    form: str = "backup/1"
    made_at: str
    version: str
    rows: dict[str, int]
    rows_sha256: str
    files: int
    missing: tuple[str, ...] = ()


def synced(path: Path) -> None:
    """Makes sure that a file's bytes are on the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def folders_of(target: Path) -> list[Path]:
    """The finished backups of a target, oldest first."""
    return sorted(path.parent for path in target.glob(f"*/{INDEX}"))


def index_of(folder: Path) -> Index:
    """What a backup says of itself. Raises StoreError when it cannot be read."""
    try:
        return Index.model_validate_json((folder / INDEX).read_text(encoding="utf-8"))
    except (OSError, ValidationError, UnicodeDecodeError) as fault:
        raise StoreError("backup-unreadable", f"{folder} is no backup that can be read.", "Name another.") from fault


def named_in(path: Path) -> Iterator[str]:
    """The hashes of files that the rows of a dump name."""
    found = set()
    for table, row in lines(path):
        for column in METADATA.tables[table].columns if table in METADATA.tables else ():
            value = row.get(column.name)
            if column.info.get("file") and value and (row.get("kept", True) or column.name == "heard"):
                found.add(value)
    return iter(found)


def removed_there(target: Path) -> dict[str, set[str]]:
    """What was taken out of a target for good, by kind."""
    removed: dict[str, set[str]] = {"job": set(), "recording": set(), "machine": set(), "file": set()}
    with suppress(FileNotFoundError):
        for line in (target / REMOVED).read_text(encoding="utf-8").splitlines():
            kind, key = json.loads(line)
            removed[kind].add(key)
    return removed


def still_named(store: Store, sha256: str) -> bool:
    """Whether a row of the store names this file just now."""
    with store.database.reading() as session:
        return is_named(session, sha256)


def reach(store: Store) -> list[str]:
    """Takes what was removed since out of all backups that can be reached; gives the targets that cannot."""
    with store.database.reading() as session:
        last = session.scalar(select(func.max(RemovedRow.seq))) or 0
        behind = list(session.scalars(select(BackupRow.target).where(BackupRow.reached < last)))
    unreached = []
    for target in behind:
        try:
            if not (Path(target) / "files").is_dir():
                raise FileNotFoundError(target)
            with only_call(Path(target) / "lock"):
                take_out(store, Path(target))
        except (OSError, ReportError):
            unreached.append(target)
    return unreached


def take_out(store: Store, target: Path) -> None:
    """Takes what was removed from the store out of all backups of a target, rows and files; held by the caller."""
    with store.database.reading() as session:
        rows = [(row.seq, row.kind, row.key) for row in session.scalars(select(RemovedRow).order_by(RemovedRow.seq))]
    removed = removed_there(target)
    for _, kind, key in rows:
        removed[kind].add(key)
    # A file that came back (the same recording sent again) is no longer a removed one.
    removed["file"] = {key for key in removed["file"] if not still_named(store, key)}
    body = "".join(json.dumps([kind, key]) + "\n" for kind, keys in removed.items() for key in sorted(keys))
    write_whole(target / REMOVED, body.encode())
    needed: set[str] = set()
    for folder in folders_of(target):
        needed |= set(named_in(_without(folder, removed) / ROWS))
    files = FolderFiles(target / "files")
    for sha256 in list(files.keys()):
        if sha256 not in needed or sha256 in removed["file"]:
            files.remove(sha256)
    with store.database.writing() as session:
        row = session.get(BackupRow, str(target.absolute()))
        if row is not None:
            row.reached = rows[-1][0] if rows else 0


def _without(folder: Path, removed: dict[str, set[str]]) -> Path:
    """The backup without the rows of what was removed: itself when it has none, else one in its place.

    That is finished before the old one goes, so that a kill at any moment leaves a whole one.
    """
    rows = folder / ROWS
    used = {row["machine_id"] for table, row in lines(rows) if table == "job" and not _is_of(table, row, removed)}
    removed = {**removed, "machine": removed["machine"] - used}
    if not any(_is_of(table, row, removed) for table, row in lines(rows)):
        return folder
    fresh = folder.with_name(f"{folder.name.split('+')[0]}+{sum(map(len, removed.values()))}")
    shutil.rmtree(fresh, ignore_errors=True)
    make_folder(fresh)
    counted: dict[str, int] = {}
    with disk_faults(fresh):
        with gzip.open(rows, "rt", encoding="utf-8") as old, gzip.open(fresh / ROWS, "wt", encoding="utf-8") as new:
            for line in old:
                table, row = json.loads(line)
                if not _is_of(table, row, removed):
                    new.write(line)
                    counted[table] = counted.get(table, 0) + 1
        synced(fresh / ROWS)
    index = index_of(folder)
    for path in folder.iterdir():
        if path.name not in (ROWS, INDEX):
            shutil.copy2(path, fresh / path.name)
    changed = {"rows_sha256": digest_of_file(fresh / ROWS), "rows": {name: counted.get(name, 0) for name in index.rows}}
    write_whole(fresh / INDEX, index.model_copy(update=changed).model_dump_json(indent=1).encode())
    shutil.rmtree(folder)
    return fresh


def _is_of(table: str, row: dict[str, object], removed: dict[str, set[str]]) -> bool:
    """Whether a row is, or belongs to, something that was removed. The audit trail names ids only, and stays."""
    if table in ("audit", "removed"):
        return False
    if table in removed and row.get("id") in removed[table]:
        return True
    owners = {"job_id": "job", "recording_id": "recording", "joined_to": "job"}
    if table == "likeness":
        owners["machine_id"] = "machine"
    return any(row.get(column) in removed[kind] for column, kind in owners.items())
