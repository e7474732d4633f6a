"""Reads the whole store back: every file that a row names, against its digest; and the database's own checks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import text

from pipeline.store.named import is_named, named_files
from pipeline.store.store import Store


@dataclass(frozen=True)
class Fault:
    """A file that is not what it should be, and the row that names it."""

    kind: Literal["missing", "damaged", "database"]
    what: str

    def __str__(self) -> str:
        """As one line."""
        return f"{self.kind}: {self.what}"


@dataclass(frozen=True)
class Verified:
    """How many files were read, and what is wrong. `strays` are files that no row names: harmless, and no loss."""

    files: int
    faults: tuple[Fault, ...]
    strays: int


def verify(store: Store, tell: Callable[[str], None] = lambda _: None) -> Verified:
    """Checks everything, also while the store is in use. `tell` is given each fault as it is found."""
    faults: list[Fault] = []

    def found(fault: Fault) -> None:
        faults.append(fault)
        tell(str(fault))

    with store.database.reading() as session:
        named: dict[str, str] = {}
        for sha256, owner in named_files(session):
            named.setdefault(sha256, owner)
        if store.database.sqlite:
            for (said,) in session.execute(text("PRAGMA integrity_check")):
                if said != "ok":
                    found(Fault("database", str(said)))
    for sha256, owner in sorted(named.items()):
        digest = store.files.digest(sha256)
        if digest == sha256:
            continue
        with store.database.reading() as session:
            # Removed meanwhile by somebody who may do that.
            if not is_named(session, sha256):
                continue
        found(Fault("missing" if digest is None else "damaged", f"{owner}, sha256 {sha256}"))
    strays = sum(1 for sha256 in store.files.keys() if sha256 not in named)  # noqa: SIM118
    return Verified(len(named), tuple(faults), strays)
