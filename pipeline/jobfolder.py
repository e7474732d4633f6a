"""One folder a job: how it is named, whose it is, and how its files are put there without losing older ones."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from pipeline.draft import Draft, load
from pipeline.errors import InputError
from pipeline.keep import digest_of, digest_of_bytes, digest_of_file, disk_faults, make_folder, sync_folder, write_whole

DRAFT = "draft.json"
EDITS = "edits.json"
WORK = ".jobtape"


def folder_name(name: str) -> str:
    """A source's name as the name of a folder: never hidden, never `..`, never empty."""
    return name.strip().lstrip(".").rstrip(". ") or "job"


class Owner(BaseModel):
    """Whose a job folder is, and what was written there: file name -> sha256."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    sources: tuple[str, ...]
    """The sources' paths, the first one names the job."""
    ordinal: int = 1
    """Which job of its first source."""
    files: dict[str, str] = {}
    coming: dict[str, str] = {}
    """What is just being put in their places; empty when that was finished."""
    edits: str = ""
    """The hash of a person's edits that the papers were made with."""
    call: str = ""
    """The hash of the call that wrote it last."""


class Call(BaseModel):
    """What an earlier call came to: its jobs, and the sources that could not be used with the reasons."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    jobs: tuple[str, ...] = ()
    faults: tuple[tuple[str, str, str, str], ...] = ()
    """Source, code, message and hint of each."""
    notes: tuple[str, ...] = ()


class Ledger(BaseModel):
    """What earlier calls wrote into this output folder: jobs by name, calls by the hash of all that decides them."""

    model_config = ConfigDict(extra="forbid")

    jobs: dict[str, Owner] = {}
    calls: dict[str, Call] = {}


@dataclass(frozen=True)
class OutFolder:
    """The folder given with --out."""

    path: Path

    @property
    def work(self) -> Path:
        """Where kept results and the ledger live."""
        return self.path / WORK

    def ledger(self) -> Ledger:
        """What earlier calls wrote; empty when there is none that can be read (the drafts then tell)."""
        try:
            return Ledger.model_validate_json((self.work / "ledger.json").read_text(encoding="utf-8"))
        except (OSError, ValidationError, UnicodeDecodeError):
            return Ledger()

    def keep_ledger(self, ledger: Ledger) -> None:
        """Writes the ledger whole."""
        make_folder(self.work)
        write_whole(self.work / "ledger.json", (json.dumps(ledger.model_dump(), indent=1) + "\n").encode())

    def draft(self, name: str) -> Draft | None:
        """The draft of the job of this name, or None when there is none that can be read."""
        try:
            return load((self.path / name / DRAFT).read_text(encoding="utf-8"))
        except (OSError, ValidationError, UnicodeDecodeError):
            return None

    def stands(self, name: str, owner: Owner | None, call: str) -> bool:
        """Whether all files that this call wrote are there (a person may have changed them), with his latest edits."""
        folder = self.path / name
        return (
            owner is not None
            and owner.call == call
            and not owner.coming
            and all((folder / file).is_file() for file in owner.files)
            and owner.edits == edits_digest(folder)
        )

    def name_for(
        self, base: str, source: Path, digest: str, ordinal: int, ledger: Ledger, taken: Collection[str]
    ) -> str:
        """The folder name for the job that is number `ordinal` of its first source; `base` is that source's name.

        A folder of the same source keeps its name; a name that belongs to another source is passed over:
        `front`, `front_b`, `front_c`, and with several jobs in one source `front`, `front-2`, `front-3`.
        """
        base = folder_name(base)
        tail = "" if ordinal == 1 else f"-{ordinal}"
        # Two names that differ in case alone are one folder on many disks.
        used = {name.casefold() for name in taken}
        for number in range(702):
            name = f"{base}{_suffix(number)}{tail}"
            if name.casefold() not in used and self._belongs(name, source, digest, ordinal, ledger):
                return name
        raise InputError("too-many-names", f"{self.path} holds hundreds of jobs named {base}.", "Name another folder.")

    def _belongs(self, name: str, source: Path, digest: str, ordinal: int, ledger: Ledger) -> bool:
        """Whether a job may be written under this name: it is free, or was made from the same source."""
        folder = self.path / name
        if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
            return True
        owner = ledger.jobs.get(name)
        if owner is not None:
            return owner.sources[0] == str(source.resolve()) and owner.ordinal == ordinal
        draft = self.draft(name)
        return draft is not None and bool(draft.recordings) and draft.recordings[0].sha256 == digest

    def write(self, name: str, files: Mapping[str, bytes], owner: Owner, ledger: Ledger) -> None:
        """Puts the files of a job into its folder, and into the ledger whose they are.

        All are first written whole beside it, so that a full disk or a kill leaves the old job as it was; then
        each takes its place. A paper that a person changed since it was written is put aside, never overwritten.
        """
        make_folder(self.work)
        folder = self.path / name
        waiting = Path(tempfile.mkdtemp(prefix="writing-", dir=self.work))
        try:
            for file, data in files.items():
                write_whole(waiting / file, data)
            coming = {file: digest_of_bytes(data) for file, data in files.items()}
            before = ledger.jobs.get(name)
            # A kill between here and the end is known by `coming`: the next call then makes the whole job again.
            known = before.files if before is not None else {}
            self._note(ledger, name, owner.model_copy(update={"files": known, "coming": coming}))
            make_folder(folder)
            for file in files:
                target = folder / file
                if before is not None and _changed(
                    target, {before.files.get(file), before.coming.get(file), coming[file]}
                ):
                    target.rename(_free_name(target))
                with disk_faults(target):
                    (waiting / file).replace(target)
            sync_folder(folder)
            self._note(ledger, name, owner.model_copy(update={"files": coming}))
        finally:
            shutil.rmtree(waiting, ignore_errors=True)

    def _note(self, ledger: Ledger, name: str, owner: Owner) -> None:
        """Keeps the ledger with this job's entry."""
        ledger.jobs[name] = owner
        self.keep_ledger(ledger)

    def sweep(self) -> None:
        """Removes half-written files that a killed call left in the work folder."""
        for left in self.work.glob("writing-*"):
            shutil.rmtree(left, ignore_errors=True)


def _suffix(number: int) -> str:
    """Nothing, then `_b` to `_z`, then `_27` and on."""
    if number == 0:
        return ""
    return f"_{chr(ord('a') + number)}" if number < 26 else f"_{number + 1}"


def _changed(target: Path, ours: Collection[str | None]) -> bool:
    """Whether the file that stands there is one that we never wrote and do not write now."""
    return target.is_file() and digest_of_file(target) not in ours


def _free_name(target: Path) -> Path:
    """A name that is not taken for a file put aside: `report (yours).docx`, `report (yours 2).docx`."""
    number = 1
    while True:
        mark = "yours" if number == 1 else f"yours {number}"
        free = target.with_name(f"{target.stem} ({mark}){target.suffix}")
        if not free.exists():
            return free
        number += 1


def edits_digest(folder: Path) -> str:
    """The hash of what a person changed in this job; of nothing when there are no edits."""
    try:
        return digest_of((folder / EDITS).read_bytes())
    except OSError:
        return digest_of("")
