"""Uploads on their way: they grow on disk, go on where they broke off, and are answered when they are safe."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import time
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pipeline.errors import InputError, SetupError
from pipeline.ingest import SOUNDS, TEXTS
from pipeline.keep import disk_faults, make_folder, sync_folder, write_whole
from pipeline.store.files import KEEP_FREE, free_bytes

LARGEST = 4 << 30
"""Bytes: three hours of uncompressed stereo sound, twice."""
LARGEST_TEXT = 4 << 20
LONGEST_NAME = 200
FORGOTTEN_AFTER_S = 7 * 24 * 3600
LARGEST_COUNT = 500
"""Uploads on their way at one time."""


@dataclass(frozen=True)
class Upload:
    """One upload on its way. `received` bytes of `size` are on disk."""

    id: str
    name: str
    size: int
    owner: str
    file_time: str | None
    received: int


class Uploads:
    """The folder of uploads on their way. Names never become paths; each has an id of ours."""

    def __init__(self, folder: Path) -> None:
        """Makes the folder when the first upload comes."""
        self.folder = folder

    def begin(self, name: str, size: int, owner: str, file_time: str | None = None) -> Upload:
        """A place for a new upload. Raises InputError for what is no recording or too large, SetupError for no room."""
        name = shown_name(name)
        suffix = Path(name).suffix.lower()
        if suffix not in SOUNDS | TEXTS:
            raise InputError(
                "unknown-file-type",
                f"{name} is neither a sound recording nor a transcript.",
                f"These can be given: {', '.join(sorted(suffix[1:] for suffix in SOUNDS | TEXTS))}.",
            )
        limit = LARGEST_TEXT if suffix in TEXTS else LARGEST
        if size > limit:
            raise too_large(name, limit)
        if size <= 0:
            raise InputError("empty-audio", f"{name} is empty (0 bytes).", "Copy it from the phone or recorder again.")
        self.sweep()
        if sum(1 for _ in self.folder.glob("*.json")) >= LARGEST_COUNT:
            raise InputError("too-many", "Too many uploads are on their way.", "Wait until some have ended.")
        if free_bytes(self.folder) < size + KEEP_FREE:
            raise SetupError(
                "no-space", f"The disk has no room for {name}.", "Free some space and send it again; nothing was lost."
            )
        upload = Upload(secrets.token_hex(16), name, size, owner, file_time, 0)
        make_folder(self.folder)
        note = {"name": name, "size": size, "owner": owner, "file_time": file_time}
        write_whole(self._note(upload.id), json.dumps(note).encode())
        self._part(upload.id).touch()
        return upload

    def find(self, upload_id: str, owner: str) -> Upload:
        """The upload of this id. Raises InputError when this person has none such."""
        try:
            note = json.loads(self._note(upload_id).read_text(encoding="utf-8"))
            received = self._part(upload_id).stat().st_size
        except (OSError, ValueError) as fault:
            raise _unknown() from fault
        if note["owner"] != owner:
            raise _unknown()
        return Upload(upload_id, note["name"], note["size"], owner, note["file_time"], received)

    def open(self, upload: Upload, offset: int) -> BinaryIO:
        """The upload's file, to be written on from `offset`. Raises InputError when something is missing before it.

        What was written beyond the offset by a connection that broke off is written over.
        """
        if not 0 <= offset <= upload.received:
            raise InputError(
                "wrong-offset",
                f"Only {upload.received} bytes of {upload.name} have arrived.",
                "Go on sending from there.",
            )
        with disk_faults(self._part(upload.id)):
            file = self._part(upload.id).open("r+b")
            file.seek(offset)
            file.truncate()
        return file

    def finish(self, upload: Upload) -> tuple[Path, str]:
        """The whole file, safe on disk, and its sha256; it is then the caller's to move away, and `drop` ends it."""
        part = self._part(upload.id)
        total = hashlib.sha256()
        with disk_faults(part), part.open("r+b") as file:
            while piece := file.read(1 << 20):
                total.update(piece)
            os.fsync(file.fileno())
        sync_folder(self.folder)
        return part, total.hexdigest()

    def drop(self, upload: Upload) -> None:
        """Forgets an upload."""
        self._part(upload.id).unlink(missing_ok=True)
        self._note(upload.id).unlink(missing_ok=True)

    def sweep(self) -> None:
        """Removes uploads that nobody went on with for a week."""
        if not self.folder.is_dir():
            return
        oldest = time.time() - FORGOTTEN_AFTER_S
        for path in self.folder.glob("*.part"):
            # Another one may just have ended and gone.
            with contextlib.suppress(FileNotFoundError):
                if path.stat().st_mtime < oldest:
                    path.unlink()
                    path.with_suffix(".json").unlink()

    def _part(self, upload_id: str) -> Path:
        return self._note(upload_id).with_suffix(".part")

    def _note(self, upload_id: str) -> Path:
        if not upload_id.isalnum() or not upload_id.isascii():
            raise _unknown()
        return self.folder / f"{upload_id}.json"


def shown_name(name: str) -> str:
    """The name to show for an uploaded file: its last part, printable, of bearable length; never used as a path."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    clean = "".join(letter if letter.isprintable() else "_" for letter in last).strip(" .")
    if len(clean) > LONGEST_NAME:
        suffix = Path(clean).suffix[:12]
        clean = clean[: LONGEST_NAME - len(suffix)] + suffix
    return clean or "recording"


def too_large(name: str, limit: int) -> InputError:
    """The error for an upload over the limit."""
    return InputError(
        "too-large",
        f"{name} is larger than {limit >> 20} MB.",
        "Save it as M4A or Opus, or cut it in two, and send it again.",
    )


def _unknown() -> InputError:
    return InputError("no-such-upload", "That upload is not known any more.", "Begin it again.")
