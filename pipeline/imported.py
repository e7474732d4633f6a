"""Texts that somebody or something else transcribed, read as a transcript: .txt, .srt and .vtt."""

from __future__ import annotations

import html
import re
from pathlib import Path

from extractors.facts import Segment, Transcript
from pipeline.errors import InputError

MOST_BYTES = 20_000_000

# [1:02] words, [1:02:03] words, [0:01:02.5] words
TIMED_LINE = re.compile(r"^\s*\[(?:(\d{1,3}):)?(\d{1,3}):([0-5]?\d(?:[.,]\d+)?)\]\s*(.*)$")
ARROW = re.compile(
    r"^\s*(?:(\d+):)?(\d{1,2}):(\d{1,2}[.,]\d{1,3})\s*-->\s*(?:(\d+):)?(\d{1,2}):(\d{1,2}[.,]\d{1,3})(?:\s.*)?$"
)
TAG = re.compile(r"<[^<>]*>|\{\\[^{}]*\}")
SPEAKER_TAG = re.compile(r"<v(?:\.[^\s>]*)?\s+([^>]+)>")


def read_text(path: Path, recording: int = 0) -> Transcript:
    """The transcript in a text file, one segment an utterance, with the line it stands on.

    Raises InputError when it is empty, holds no words, is not text, or is not UTF-8.
    """
    lines = _decoded(path).splitlines()
    segments = _captions(lines, recording) if path.suffix.lower() in (".srt", ".vtt") else _plain(lines, recording)
    if not segments:
        raise InputError("empty-text", f"There are no words in {path.name}.", "Give a text with one utterance a line.")
    return Transcript(segments=tuple(segments))


def _decoded(path: Path) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputError(
                "too-large",
                f"{path.name} is larger than a transcript can be (over {MOST_BYTES // 1_000_000} MB).",
                "Check that it is the right file.",
            )
        data = path.read_bytes()
    except OSError as fault:
        raise InputError(
            "unreadable", f"{path.name} cannot be read: {fault.strerror}.", "Check the file and its rights."
        ) from fault
    if not data:
        raise InputError("empty-text", f"{path.name} is empty (0 bytes).", "Give a text with words in it.")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or _looks_like_utf16(data):
        raise InputError("not-utf8", f"{path.name} is written in UTF-16.", "Save it again as UTF-8 and give that file.")
    if b"\0" in data:
        raise InputError(
            "not-text", f"{path.name} is not a text: it has NUL bytes in it.", "Give a .txt, .srt or .vtt file."
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        # Old recorders' programs write Windows-1252; a recording named .txt has control characters as well.
        text = data.decode("cp1252", errors="replace")
        if sum(ch < " " and ch not in "\t\n\r\f" for ch in text) or "\ufffd" in text:
            raise InputError(
                "not-text", f"{path.name} is not a text in UTF-8.", "Save it again as UTF-8 and give that file."
            ) from fault
        return text


def _looks_like_utf16(data: bytes) -> bool:
    """Every other byte of English in UTF-16 is zero, also where no mark stands at the start."""
    head = data[:2000]
    return len(head) > 3 and max(head[0::2].count(0), head[1::2].count(0)) > 0.4 * len(head) / 2


def _seconds(hours: str | None, minutes: str, seconds: str) -> float:
    return round(int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds.replace(",", ".")), 3)


def _plain(lines: list[str], recording: int) -> list[Segment]:
    """One utterance a line, with or without a time in front; a timed one ends where the next begins."""
    found: list[tuple[float | None, str, int]] = []
    for number, line in enumerate(lines, start=1):
        timed = TIMED_LINE.match(line)
        start = _seconds(timed[1], timed[2], timed[3]) if timed else None
        text = (timed[4] if timed else line).strip()
        if text:
            found.append((start, text, number))
    ends: list[float | None] = [*(start for start, _, _ in found[1:]), None][: len(found)]
    return [
        Segment(
            start=start,
            end=end if start is None or end is None or end >= start else start,
            text=text,
            recording=recording,
            line=number,
        )
        for (start, text, number), end in zip(found, ends, strict=True)
    ]


def _captions(lines: list[str], recording: int) -> list[Segment]:
    """The cues of a caption file; what a cue shows again of the one just before it was said once."""
    segments: list[Segment] = []
    times: tuple[float, float] | None = None
    said: list[str] = []
    first = cues = 0
    shown: list[str] = []
    shown_until = -1.0

    def finish() -> None:
        nonlocal shown, shown_until, times
        if times is not None and said:
            start, end = times
            new = said[_again(shown, said) :] if start <= shown_until + 0.1 else said
            if new:
                segments.append(Segment(start=start, end=end, text=" ".join(new), recording=recording, line=first))
            shown, shown_until = list(said), end
        said.clear()
        times = None

    for number, line in enumerate(lines, start=1):
        arrow = ARROW.match(line)
        if arrow:
            # Some writers leave out the blank line before a cue's number; a figure said last is not that number.
            if said and said[-1] == str(cues + 1):
                said.pop()
            finish()
            cues += 1
            times = (_seconds(arrow[1], arrow[2], arrow[3]), _seconds(arrow[4], arrow[5], arrow[6]))
        elif not line.strip():
            finish()
        elif times is not None:
            text = html.unescape(TAG.sub("", SPEAKER_TAG.sub(r"\1: ", line))).strip()
            if text:
                first = number if not said else first
                said.append(text)
    finish()
    return segments


def _again(shown: list[str], said: list[str]) -> int:
    """How many lines at the start of a cue are the last lines of the cue before."""
    for size in range(min(len(shown), len(said)), 0, -1):
        if shown[-size:] == said[:size]:
            return size
    return 0


__all__ = ["read_text"]
