"""What the user gave: files and folders turned into a list of sources, each checked and named."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pipeline.errors import InputError
from pipeline.keep import digest_of_file

TEXTS = frozenset({".txt", ".srt", ".vtt"})
SOUNDS = frozenset(
    {
        ".3ga", ".3gp", ".3gpp", ".aac", ".aif", ".aiff", ".amr", ".caf", ".flac", ".m4a", ".m4b", ".m4v", ".mka",
        ".mkv", ".mov", ".mp3", ".mp4", ".oga", ".ogg", ".opus", ".wav", ".weba", ".webm", ".wma",
    }
)  # fmt: skip
SAID = ".said"

# 2026-03-14 09.26.53, 20260314_092653, 2026.03.14 front: year, month, day, then perhaps a time of day.
DATE_IN_NAME = re.compile(
    r"(?<!\d)(20\d\d)([-._]?)(0[1-9]|1[0-2])\2(0[1-9]|[12]\d|3[01])"
    r"(?:[-_ T.]{0,3}([01]\d|2[0-3])[-._:h]?([0-5]\d)(?:[-._:m]?([0-5]\d))?)?(?!\d)"
)


@dataclass(frozen=True)
class Source:
    """One file the user gave. `fault` says why it cannot be used; the other fields then hold what is known."""

    path: Path
    name: str
    """The file's name without its known extensions: what a job made of it is called."""
    kind: Literal["sound", "text"]
    sha256: str = ""
    declared_s: float | None = None
    """Length in seconds as the file's header states it; null for texts and where no header says it."""
    recorded_at: str | None = None
    """ISO 8601."""
    recorded_at_from: Literal["metadata", "file name", "file time"] | None = None
    fault: InputError | None = None


def survey(paths: Iterable[Path]) -> list[Source]:
    """The sources in the given files and folders, in the order given; in a folder by name, numbers by size.

    Never raises for a bad file: its source carries the `fault`, so that the others are still done. A file that is
    given twice is one source. Raises InputError when there is nothing at all to do.
    """
    sources: list[Source] = []
    seen: set[Path] = set()
    for path in paths:
        for file in _files(path):
            if file.resolve() not in seen:
                seen.add(file.resolve())
                sources.append(_source(file))
    if not sources:
        raise InputError("no-sources", "No recording and no text was given.", "Name at least one file or folder.")
    return sources


def job_name(path: Path) -> str:
    """The file's name without known extensions: `front-cooler.said.txt` gives `front-cooler`."""
    name = path.name
    while (suffix := Path(name).suffix.lower()) in TEXTS | SOUNDS or suffix == SAID:
        shorter = name[: -len(suffix)]
        if not shorter.strip(". "):
            break
        name = shorter
    return name


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    found = [
        file
        for file in path.iterdir()
        if file.is_file() and not file.name.startswith(".") and file.suffix.lower() in TEXTS | SOUNDS
    ]
    if not found:
        raise InputError(
            "no-sources",
            f"There is no recording and no text in the folder {path.name or path}.",
            "Name a folder with sound files (m4a, mp3, wav, …) or texts (txt, srt, vtt) in it.",
        )
    return sorted(found, key=_natural)


def _natural(path: Path) -> list[tuple[int, int, str]]:
    """Memo 2 before memo 10."""
    parts = re.split(r"(\d+)", path.name.lower())
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts]


def _source(path: Path) -> Source:
    from pipeline import decode

    kind: Literal["sound", "text"] = "text" if path.suffix.lower() in TEXTS else "sound"
    name = job_name(path)
    try:
        if not path.exists():
            raise InputError("not-found", f"{path} is not there.", "Check the name and the folder.")
        if not path.is_file():
            raise InputError("not-found", f"{path} is no file.", "Name a recording, a text or a folder.")
        digest = digest_of_file(path)
        sound = decode.probe(path) if kind == "sound" else decode.SoundFile(None, None)
        recorded_at, recorded_from = _recorded(path, sound.recorded_at)
    except InputError as fault:
        return Source(path, name, kind, fault=fault)
    except OSError as fault:
        why = "it may not be read by this user" if isinstance(fault, PermissionError) else fault.strerror or "?"
        return Source(
            path,
            name,
            kind,
            fault=InputError("unreadable", f"{path.name} cannot be read: {why}.", "Check the file and its rights."),
        )
    return Source(path, name, kind, digest, sound.declared_s, recorded_at, recorded_from)


def _recorded(
    path: Path, metadata: str | None
) -> tuple[str | None, Literal["metadata", "file name", "file time"] | None]:
    """When it was recorded and how that is known: the file's own word, its name, or its time on the disk."""
    if metadata:
        try:
            said = datetime.datetime.fromisoformat(metadata)
        except ValueError:
            said = None
        # Recorders without a set clock write the start of their own calendar (1904, 1970).
        if said is not None and said.year >= 2000:
            return said.isoformat(timespec="seconds"), "metadata"
    if found := DATE_IN_NAME.search(path.stem):
        year, _, month, day, hour, minute, second = found.groups()
        try:
            date = datetime.date(int(year), int(month), int(day))
        except ValueError:
            date = None
        if date is not None:
            if hour is None:
                return date.isoformat(), "file name"
            time = datetime.time(int(hour), int(minute), int(second or 0))
            return datetime.datetime.combine(date, time).isoformat(timespec="seconds"), "file name"
    changed = datetime.datetime.fromtimestamp(path.stat().st_mtime).astimezone()
    return changed.isoformat(timespec="seconds"), "file time"
