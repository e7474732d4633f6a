"""Where the store is: one folder of this user, or the database and the files that the settings name."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import InputError


@dataclass(frozen=True)
class StorePlace:
    """`database` is a SQLAlchemy URL, `files` a folder or an `s3://` address, `home` this machine's own folder."""

    home: Path
    database: str
    files: str

    @property
    def embedded(self) -> bool:
        """Whether everything is in files of this machine, for one process at a time."""
        return self.database.startswith("sqlite")

    @property
    def work(self) -> Path:
        """Kept results of stages; can be made again."""
        return self.home / "work"

    @property
    def uploads(self) -> Path:
        """Uploads that are on their way."""
        return self.home / "uploads"

    @property
    def words_file(self) -> Path:
        """The shop's own trade words, in a file that a person can read and correct."""
        return self.home / "words.toml"


def home_folder(environ: Mapping[str, str] = os.environ) -> Path:
    """The folder for this user's jobs; `JOBTAPE_HOME` names another."""
    if given := environ.get("JOBTAPE_HOME", "").strip():
        return Path(given).absolute()
    if sys.platform == "win32":
        root = Path(environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        root = Path.home() / "Library" / "Application Support"
    else:
        root = Path(environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return root / "jobtape"


def store_place(environ: Mapping[str, str] = os.environ, *, home: Path | None = None) -> StorePlace:
    """The place that the settings name. Raises InputError for a database of another kind."""
    folder = home.absolute() if home else home_folder(environ)
    database = environ.get("JOBTAPE_DB", "").strip() or f"sqlite:///{folder / 'jobtape.sqlite'}"
    if database.startswith(("postgresql://", "postgres://")):
        # Named with its driver, so that SQLAlchemy does not look for an older one.
        database = "postgresql+psycopg://" + database.split("://", 1)[1]
    if not database.startswith(("sqlite:///", "postgresql+psycopg://")):
        raise InputError(
            "unknown-database",
            "JOBTAPE_DB names a database of a kind that is not known here.",
            "Give sqlite:///FILE or postgresql://USER@HOST/NAME, or leave it unset.",
        )
    files = environ.get("JOBTAPE_FILES", "").strip() or str(folder / "files")
    return StorePlace(home=folder, database=database, files=files)
