"""What decides a result besides its input: the program's version, its own files, the trade data."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from importlib import metadata
from pathlib import Path

from pipeline.keep import digest_of
from pipeline.render.places import template_folder

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
KINDS = frozenset(
    {".py", ".toml", ".j2", ".typ", ".csv", ".json", ".docx", ".css", ".js", ".svg", ".ttf", ".otf", ".npz"}
)


def program() -> str:
    """The program's version number."""
    return metadata.version("jobtape")


def _files(folders: Iterable[Path]) -> list[Path]:
    """The files of the program under the folders, in one order on every machine."""
    return sorted(
        path
        for folder in folders
        for path in folder.rglob("*")
        if path.suffix in KINDS and "__pycache__" not in path.parts
    )


def _digest(folders: Iterable[Path], kinds: frozenset[str]) -> str:
    parts: list[str | bytes] = []
    for path in _files(folders):
        if path.suffix in kinds:
            parts += [path.name, path.read_bytes()]
    return digest_of(*parts)[:16]


@cache
def whole() -> str:
    """A short hash over every file of the program that decides what a job's folder holds."""
    return _digest((ROOT / "extractors", HERE, template_folder()), KINDS)


@cache
def reading() -> str:
    """A short hash over the files that decide which facts are found in a transcript."""
    return _digest((ROOT / "extractors",), KINDS)


@cache
def trade_data() -> str:
    """A short hash over trade words, limits and tables: the data that a technician can correct."""
    return _digest((ROOT / "extractors", HERE / "checks"), frozenset({".toml", ".csv"}))
