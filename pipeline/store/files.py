"""Recordings, drafts and papers as files under the hash of their content: in a folder, or in S3-compatible storage."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from pipeline.errors import SetupError, StoreError
from pipeline.keep import digest_of_file, disk_faults, make_folder, sync_folder

if TYPE_CHECKING:
    from obstore.store import ObjectStore

KEEP_FREE = 256 << 20
"""Bytes that uploads leave free on the disk, so that drafts, edits and the database can still be written."""
FETCHED_KEPT_S = 24 * 3600


class Files(Protocol):
    """Bytes by the sha256 of their content, lower-case hex. What `put` or `take` answered is there for good."""

    def put(self, data: bytes) -> str:
        """Keeps the bytes and gives their hash; a second time is harmless."""
        ...

    def take(self, path: Path, sha256: str) -> None:
        """Keeps a finished file of this machine and removes it from where it was."""
        ...

    def get(self, sha256: str) -> bytes:
        """The bytes. Raises StoreError when they are missing or damaged."""
        ...

    def local(self, sha256: str) -> Path:
        """A file of this machine with these bytes; it is not to be written to. Raises StoreError when missing."""
        ...

    def has(self, sha256: str) -> bool:
        """Whether it is there."""
        ...

    def digest(self, sha256: str) -> str | None:
        """The hash of what lies there under this name, read back from where it is kept; None when nothing does."""
        ...

    def remove(self, sha256: str) -> None:
        """Removes it for good; it is no error when it is not there."""
        ...

    def keys(self) -> Iterator[str]:
        """All hashes that are there."""
        ...

    def older(self, seconds: float) -> Iterator[str]:
        """Those that were last put or taken longer ago than that."""
        ...


def missing(sha256: str) -> StoreError:
    """The error for a file that is not where it should be."""
    return StoreError(
        "file-missing",
        f"A file of this job (sha256 {sha256[:12]}…) is no longer in the store.",
        "Put it back from a backup; what was written about the job is still here.",
    )


def open_files(address: str, cache: Path) -> Files:
    """The files at a folder or an `s3://bucket/prefix` address; `cache` holds what was fetched from there."""
    if address.startswith("s3://"):
        return ObjectFiles(address, cache)
    return FolderFiles(Path(address))


def _is_key(sha256: str) -> bool:
    return len(sha256) == 64 and all(letter in "0123456789abcdef" for letter in sha256)


class FolderFiles:
    """Files in a folder of this machine or on a share, two levels deep."""

    def __init__(self, folder: Path) -> None:
        """Makes the folder when the first file comes."""
        self.folder = folder

    def _path(self, sha256: str) -> Path:
        if not _is_key(sha256):
            raise missing(sha256)
        return self.folder / sha256[:2] / sha256

    def put(self, data: bytes) -> str:
        """See Files."""
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._path(sha256)
        if path.exists():
            # It may be about to be swept: from now on it counts as new.
            os.utime(path)
        else:
            make_folder(path.parent)
            with disk_faults(path):
                handle, name = tempfile.mkstemp(prefix=".writing-", dir=path.parent)
                try:
                    with os.fdopen(handle, "wb") as file:
                        file.write(data)
                        file.flush()
                        os.fsync(file.fileno())
                    Path(name).replace(path)
                except BaseException:
                    with contextlib.suppress(OSError):
                        Path(name).unlink()
                    raise
            sync_folder(path.parent)
        return sha256

    def take(self, path: Path, sha256: str) -> None:
        """See Files. The file's bytes are on disk before it gets its name here."""
        target = self._path(sha256)
        make_folder(target.parent)
        with disk_faults(target):
            if target.exists():
                os.utime(target)
                path.unlink()
                return
            try:
                path.replace(target)
            except OSError:
                # The folder lies on another disk than the uploads.
                handle, name = tempfile.mkstemp(prefix=".writing-", dir=target.parent)
                with os.fdopen(handle, "wb") as file, path.open("rb") as source:
                    shutil.copyfileobj(source, file, 1 << 20)
                    file.flush()
                    os.fsync(file.fileno())
                Path(name).replace(target)
                path.unlink()
        sync_folder(target.parent)

    def get(self, sha256: str) -> bytes:
        """See Files."""
        path = self.local(sha256)
        data = path.read_bytes()
        if hashlib.sha256(data).hexdigest() != sha256:
            raise StoreError(
                "file-damaged",
                f"A file of this job (sha256 {sha256[:12]}…) is damaged.",
                "Put it back from a backup.",
            )
        return data

    def local(self, sha256: str) -> Path:
        """See Files."""
        path = self._path(sha256)
        if not path.is_file():
            raise missing(sha256)
        return path

    def has(self, sha256: str) -> bool:
        """See Files."""
        return _is_key(sha256) and self._path(sha256).is_file()

    def digest(self, sha256: str) -> str | None:
        """See Files."""
        try:
            return digest_of_file(self._path(sha256))
        except FileNotFoundError:
            return None

    def remove(self, sha256: str) -> None:
        """See Files."""
        self._path(sha256).unlink(missing_ok=True)

    def keys(self) -> Iterator[str]:
        """See Files."""
        for path in sorted(self.folder.glob("??/*")):
            if _is_key(path.name):
                yield path.name

    def older(self, seconds: float) -> Iterator[str]:
        """See Files. By when it was put here, not by the file's own time, which is a phone's."""
        before = time.time() - seconds
        for sha256 in self.keys():
            with contextlib.suppress(FileNotFoundError):
                if self._path(sha256).stat().st_ctime < before:
                    yield sha256


@contextlib.contextmanager
def _reached() -> Iterator[None]:
    """Turns what a storage can answer into one sentence; what is not there is FileNotFoundError, as on a disk."""
    from obstore.exceptions import BaseError

    try:
        yield
    except BaseError as fault:
        raise StoreError(
            "files-away", "The storage of the files cannot be reached just now.", "Wait a moment and do it again."
        ) from fault


class ObjectFiles:
    """Files in S3-compatible storage; address, keys and region come from the usual AWS_ variables."""

    def __init__(self, address: str, cache: Path) -> None:
        """Opens the bucket. Raises SetupError when the package for it is not installed."""
        try:
            from obstore.store import S3Store
        except ImportError as fault:
            raise SetupError(
                "not-installed",
                "Storage at an s3:// address needs a package that is not installed.",
                "Install it with: pip install 'jobtape[shop]'",
            ) from fault
        plain = os.environ.get("AWS_ENDPOINT_URL", "").startswith("http://")
        self.store: ObjectStore = S3Store.from_url(
            address,
            client_options={"allow_http": plain, "connect_timeout": "10s", "timeout": "120s"},
            retry_config={"max_retries": 3, "retry_timeout": timedelta(seconds=30)},
        )
        self.cache = FolderFiles(cache)

    def _name(self, sha256: str) -> str:
        if not _is_key(sha256):
            raise missing(sha256)
        return f"{sha256[:2]}/{sha256}"

    def put(self, data: bytes) -> str:
        """See Files."""
        import obstore

        sha256 = hashlib.sha256(data).hexdigest()
        with _reached():
            obstore.put(self.store, self._name(sha256), data)
        return sha256

    def take(self, path: Path, sha256: str) -> None:
        """See Files."""
        import obstore

        with path.open("rb") as file, _reached():
            obstore.put(self.store, self._name(sha256), file)
        path.unlink()

    def get(self, sha256: str) -> bytes:
        """See Files."""
        return self.local(sha256).read_bytes()

    def local(self, sha256: str) -> Path:
        """See Files. Fetched once and kept in the cache, where it may be removed at any time."""
        import obstore

        if self.cache.has(sha256):
            return self.cache.local(sha256)
        make_folder(self.cache.folder)
        handle, name = tempfile.mkstemp(prefix=".fetching-", dir=self.cache.folder)
        path = Path(name)
        try:
            with disk_faults(path), os.fdopen(handle, "wb") as file, _reached():
                try:
                    result = obstore.get(self.store, self._name(sha256))
                except FileNotFoundError as fault:
                    raise missing(sha256) from fault
                for piece in result.stream():
                    file.write(piece)
            if digest_of_file(path) != sha256:
                raise StoreError(
                    "file-damaged",
                    f"A file of this job (sha256 {sha256[:12]}…) is damaged in the storage.",
                    "Put it back from a backup.",
                )
            self.cache.take(path, sha256)
        finally:
            path.unlink(missing_ok=True)
        return self.cache.local(sha256)

    def has(self, sha256: str) -> bool:
        """See Files."""
        import obstore

        try:
            with _reached():
                obstore.head(self.store, self._name(sha256))
        except FileNotFoundError:
            return False
        return True

    def digest(self, sha256: str) -> str | None:
        """See Files. What was fetched before does not count."""
        import obstore

        total = hashlib.sha256()
        try:
            with _reached():
                for piece in obstore.get(self.store, self._name(sha256)).stream():
                    total.update(piece)
        except FileNotFoundError:
            return None
        return total.hexdigest()

    def remove(self, sha256: str) -> None:
        """See Files."""
        import obstore

        with contextlib.suppress(FileNotFoundError), _reached():
            obstore.delete(self.store, self._name(sha256))
        self.cache.remove(sha256)

    def keys(self) -> Iterator[str]:
        """See Files."""
        return (name for name, _ in self._listed())

    def older(self, seconds: float) -> Iterator[str]:
        """See Files."""
        before = datetime.now(UTC) - timedelta(seconds=seconds)
        return (name for name, at in self._listed() if at < before)

    def _listed(self) -> Iterator[tuple[str, datetime]]:
        import obstore

        with _reached():
            for batch in obstore.list(self.store):
                for entry in batch:
                    name = entry["path"].rsplit("/", 1)[-1]
                    if _is_key(name):
                        yield name, entry["last_modified"]

    def sweep(self) -> None:
        """Removes from this machine what was fetched a day ago or longer: the storage has it, or it was removed."""
        oldest = time.time() - FETCHED_KEPT_S
        for path in self.cache.folder.glob("??/*"):
            with contextlib.suppress(OSError):
                if path.stat().st_mtime < oldest:
                    path.unlink()


def free_bytes(folder: Path) -> int:
    """Free space on the disk of a folder that may not exist yet."""
    while not folder.exists():
        folder = folder.parent
    return shutil.disk_usage(folder).free
