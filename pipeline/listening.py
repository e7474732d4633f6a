"""Speech to timed text alone, for `jobtape hear`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from extractors.facts import Segment
from pipeline.hear import HearSettings, Progress, hear
from pipeline.ingest import survey
from pipeline.keep import Keep
from pipeline.settings import Settings


def timed_text(path: Path, settings: Settings, progress: Progress) -> str:
    """What is said, a line a segment, as `[m:ss] words`: the form that `jobtape draft` reads as a text.

    Raises InputError when the source cannot be read or nobody speaks in it, SetupError when the model is missing.
    Pieces are kept, for going on after an interruption, only where JOBTAPE_WORK names a folder.
    """
    source = survey([path])[0]
    wanted = HearSettings(model=settings.model, hearing=settings.hearing, threads=settings.threads)
    with tempfile.TemporaryDirectory() as passing:
        heard = hear(source, wanted, progress, keep=Keep(settings.work or Path(passing)))
    return "\n".join(_line(segment) for segment in heard.transcript.segments)


def _line(segment: Segment) -> str:
    """One segment; text without times stays without."""
    if segment.start is None:
        return segment.text
    minutes, seconds = divmod(int(segment.start), 60)
    hours, minutes = divmod(minutes, 60)
    time = f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"
    return f"[{time}] {segment.text.strip()}"
