"""The stage that turns a source into timed text: in windows, each kept when it is done, resumable at any point."""

from __future__ import annotations

import json
import statistics
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal, Protocol

from pydantic import Field

from extractors.facts import Frozen, Segment, Transcript, Word
from pipeline.draft import Problem, Stretch
from pipeline.errors import InputError
from pipeline.ingest import Source
from pipeline.keep import Keep, digest_of
from pipeline.speech_models import SpeechModel, find_model, find_witness

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pipeline.voice import Window
    from pipeline.whisper import HeardPassage

    Samples = NDArray[np.float32]

VERSION = "hear/9"
"""Changes whenever the same sound may give another transcript, so that kept pieces of before are not used."""

SILENT_PEAK = 1e-3
SURELY_SPEECH = 0.6
SHORTEST_UNHEARD_S = 1.5
NEAR_WORD_S = 0.6

# Median log probability of a recording whose figures were nearly all right, and of one where all was lost.
CLEAR, LOST = -0.25, -1.0

Progress = Callable[[float, float], None]
"""Told the seconds done and the seconds in all."""


class HearSettings(Frozen):
    """What decides how a recording is heard, apart from `threads`, which decides only how fast."""

    model: str = ""
    """"" for the packaged Whisper base, `tiny.en` for the small one, or a folder with another model."""
    hearing: Literal["careful", "quick"] = "careful"
    hotwords: str = ""
    """Trade words that are likely to be said. Never a figure and never a unit: noise then turns into readings."""
    threads: int = 0


class Heard(Frozen):
    """Everything that was heard in one source. `grade` is 0 to 1, null for a text."""

    transcript: Transcript
    duration_s: float | None = None
    unheard: tuple[Stretch, ...] = ()
    grade: float | None = None
    problems: tuple[Problem, ...] = ()
    speech_model: str | None = None
    model_sha256: str | None = None
    hearing: Literal["careful", "quick", "imported"]
    settings: dict[str, str] = Field(default_factory=dict)


class Transcriber(Protocol):
    """A recogniser: hears a window of at most 30 s of 16 kHz sound, and must give the same words every time."""

    def listen(self, samples: Samples, speech_until_s: float) -> list[HeardPassage]:
        """What is said, with times from the start of the window; nobody speaks after `speech_until_s`."""
        ...


class Piece(Frozen):
    """One window as it was heard: its segments in the recording's own time, and a log probability for each."""

    segments: tuple[Segment, ...] = ()
    logprobs: tuple[float, ...] = ()


class Plan(Frozen):
    """What a first pass over the recording found: its length and level, and the windows with speech in them."""

    heard_s: float
    peak: float
    gain: float
    windows: tuple[tuple[tuple[int, int], ...], ...]
    speech_s: tuple[tuple[float, float], ...]
    """Stretches where somebody speaks without doubt."""


def hear(
    source: Source,
    settings: HearSettings,
    progress: Progress | None = None,
    *,
    keep: Keep,
    recording: int = 0,
    load: Callable[[SpeechModel, HearSettings], Transcriber] | None = None,
) -> Heard:
    """The source as timed text. `recording` is the index that its segments carry.

    Each window is kept in `keep` as soon as it is heard; the same call after any interruption goes on with the
    first window that is missing and gives the same result. Raises InputError when the source cannot be read,
    is silent or nobody speaks in it, SetupError when the model is missing or the disk is full.
    """
    if source.fault is not None:
        raise source.fault
    if source.kind == "text":
        from pipeline.imported import read_text

        return Heard(transcript=read_text(source.path, recording), hearing="imported")
    model = find_model(settings.model)
    key = digest_of(*_made_by(source, settings, model))
    if kept := keep.get("heard", key):
        return _renumbered(Heard.model_validate_json(kept), recording)
    plan = _plan(source, keep, progress)
    pieces = _pieces(source, settings, model, plan, keep, progress, load or _load)
    heard = _put_together(source, settings, model, plan, pieces)
    keep.put("heard", key, heard.model_dump_json())
    return _renumbered(heard, recording)


def _made_by(source: Source, settings: HearSettings, model: SpeechModel) -> tuple[str, ...]:
    """Everything that decides what is heard."""
    from pipeline.doubt import doubt_digest

    witness = find_witness(model) if settings.hearing == "careful" else None
    models = (model.sha256, witness.sha256 if witness else "")
    return VERSION, doubt_digest(), source.sha256, *models, settings.hearing, settings.hotwords


def _load(model: SpeechModel, settings: HearSettings) -> Transcriber:
    from pipeline.second_hearing import recogniser

    return recogniser(
        model, careful=settings.hearing == "careful", hotwords=settings.hotwords, threads=settings.threads
    )


def _renumbered(heard: Heard, recording: int) -> Heard:
    if recording == 0:
        return heard
    segments = tuple(segment.model_copy(update={"recording": recording}) for segment in heard.transcript.segments)
    unheard = tuple(stretch.model_copy(update={"recording": recording}) for stretch in heard.unheard)
    return heard.model_copy(update={"transcript": Transcript(segments=segments), "unheard": unheard})


SOUNDING_SHARE = 0.03
"""Part of the whole time that the first pass takes, for the progress."""


def _plan(source: Source, keep: Keep, progress: Progress | None) -> Plan:
    from pipeline.voice import sound_out, sure_speech, windows

    key = digest_of(VERSION, source.sha256)
    if kept := keep.get("plan", key):
        return Plan.model_validate_json(kept)
    total_s = source.declared_s or 0.0

    def tell(done_s: float) -> None:
        if progress is not None:
            progress(SOUNDING_SHARE * done_s, max(total_s, done_s))

    found = sound_out(source.path, tell)
    if found.heard_s == 0.0:
        raise InputError(
            "empty-audio",
            f"There is no sound in {source.path.name}.",
            "Copy it from the phone or recorder again.",
        )
    total = round(found.heard_s * 16_000)
    plan = Plan(
        heard_s=found.heard_s,
        peak=found.peak,
        gain=found.gain,
        windows=tuple(window.spans for window in windows(found.voice, total)),
        speech_s=tuple(sure_speech(found.voice, SURELY_SPEECH)),
    )
    if not plan.windows:
        raise _nobody_speaks(source, plan)
    keep.put("plan", key, plan.model_dump_json())
    return plan


def _nobody_speaks(source: Source, plan: Plan) -> InputError:
    length = f"{plan.heard_s / 60:.0f} minutes" if plan.heard_s >= 90 else f"{plan.heard_s:.0f} seconds"
    if plan.peak < SILENT_PEAK:
        return InputError(
            "silent-audio",
            f"{source.path.name} is silent: {length} without any sound.",
            "Check that the microphone was on and that it is the right file.",
        )
    return InputError(
        "no-speech",
        f"Nobody could be heard speaking in {source.path.name} ({length} of noise).",
        "Check that it is the right file.",
    )


def _pieces(
    source: Source,
    settings: HearSettings,
    model: SpeechModel,
    plan: Plan,
    keep: Keep,
    progress: Progress | None,
    load: Callable[[SpeechModel, HearSettings], Transcriber],
) -> list[Piece]:
    """Every window heard, from the kept ones where they are there."""
    from pipeline.voice import SoundReader, Window

    work_s = sum(Window(spans).length_s for spans in plan.windows)
    reader: SoundReader | None = None
    transcriber: Transcriber | None = None
    pieces: list[Piece] = []
    done_s = 0.0
    for spans in plan.windows:
        window = Window(spans)
        key = digest_of(*_made_by(source, settings, model), json.dumps(spans))
        if kept := keep.get("piece", key):
            piece = Piece.model_validate_json(kept)
        else:
            reader = reader or SoundReader(source.path, plan.gain)
            transcriber = transcriber or load(model, settings)
            piece = _hear_window(transcriber, reader.read(window), window)
            keep.put("piece", key, piece.model_dump_json())
        pieces.append(piece)
        done_s += window.length_s
        if progress is not None:
            share = SOUNDING_SHARE + (1 - SOUNDING_SHARE) * done_s / work_s
            progress(share * plan.heard_s, plan.heard_s)
    return pieces


def _hear_window(transcriber: Transcriber, samples: Samples, window: Window) -> Piece:
    passages = transcriber.listen(samples, window.speech_until_s)
    return Piece(
        segments=tuple(_segment(passage, window) for passage in passages),
        logprobs=tuple(round(passage.logprob, 4) for passage in passages),
    )


def _segment(passage: HeardPassage, window: Window) -> Segment:
    """The passage with the recording's times; a word never reaches across a pause that was taken out."""
    words: list[Word] = []
    for word in passage.words:
        middle, low, high = window.when((word.start + word.end) / 2)
        half = (word.end - word.start) / 2
        words.append(
            Word(
                start=round(max(low, middle - half), 2),
                end=round(min(high, middle + half), 2),
                text=word.text.strip(),
                probability=round(word.probability, 4),
            )
        )
    return Segment(
        start=words[0].start,
        end=words[-1].end,
        text=passage.text,
        words=tuple(words),
        heard_again=passage.heard_again,
        doubts=passage.doubts,
    )


def _put_together(source: Source, settings: HearSettings, model: SpeechModel, plan: Plan, pieces: list[Piece]) -> Heard:
    segments = tuple(segment for piece in pieces for segment in piece.segments)
    if not segments:
        raise _nobody_speaks(source, plan)
    problems: list[Problem] = []
    declared = source.declared_s or 0.0
    if declared - plan.heard_s > max(1.0, 0.02 * declared):
        problems.append(
            Problem(
                stage="hear",
                code="cut-off",
                message=f"{source.path.name} should last {_clock(declared)} by its own header, but only "
                f"{_clock(plan.heard_s)} could be read; what was said after that is not in the report.",
            )
        )
    logprob = statistics.median(number for piece in pieces for number in piece.logprobs)
    return Heard(
        transcript=Transcript(segments=segments),
        duration_s=round(plan.heard_s, 2),
        unheard=_unheard(plan, segments),
        grade=round(min(1.0, max(0.0, (logprob - LOST) / (CLEAR - LOST))), 2),
        problems=tuple(problems),
        speech_model=model.name,
        model_sha256=model.sha256,
        hearing=settings.hearing,
        settings={"hotwords": settings.hotwords} if settings.hotwords else {},
    )


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes}:{rest:02}"


def _unheard(plan: Plan, segments: tuple[Segment, ...]) -> tuple[Stretch, ...]:
    """Where somebody speaks without doubt and no word stands in the transcript."""
    covered = sorted(
        (word.start - NEAR_WORD_S, word.end + NEAR_WORD_S)
        for segment in segments
        for word in segment.words
        if word.start is not None and word.end is not None
    )
    found: list[Stretch] = []
    for start, end in plan.speech_s:
        at = start
        for first, last in covered:
            if last <= at or first >= end:
                continue
            if first - at >= SHORTEST_UNHEARD_S:
                found.append(Stretch(start=round(at, 2), end=round(first, 2)))
            at = max(at, last)
        if end - at >= SHORTEST_UNHEARD_S:
            found.append(Stretch(start=round(at, 2), end=round(end, 2)))
    return tuple(found)
