"""Loads and checks the trade vocabulary; each file is read once."""

from __future__ import annotations

import hashlib
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from extractors.errors import AuthoringError

FOLDER = Path(__file__).parent


@cache
def load_table(name: str) -> dict[str, Any]:
    """The table in NAME.toml. Raises AuthoringError with the file's name where it is not TOML."""
    path = FOLDER / f"{name}.toml"
    try:
        with path.open("rb") as file:
            return tomllib.load(file)
    except FileNotFoundError as error:
        raise AuthoringError(
            "lexicon-missing", f"The trade-word file {path.name} is missing.", "Install jobtape again."
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise AuthoringError(
            "lexicon-unreadable",
            f"The trade-word file {path.name} cannot be read: {error}.",
            "Correct that line and run again.",
        ) from error


@cache
def digest() -> str:
    """SHA-256 over all trade-word files, in order of their names; it changes when a word does."""
    total = hashlib.sha256()
    for path in sorted(FOLDER.glob("*.toml")):
        total.update(path.name.encode())
        total.update(path.read_bytes())
    return total.hexdigest()
