"""Files that survive: written whole or not at all, results kept under the hash of what made them."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from pipeline.errors import SetupError, StoreError

CHUNK = 1 << 20


def digest_of(*parts: str | bytes) -> str:
    """A sha256 over all parts in order; ("ab", "c") and ("a", "bc") differ."""
    total = hashlib.sha256()
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        total.update(len(data).to_bytes(8, "big"))
        total.update(data)
    return total.hexdigest()


def digest_of_bytes(data: bytes) -> str:
    """The sha256 of plain bytes, the same that `digest_of_file` gives for a file of them."""
    return hashlib.sha256(data).hexdigest()


def digest_of_file(path: Path) -> str:
    """The sha256 of a file's bytes, read in pieces. Raises OSError when it cannot be read."""
    total = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(CHUNK):
            total.update(piece)
    return total.hexdigest()


@contextlib.contextmanager
def disk_faults(path: Path) -> Iterator[None]:
    """Turns what a disk can answer while `path` is written into one sentence for the user."""
    try:
        yield
    except OSError as fault:
        if fault.errno in (errno.ENOSPC, errno.EDQUOT):
            raise SetupError(
                "no-space",
                f"The disk is full: {path} could not be written.",
                "Free some space and give the same command again; what was finished is kept.",
            ) from fault
        if fault.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            raise SetupError(
                "not-writable", f"{path} cannot be written.", "Choose another folder or change its rights."
            ) from fault
        if fault.errno == errno.ENAMETOOLONG:
            raise SetupError(
                "not-writable",
                f"The name of {path.name[:40]}… is too long.",
                "Give the source a shorter name.",
            ) from fault
        raise


def make_folder(folder: Path) -> None:
    """Makes the folder and its parents. Raises SetupError when a file is in the way or it may not be made."""
    try:
        with disk_faults(folder):
            folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as fault:
        raise SetupError(
            "not-a-folder",
            f"{folder} is a file, or lies in one.",
            "Name a folder that is not there yet, or an old one.",
        ) from fault


def sync_folder(folder: Path) -> None:
    """Makes renames in the folder survive a power cut; Windows cannot open a folder for that."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_whole(path: Path, data: bytes) -> None:
    """Writes the file so that after any interruption either the old or the new content is there, whole.

    Raises SetupError when the disk is full or the folder may not be written.
    """
    with disk_faults(path):
        handle, temporary = tempfile.mkstemp(prefix=".writing-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(temporary).chmod(0o666 & ~_mask())
            Path(temporary).replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
            raise
        sync_folder(path.parent)


def _mask() -> int:
    """The process's mask for new files; asking for it means setting it and putting it back."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


class Keep:
    """Results of stages in a folder, each under the hash of its input and its version.

    A result that is there was written whole; a damaged one (its own hash no longer fits) counts as absent.
    """

    def __init__(self, folder: Path) -> None:
        """Takes the work folder; nothing is made in it before something is kept."""
        self.folder = folder

    def path(self, stage: str, key: str) -> Path:
        """Where the result of this stage for this key is kept."""
        return self.folder / "kept" / stage / f"{key}.json"

    def get(self, stage: str, key: str) -> str | None:
        """The kept result, or None when there is none that can be trusted."""
        try:
            text = self.path(stage, key).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return None
        mark, _, body = text.partition("\n")
        return body if mark == digest_of(body) else None

    def put(self, stage: str, key: str, body: str) -> None:
        """Keeps a result; a second time is harmless. Raises SetupError when the disk refuses."""
        path = self.path(stage, key)
        make_folder(path.parent)
        write_whole(path, f"{digest_of(body)}\n{body}".encode())


@contextlib.contextmanager
def only_call(work: Path) -> Iterator[None]:
    """Holds the work folder for this process; the system lets go of it whatever way the process ends.

    Raises StoreError when another call holds it.
    """
    make_folder(work)
    path = work / "in-use"
    with disk_faults(path):
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        try:
            _lock(handle)
        except OSError as fault:
            raise StoreError(
                "store-locked",
                f"Another jobtape call is working in {work.parent}.",
                "Wait until it has ended, or name another folder with --out.",
            ) from fault
        yield
    finally:
        os.close(handle)


if os.name == "nt":
    import msvcrt

    def _lock(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
