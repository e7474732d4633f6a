"""Backups of a store that is in use, and back: the rows of one moment, then all files that they name.

A target is a folder. It holds `files`, shared by all backups in it, and a folder for each backup, which counts once
its `index.json` is there. What is removed from the store for good is taken out of the backups too.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from pipeline.errors import InputError, StoreError
from pipeline.keep import digest_of_file, disk_faults, make_folder, only_call, sync_folder, write_whole
from pipeline.log import say
from pipeline.store.backups import (
    INDEX,
    ROWS,
    Index,
    folders_of,
    index_of,
    named_in,
    removed_there,
    still_named,
    synced,
    take_out,
)
from pipeline.store.database import HEAD, version_of
from pipeline.store.files import Files, FolderFiles
from pipeline.store.named import named_files
from pipeline.store.rows import dump, load
from pipeline.store.store import Store, note
from pipeline.store.tables import RecordingRow, now
from pipeline.store.tables_engine import BackupRow

OWN = ("words.toml", "shop.toml")
KEEP = 14


@dataclass(frozen=True)
class Done:
    """What a backup or restore came to: rows and files, those copied just now, and hashes that were missing."""

    folder: Path
    rows: int
    files: int
    copied: int
    missing: tuple[str, ...]


def backup(store: Store, target: Path, *, keep: int = KEEP, tell: Callable[[str], None] = lambda _: None) -> Done:
    """Writes a backup while the store is in use, and removes all but the `keep` newest there.

    The rows are those of one moment; files are copied after that, so every row's file is there unless it was removed
    for good meanwhile. Raises StoreError while another backup is written to the same target.
    """
    make_folder(target)
    with only_call(target / "lock"):
        files = FolderFiles(target / "files")
        folder = target / f"{datetime.now(UTC):%Y-%m-%dT%H%M%S.%fZ}"
        make_folder(folder)
        named: set[str] = set()
        with disk_faults(folder):
            rows = dump(store.database, folder / ROWS, lambda session: named.update(_keys(session)))
            synced(folder / ROWS)
        copied, missing = 0, []
        for number, sha256 in enumerate(sorted(named)):
            if number % 100 == 0:
                tell(f"{number} of {len(named)} files")
            if files.has(sha256):
                continue
            if _copy(store.files, files, sha256):
                copied += 1
            elif still_named(store, sha256):
                missing.append(sha256)
        for name in OWN:
            if (store.place.home / name).is_file():
                write_whole(folder / name, (store.place.home / name).read_bytes())
        index = Index(
            made_at=now(), version=HEAD, rows=rows, rows_sha256=digest_of_file(folder / ROWS), files=len(named),
            missing=tuple(missing),
        )  # fmt: skip
        write_whole(folder / INDEX, index.model_dump_json(indent=1).encode())
        sync_folder(target)
        with store.database.writing() as session:
            session.merge(BackupRow(target=str(target.absolute()), made_at=now(), reached=0))
            note(session, "the command line", "backup", detail=folder.name)
        for old in folders_of(target)[:-keep]:
            shutil.rmtree(old)
        take_out(store, target)
        say("backup", backup=folder.name, count=len(named))
    return Done(folder, sum(rows.values()), len(named), copied, tuple(missing))


def _keys(session: Session) -> Iterator[str]:
    return (sha256 for sha256, _ in named_files(session))


def _copy(source: Files, target: Files, sha256: str) -> bool:
    """Copies a file; False when it is missing or not what its name says."""
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name) / "copy"
        if isinstance(target, FolderFiles):
            make_folder(target.folder)
            handle, copied = tempfile.mkstemp(prefix=".writing-", dir=target.folder)
            os.close(handle)
            copy = Path(copied)
        try:
            with disk_faults(copy):
                shutil.copyfile(source.local(sha256), copy)
                synced(copy)
            if digest_of_file(copy) != sha256:
                return False
            target.take(copy, sha256)
        except StoreError as fault:
            if fault.code in ("file-missing", "file-damaged"):
                return False
            raise
        finally:
            copy.unlink(missing_ok=True)
    return True


def restore(store: Store, source: Path, tell: Callable[[str], None] = lambda _: None) -> Done:
    """Fills an empty store from a backup: the newest of a target, or the one that is named.

    The files come first, then all rows at once. Works while servers and workers run on the empty store. Raises
    InputError when the store is not empty or there is no backup, StoreError when the backup is damaged.
    """
    folders = [source] if (source / INDEX).is_file() else folders_of(source)
    if not folders:
        raise InputError("no-backup", f"{source} holds no finished backup.", "Name a folder that jobtape backup wrote.")
    folder = folders[-1]
    index, target = index_of(folder), folder.parent
    if digest_of_file(folder / ROWS) != index.rows_sha256:
        raise StoreError("backup-damaged", f"The rows in {folder} are damaged.", "Take an older backup.")
    if index.version > HEAD:
        raise StoreError("unknown-schema", "A later version of this program made it.", "Install that version.")
    if version_of(store.database) is not None:
        with store.database.reading() as session:
            if session.scalar(select(func.count()).select_from(RecordingRow)):
                raise InputError(
                    "not-empty", "The store is not empty.", "Name an empty one with --home, or with JOBTAPE_DB."
                )
    make_folder(store.place.home)
    files, gone = FolderFiles(target / "files"), removed_there(target)["file"]
    with tempfile.TemporaryDirectory(dir=store.place.home) as name:
        named = sorted(named_in(folder / ROWS))
        copied, missing = 0, []
        for number, sha256 in enumerate(named):
            if number % 100 == 0:
                tell(f"{number} of {len(named)} files")
            if store.files.has(sha256):
                continue
            if _copy(files, store.files, sha256):
                copied += 1
            elif sha256 not in gone:
                missing.append(sha256)
        load(store.database, folder / ROWS, index.version, Path(name))
    with store.database.writing() as session:
        # Its sound was removed for good after the backup; its words were not.
        for recording in session.scalars(select(RecordingRow).where(RecordingRow.sha256.in_(gone))):
            recording.kept, recording.peaks, recording.playable = False, None, None
        note(session, "the command line", "restore", detail=folder.name)
    for own in OWN:
        if (folder / own).is_file() and not (store.place.home / own).exists():
            write_whole(store.place.home / own, (folder / own).read_bytes())
    say("restored", backup=folder.name, count=len(named))
    return Done(folder, sum(index.rows.values()), len(named), copied, tuple(missing))
