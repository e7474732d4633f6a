"""Every setting: its name, the variable that sets it, its default, and what it does."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from pipeline.errors import InputError


@dataclass(frozen=True)
class Setting:
    """One row of the table of settings, as the README shows it."""

    name: str
    variable: str
    default: str
    help: str


SETTINGS = (
    Setting(
        "model",
        "JOBTAPE_MODEL",
        "the packaged Whisper base",
        "a folder with another speech model (CTranslate2 form), or `tiny.en` for the small packaged one",
    ),
    Setting(
        "hearing",
        "JOBTAPE_HEARING",
        "careful",
        "`careful` hears every recording twice with different models and compares the figures; "
        "`quick` hears once, and more figures ask for a second listen",
    ),
    Setting("threads", "JOBTAPE_THREADS", "as many as there are cores", "processor threads used for hearing"),
    Setting(
        "shop",
        "JOBTAPE_SHOP",
        "`shop.toml` beside the sources, if there is one",
        "the file with the shop's name, paper size, units and own limits",
    ),
    Setting(
        "work",
        "JOBTAPE_WORK",
        "`.jobtape` in the folder given with --out",
        "folder for kept results, so that an interrupted run goes on",
    ),
    Setting(
        "cache",
        "JOBTAPE_CACHE",
        "the user's cache folder",
        "folder for what can be made again at any time: the joined speech model and its digest",
    ),
    Setting("home", "JOBTAPE_HOME", "the user's data folder", "folder of the store, for what was uploaded and edited"),
    Setting("database", "JOBTAPE_DB", "an SQLite file in the home folder", "`sqlite:///FILE` or `postgresql://…`"),
    Setting("files", "JOBTAPE_FILES", "a folder in the home folder", "where recordings and papers of the store lie"),
    Setting("recordings", "JOBTAPE_RECORDINGS", "90", "days that recordings of checked jobs are kept, or `always`"),
    Setting("papers", "JOBTAPE_PAPERS", "7", "years that jobs with their papers are kept, or `always`"),
    Setting("log", "JOBTAPE_LOG", "none", "`-` or a file for the log: JSON lines, without a word of what was said"),
    Setting("oidc", "JOBTAPE_OIDC", "none", "https address of a service by which people sign in (OpenID Connect)"),
    Setting("oidc_client", "JOBTAPE_OIDC_CLIENT", "none", "the name by which that service knows this program"),
    Setting("oidc_secret", "JOBTAPE_OIDC_SECRET", "none", "the secret that belongs to that name"),
    Setting("metrics", "JOBTAPE_METRICS", "none: this machine only", "what another machine must say to see `/metrics`"),
)


@dataclass(frozen=True)
class Settings:
    """The settings of one call. `threads` 0 means as many as there are cores, a time of keeping None for ever."""

    model: str = ""
    hearing: Literal["careful", "quick"] = "careful"
    threads: int = 0
    shop: Path | None = None
    work: Path | None = None
    recording_days: int | None = 90
    paper_years: int | None = 7
    log: str = ""
    metrics: str = ""
    oidc: str = ""
    oidc_client: str = ""
    oidc_secret: str = ""

    def with_work(self, folder: Path) -> Settings:
        """The same settings with `folder` for kept results, unless a folder was set already."""
        return self if self.work is not None else replace(self, work=folder)


def hearing_named(text: str) -> Literal["careful", "quick"]:
    """The kind of hearing of this name. Raises InputError for any other word."""
    if text == "careful":
        return "careful"
    if text == "quick":
        return "quick"
    raise InputError("unknown-setting", f"Hearing {text!r} is not known.", "Use careful or quick.")


def _kept(said: str, usual: int, variable: str) -> int | None:
    """A time of keeping; None for always. Raises InputError for a slip, which must not remove anything."""
    if said == "always":
        return None
    if not said:
        return usual
    if said.isascii() and said.isdigit() and int(said) > 0:
        return int(said)
    raise InputError("unknown-setting", f"{variable} is {said!r}.", "Give a whole number above 0, or: always")


def read_settings(
    environ: Mapping[str, str] = os.environ,
    *,
    model: str | None = None,
    hearing: str | None = None,
    shop: Path | None = None,
) -> Settings:
    """The settings of this call: what the command line gave, else the environment, else the default.

    Raises InputError for a value that cannot be meant.
    """
    said = {row.name: environ.get(row.variable, "").strip() for row in SETTINGS}
    threads = said["threads"] or "0"
    if not (threads.isascii() and threads.isdigit()):
        raise InputError(
            "unknown-setting",
            f"JOBTAPE_THREADS is {threads!r}, which is not a number.",
            "Give a whole number, or leave it unset.",
        )
    shop = shop or (Path(said["shop"]) if said["shop"] else None)
    return Settings(
        model=model or said["model"],
        hearing=hearing_named(hearing or said["hearing"] or "careful"),
        threads=int(threads),
        shop=shop,
        work=Path(said["work"]) if said["work"] else None,
        recording_days=_kept(said["recordings"], 90, "JOBTAPE_RECORDINGS"),
        paper_years=_kept(said["papers"], 7, "JOBTAPE_PAPERS"),
        log=said["log"],
        metrics=said["metrics"],
        oidc=said["oidc"],
        oidc_client=said["oidc_client"],
        oidc_secret=said["oidc_secret"],
    )
