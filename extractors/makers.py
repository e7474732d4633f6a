"""Finds the maker's name where it is plainly one: announced, or a strange capitalised name beside the plate."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from typing import Any

from extractors.lexicon import load_table
from extractors.mentions import mentions
from extractors.number_words import number_word
from extractors.passage import Passage, Span
from extractors.phrases import Phrases
from extractors.spelling import spell
from extractors.talk import language

OPENERS = frozenset([",", ".", ";", ":", "and", "the", "its", "okay", "so", "uh", "um"])
NEAR_PLATE = 22  # tokens around a plate's words in which a strange name is the maker's


@dataclass(frozen=True, slots=True)
class Maker:
    """A maker's name with what speaks for it and why to ask again."""

    span: Span
    name: str
    because: str
    confirm: tuple[str, ...] = ()


@cache
def _table() -> dict[str, Any]:
    return load_table("identifiers")


@cache
def _cues() -> Phrases:
    rows = [("make", p) for p in _table()["make"]["say"]]
    return Phrases(rows + [("plate", p) for p in (*_table()["plate"]["say"], *_table()["model"]["say"])])


def _is_name(passage: Passage, index: int) -> bool:
    """Whether a token may be a name: a word of letters that is none of the small words."""
    if not 0 <= index < len(passage.tokens):
        return False
    token = passage.tokens[index]
    return (
        token.is_word
        and len(token.norm) > 2
        and token.norm not in _table()["make"]["no_name"]
        and number_word(token.norm) is None
    )


def _name(passage: Passage, start: int) -> tuple[Span, str] | None:
    """The name that begins at a token: one word, or more where all are capitalised."""
    if not _is_name(passage, start):
        return None
    end = start + 1
    capital = passage.tokens[start].text[:1].isupper()
    while (
        capital
        and _is_name(passage, end)
        and passage.tokens[end].text[:1].isupper()
        and passage.tokens[end].clause == passage.tokens[start].clause
    ):
        end += 1
    words = passage.said(Span(start, end))
    return Span(start, end), words if capital else words.capitalize()


def _announced(passage: Passage) -> Maker | None:
    for hit in _cues().find(passage):
        if hit.label != "make":
            continue
        start, index, steps = hit.span.start, hit.span.end, 0
        while index < len(passage.tokens) and passage.norm(index) in _table()["make"]["between"] and steps < 6:
            index, steps = index + 1, steps + 1
        opens = (
            start == 0
            or passage.norm(start - 1) in OPENERS
            or passage.tokens[start].segment != passage.tokens[start - 1].segment
        )
        if hit.span.end - start == 1 and (
            steps == 0 or not opens or passage.norm(start + 1) not in ("is", "'s", ",", ":", "it's")
        ):
            continue  # "make ice", "the cabinet maker", "won't make temperature"
        if (
            index < len(passage.tokens)
            and passage.tokens[index].segment != passage.tokens[start].segment
            and not passage.joined_lines
        ):
            continue
        found = _name(passage, index)
        if found is not None:
            return _spelled_too(passage, Maker(found[0], found[1], f"“{passage.said(hit.span)}” before it"))
    return None


def _beside_plate(passage: Passage) -> Maker | None:
    """As in "It's a Brindlecold, and the model number is": capitalised in mid-sentence, and no word of the trade."""
    known = {i for m in mentions(passage) for i in range(m.span.start, m.span.end)}
    plates = [hit.span.start for hit in _cues().find(passage) if hit.label == "plate"]
    lower = sum(t.is_word and t.text[:1].islower() for t in passage.tokens) > 0.5 * max(
        1, sum(t.is_word for t in passage.tokens)
    )
    if not lower:
        return None
    for start in plates:
        for index in range(max(1, start - NEAR_PLATE), min(len(passage.tokens), start + NEAR_PLATE)):
            token = passage.tokens[index]
            opens = (
                token.sentence != passage.tokens[index - 1].sentence
                or token.segment != passage.tokens[index - 1].segment
            )
            if (
                opens
                or index in known
                or not token.text[:1].isupper()
                or token.text.isupper()
                or not _is_name(passage, index)
            ):
                continue
            before = passage.norms[max(0, index - 2) : index]
            cue = before[-1:] in (("a",), ("an",), ("the",), ("by",)) and before[:1] in (
                ("it's",),
                ("'s",),
                ("is",),
                ("says",),
                ("made",),
                ("says",),
                ("got",),
            )
            follows = passage.norm(index + 1) in ("model", "unit") or passage.norm(index - 1) in ("says", "reads")
            found = _name(passage, index)
            if (cue or follows) and found is not None:
                return _spelled_too(passage, Maker(found[0], found[1], "a name beside the plate"))
    return None


def _spelled_too(passage: Passage, maker: Maker) -> Maker:
    """The name as it was spelled right after, where it was: the spelling wins, and a difference is asked again."""
    for index in range(maker.span.end, min(len(passage.tokens), maker.span.end + 6)):
        if len(passage.norm(index)) != 1 or not passage.norm(index).isalpha():
            continue
        letters = spell(passage, index)
        if letters is None or letters.digits or len(letters.bare) < 3:
            continue
        if letters.bare == maker.name.lower().replace(" ", ""):
            return Maker(Span(maker.span.start, letters.span.end), maker.name, maker.because + "; spelled")
        if letters.bare[:1] == maker.name[:1].lower():
            name = "".join(ch for ch in letters.text if ch.isalpha()).capitalize()
            return Maker(
                Span(maker.span.start, letters.span.end),
                name,
                maker.because + "; spelled",
                (f"heard differently: {maker.name}",),
            )
    return maker


@cache
def _trade_words() -> frozenset[str]:
    """Words of the trade's tables: they name no maker."""
    said = [p for row in load_table("subjects").values() for p in (*row["say"], *row.get("misheard", ()))]
    said += [p for row in load_table("machines")["noun"].values() for p in (*row["say"], *row.get("misheard", ()))]
    said += [p for name in ("modifier",) for p in load_table("machines")[name]["say"]]
    said += [p for row in load_table("parts")["noun"].values() for p in row]
    said += [p for kind in ("room", "site") for p in load_table("locations")[kind]["say"]]
    said += [p for row in load_table("units").values() for p in row["say"]]
    return frozenset(word for phrase in said for word in phrase.replace("-", " ").split())


@cache
def _known_words() -> frozenset[str]:
    """Words that the language model was made with. Its own store grows with every text, so its file is read."""
    path = language().path
    words: list[str] = (
        json.loads((path / "vocab" / "strings.json").read_text(encoding="utf-8")) if path is not None else []
    )
    return frozenset(words)


def _strange(passage: Passage, index: int) -> bool:
    """Whether a word is neither of the trade nor known to the language model: likely a name."""
    if not _is_name(passage, index) or len(passage.norm(index)) < 4:
        return False
    word = passage.norm(index)
    known = _known_words()
    singular = word.removesuffix("s")
    return not ({word, singular} & _trade_words() or word in known or word.capitalize() in known or singular in known)


def _before_model(passage: Passage, models: tuple[int, ...]) -> Maker | None:
    """As in "Corvane CV-36", "it's a velmora VM 80": a strange word right before the model."""
    for start in models:
        index = start
        while index > 0 and passage.norm(index - 1) in ("model", "number", "a", ","):
            index -= 1
        end = index
        while (
            index > 0
            and _strange(passage, index - 1)
            and passage.tokens[index - 1].segment == passage.tokens[end - 1].segment
            and end - index < 2
        ):
            index -= 1
        if index < end:
            words = passage.said(Span(index, end))
            name = words if words[:1].isupper() else words.title()
            return Maker(Span(index, end), name, "a name right before the model")
    return None


def _named_after(passage: Passage) -> Maker | None:
    """As in "Fenwell is the make"."""
    for index in range(1, len(passage.tokens) - 2):
        if passage.norms[index : index + 3] in (("is", "the", "make"), ("is", "the", "maker"), ("is", "the", "brand")):
            found = _name(passage, index - 1)
            if found is not None and found[0].end == index:
                return Maker(found[0], found[1], "“is the make” after it")
    return None


def maker(passage: Passage, models: tuple[int, ...] = ()) -> Maker | None:
    """The maker of the machine, or None where no name is plainly one. `models`: tokens at which a model begins."""
    return _announced(passage) or _named_after(passage) or _before_model(passage, models) or _beside_plate(passage)
