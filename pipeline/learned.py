"""Words that a shop's own corrections teach: proposed after the second time, used once a person accepted them."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from extractors.facts import Frozen, Segment, Transcript
from pipeline.edits import Edit, EditKind, TargetKind, effective
from pipeline.errors import AuthoringError
from pipeline.keep import write_whole

TWICE = 2
LONGEST_WORDS = 5
HEAD = """\
# The shop's own words. `heard` is what the recogniser writes, `say` what was said. Both are whole words.
# A row that is removed is no longer used. Made by jobtape when you accept what it proposes; edit it as you like.
"""


class OwnWord(Frozen):
    """One accepted word."""

    heard: str
    say: str
    by: str = ""
    on: str = ""


class OwnWords(Frozen):
    """The shop's file."""

    word: tuple[OwnWord, ...] = ()
    refused: tuple[OwnWord, ...] = ()
    """Proposals that a person turned down; they are not made again."""
    names: tuple[str, ...] = Field(default=())
    """Names and parts that are often said here: hints for hearing. Never a figure."""


@dataclass(frozen=True)
class Proposal:
    """A correction that was made several times."""

    heard: str
    say: str
    times: int
    jobs: tuple[str, ...]


def load_words_file(path: Path) -> OwnWords:
    """The shop's words; none when there is no file. Raises AuthoringError naming what is wrong in it."""
    try:
        return OwnWords.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return OwnWords()
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, ValidationError) as fault:
        raise AuthoringError(
            "words-wrong", f"{path} cannot be read ({fault}).", "Correct it, or move it away to begin anew."
        ) from fault


def save_words_file(path: Path, words: OwnWords) -> None:
    """Writes the shop's words in a form that a person can read and correct."""
    lines = [HEAD]
    if words.names:
        lines.append(f"names = [{', '.join(_quoted(name) for name in words.names)}]\n")
    for table, rows in (("word", words.word), ("refused", words.refused)):
        for row in rows:
            fields = [f"{name} = {_quoted(value)}" for name, value in row.model_dump().items() if value]
            lines.append(f"[[{table}]]\n" + "\n".join(fields) + "\n")
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, "\n".join(lines).encode())


def _quoted(text: str) -> str:
    clean = "".join(letter for letter in text if letter.isprintable())
    return '"' + clean.replace("\\", "\\\\").replace('"', '\\"') + '"'


def proposals(logs: Iterable[tuple[str, Iterable[Edit]]], words: OwnWords) -> list[Proposal]:
    """Corrections of words, names and parts that were made at least twice and that nobody decided on yet.

    A correction of a figure is never a word: 21.9 is not always 24.9. `logs` are job ids with their edits.
    """
    counted: Counter[tuple[str, str]] = Counter()
    where: dict[tuple[str, str], list[str]] = {}
    decided = {_key(row.heard, row.say) for row in (*words.word, *words.refused)}
    for job_id, edits in logs:
        for edit in effective(edits):
            pair = _pair(edit)
            if pair is not None and _key(*pair) not in decided:
                counted[pair] += 1
                where.setdefault(pair, []).append(job_id)
    return [
        Proposal(heard, say, times, tuple(dict.fromkeys(where[heard, say])))
        for (heard, say), times in counted.most_common()
        if times >= TWICE
    ]


def _pair(edit: Edit) -> tuple[str, str] | None:
    """What was heard and what was said, of a correction of words, of a name or of a part; None for any other edit."""
    name = _CORRECTED.get(edit.target.kind) if edit.kind is not EditKind.WORDS else "text"
    if name is None or edit.kind not in (EditKind.WORDS, EditKind.CHANGE, EditKind.ANSWER):
        return None
    heard, say = str(edit.was.get(name) or ""), str(edit.now.get(name) or "")
    heard, say = " ".join(heard.casefold().split()).strip(".,;:!?"), " ".join(say.split()).strip(".,;:!?")
    long = max(len(heard.split()), len(say.split())) > LONGEST_WORDS
    if not heard or not say or long or heard == say.casefold() or any(letter.isdigit() for letter in heard + say):
        return None
    return heard, say


_CORRECTED = {TargetKind.FIELD: "value", TargetKind.PART: "description"}


def _key(heard: str, say: str) -> tuple[str, str]:
    return heard.casefold(), say.casefold()


def decide(
    words: OwnWords, heard: str, say: str, how: Literal["accept", "refuse", "remove"], by: str, on: str
) -> OwnWords:
    """The shop's words after a person accepted or refused a proposal, or took an accepted word back."""
    row = OwnWord(heard=heard, say=say, by=by, on=on)
    kept = tuple(word for word in words.word if _key(word.heard, word.say) != _key(heard, say))
    refused = tuple(word for word in words.refused if _key(word.heard, word.say) != _key(heard, say))
    if how == "accept":
        return words.model_copy(update={"word": (*kept, row), "refused": refused})
    return words.model_copy(update={"word": kept, "refused": (*refused, row)})


def hotwords(words: OwnWords) -> str:
    """The shop's names and words as hints for hearing; none of them holds a digit."""
    said = [*(word.say for word in words.word), *words.names]
    return ", ".join(dict.fromkeys(text for text in said if not any(letter.isdigit() for letter in text)))


def respell(transcript: Transcript, words: OwnWords) -> Transcript:
    """The transcript with the shop's accepted words put in where they were misheard, times kept."""
    rows = sorted(words.word, key=lambda row: -len(row.heard.split()))
    if not rows:
        return transcript
    return Transcript(segments=tuple(_respelled(segment, rows) for segment in transcript.segments))


def _respelled(segment: Segment, rows: Iterable[OwnWord]) -> Segment:
    texts = [word.text for word in segment.words] if segment.words else segment.text.split()
    bare = [text.strip(" .,;:!?").casefold() for text in texts]
    spans: list[tuple[int, int, str]] = []
    for row in rows:
        heard = row.heard.casefold().split()
        for i in range(len(bare) - len(heard) + 1):
            free = all(not (start < i + len(heard) and i < end) for start, end, _ in spans)
            if free and bare[i : i + len(heard)] == heard:
                spans.append((i, i + len(heard), row.say))
    if not spans:
        return segment
    words = list(segment.words)
    for start, end, say in sorted(spans, reverse=True):
        tail = texts[end - 1][len(texts[end - 1].rstrip(".,;:!?")) :]
        parts = say.split()
        parts[-1] += tail
        texts[start:end] = parts
        if words:
            first, last = words[start], words[end - 1]
            merged = first.model_copy(update={"text": " ".join(parts), "end": last.end})
            words[start:end] = [merged]
    return segment.model_copy(update={"words": tuple(words), "text": " ".join(texts)})
