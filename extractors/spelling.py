"""Reads letter-digit strings as they are spelled aloud: "B as in boy", "double seven", "sixty slash fourteen"."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from extractors.lexicon import load_table
from extractors.number_words import spoken_numbers
from extractors.passage import Passage, Span

LONGEST = 40  # tokens that one string may take
HYPHENS = ("-", "‑", "–")


@dataclass(frozen=True, slots=True)
class Spelled:
    """A string as it would be written. `confirm`: why to ask again; `again`: where it was said once more."""

    span: Span
    text: str
    confirm: tuple[str, ...] = ()
    again: tuple[Span, ...] = ()
    pieces: int = 1

    @property
    def spans(self) -> tuple[Span, ...]:
        """All stretches that say it."""
        return (self.span, *self.again)

    @property
    def bare(self) -> str:
        """Letters and digits alone, lower case."""
        return re.sub(r"[^a-z0-9]", "", self.text.lower())

    @property
    def digits(self) -> int:
        """How many digits it has."""
        return sum(ch.isdigit() for ch in self.text)

    @property
    def letters(self) -> int:
        """How many letters it has."""
        return sum(ch.isalpha() for ch in self.text)


@dataclass(slots=True)
class _Atom:
    """One piece. Kinds: L letters, N number, J joint (dash or slash)."""

    kind: str
    text: str
    end: int
    sure: bool = False
    """A spelling word stood by it."""
    doubt: str = ""
    tens: bool = False
    """A digit may still follow: "forty" of "forty four"."""


@cache
def _table() -> dict[str, Any]:
    return load_table("spelling")


def _between(passage: Passage, index: int) -> str:
    """The raw text between a token and the one before it; a space where they stand in different lines."""
    token, before = passage.tokens[index], passage.tokens[index - 1]
    if index == 0 or token.segment != before.segment:
        return " "
    return passage.transcript.segments[token.segment].text[before.end : token.start]


def _follows(passage: Passage, index: int) -> bool:
    """Whether a token goes on in the breath of the one before it."""
    if not 0 < index < len(passage.tokens):
        return False
    return passage.joined_lines or passage.tokens[index].segment == passage.tokens[index - 1].segment


def _joined(passage: Passage, index: int) -> bool:
    """Whether a token touches the one before, or hangs on it with a hyphen."""
    return 0 < index < len(passage.tokens) and _between(passage, index) in ("", *HYPHENS)


def bare_piece(passage: Passage, index: int) -> bool:
    """Whether a token is surely a piece of a string: one letter, digits, or a number word."""
    norm = passage.norm(index)
    if not norm:
        return False
    single = len(norm) == 1 and norm.isalpha()
    return single or passage.tokens[index].is_digits or norm in spoken_numbers() or norm in _table()["many"]


def _letter(passage: Passage, index: int, begun: bool) -> _Atom | None:
    """A letter or a run of capitals at a token, with the spelling word after it."""
    table, token = _table(), passage.tokens[index]
    norm = token.norm
    text = ""
    if norm == "x" and passage.norm(index + 1) == "ray":
        return _Atom("L", "X", index + 2, sure=True)
    if len(norm) == 1 and norm.isalpha() and norm.isascii():
        text = norm.upper()
        if norm in ("a", "i") and not _joined(passage, index) and not _stands_as_letter(passage, index, begun):
            return None
    elif token.is_word and norm.isascii() and len(norm) <= 6 and token.text.isupper():
        text = token.text
    elif token.is_word and len(norm) <= 4 and norm.isascii() and begun and _joined(passage, index):
        text = token.text.upper()
    elif token.is_word and len(norm) <= 4 and norm.isascii() and _digits_touch(passage, index + 1):
        text = token.text.upper()  # "gc10"
    elif norm in table["alphabet"] and (
        begun or bare_piece(passage, index + 1) or passage.norm(index + 1) in table["alphabet"]
    ):
        return _Atom("L", table["alphabet"][norm], index + 1, sure=True)
    elif norm in table["names"] and _named_letter(passage, index, begun):
        return _Atom(
            "L", table["names"][norm], index + 1, doubt=f"heard differently: “{token.text}” taken for a letter"
        )
    if not text:
        return None
    return _with_example(passage, index, text)


def _digits_touch(passage: Passage, index: int) -> bool:
    """Whether a token is digits that touch the token before."""
    return index < len(passage.tokens) and passage.tokens[index].joined and passage.tokens[index].norm.isdigit()


def _named_letter(passage: Passage, index: int, begun: bool) -> bool:
    """Whether "em" or "see" stands for a letter: before another piece, at the beginning only if it is no word."""
    names = _table()["names"]
    follows = _follows(passage, index + 1) and (bare_piece(passage, index + 1) or passage.norm(index + 1) in names)
    return follows and (begun or passage.norm(index) in _table()["no_words"]["say"])


def _stands_as_letter(passage: Passage, index: int, begun: bool) -> bool:
    """Whether "a" or "i" is a letter of the string and no word."""
    after = passage.norm(index + 1)
    following = _follows(passage, index + 1)
    spelled = passage.tokens[index].text == "A" and begun
    if not begun and passage.tokens[index].text in ("a", "i"):  # "it's a C U 150" has an article
        shouted = following and passage.tokens[index + 1].text.isupper()
        if shouted or passage.norm(index - 1) in ("it's", "'s", "got", "have", "this", "with", "was", "an"):
            return False
    if after in ("as", "like") and passage.norm(index + 2) in ("in", "a"):
        return True
    if (
        following
        and (bare_piece(passage, index + 1) or after in _table()["joints"])
        and (begun or after not in ("a", "i"))
    ):
        return begun or passage.tokens[index].text in ("A", "I") or len(after) == 1
    return begun and (spelled or after in (",", ".", ";", "") or not following or after in ("and", "serial", "model"))


def _with_example(passage: Passage, index: int, text: str) -> _Atom:
    """A letter with "as in boy" after it; a word that begins with another letter wins and is asked again."""
    at = index + 1
    if len(text) != 1:
        return _Atom("L", text, at)
    if passage.norm(at) == "," and passage.norm(at + 1) in ("as", "like"):
        at += 1
    steps = (
        2
        if passage.norm(at) in ("as", "like") and passage.norm(at + 1) == "in"
        else 1
        if passage.norm(at) in ("like", "for")
        else 0
    )
    word = passage.norm(at + steps) if steps else ""
    if word in ("a", "the"):
        steps, word = steps + 1, passage.norm(at + steps + 1)
    if not word.isalpha() or len(word) < 2 or (steps == 1 and word[0] != text.lower()):
        return _Atom("L", text, index + 1)
    if word[0] != text.lower():
        return _Atom(
            "L",
            word[0].upper(),
            at + steps + 1,
            doubt=f"heard differently: “{text}” or “{word[0].upper()}” as in “{word}”",
        )
    end = at + steps + 1
    if passage.norm(end) == "," and passage.norm(end + 1) == "not" and len(passage.norm(end + 2)) == 1:
        end += 3
    return _Atom("L", text, end, sure=True)


def _number(passage: Passage, index: int, begun: bool) -> _Atom | None:
    """A number word, written digits, or "double seven" at a token."""
    table, token = _table(), passage.tokens[index]
    norm = token.norm
    if token.is_digits:
        digits = re.sub(r"[,:]", "", norm)
        return _Atom("N", digits, index + 1)
    if norm in table["many"]:
        piece = _number(passage, index + 1, True) if index + 1 < len(passage.tokens) else None
        if piece is not None and len(piece.text) == 1:
            return _Atom("N", piece.text * table["many"][norm], piece.end)
        after = passage.norm(index + 1)
        if norm == "double" and after in ("u", "you"):
            return _Atom("L", "W", index + 2)
        if len(after) == 1 and after.isalpha():
            return _Atom("L", after.upper() * table["many"][norm], index + 2)
        return None
    if norm in ("oh", "o", "owe") and not begun:
        return None
    known = spoken_numbers().get(norm)
    if known is None:
        if norm in table["digits"] and begun and _follows(passage, index + 1) and bare_piece(passage, index + 1):
            return _Atom(
                "N",
                table["digits"][norm],
                index + 1,
                doubt=f"heard differently: “{token.text}” taken for {table['digits'][norm]}",
            )
        return None
    kind, digits = known
    if kind in "HK":
        return None
    return _Atom("N", digits, index + 1, tens=kind == "Y")


def _atom(passage: Passage, index: int, begun: bool) -> _Atom | None:
    """The piece at a token, or None."""
    if index >= len(passage.tokens):
        return None
    norm = passage.norm(index)
    if begun and norm in _table()["joints"]:
        return _Atom("J", _table()["joints"][norm], index + 1)
    if norm in _table()["letter"]["before"] and index + 1 < len(passage.tokens) and len(passage.norm(index + 1)) == 1:
        inner = _with_example(passage, index + 1, passage.norm(index + 1).upper())
        return inner if inner.text.isalpha() else None
    return _number(passage, index, begun) or _letter(passage, index, begun)


def _extend(passage: Passage, index: int, text: str) -> tuple[str, int] | None:
    """As in "hundred" and "thousand" after a number: the digits that they add, and where they end."""
    known = spoken_numbers().get(passage.norm(index))
    if known is None or known[0] not in "HK" or not text.isdigit():
        return None
    whole = int(text) * (100 if known[0] == "H" else 1000)
    step = index + 1
    if passage.norm(step) == "and":
        step += 1
    tail = spoken_numbers().get(passage.norm(step))
    if tail is not None and tail[0] in "DTY" and passage.norm(step) not in _table()["zero"]["say"]:
        value, end = int(tail[1]), step + 1
        if tail[0] == "Y":
            ones = spoken_numbers().get(passage.norm(end))
            if ones is not None and ones[0] == "D" and ones[1] != "0":
                value, end = value + int(ones[1]), end + 1
        return str(whole + value), end
    return str(whole), index + 1


@dataclass(slots=True)
class _Draft:
    """A string in the making."""

    pieces: list[_Atom] = field(default_factory=list)
    since_comma: int = 0
    end: int = 0


def spell(
    passage: Passage, start: int, stops: frozenset[int] = frozenset(), *, told: bool = False, named: bool = False
) -> Spelled | None:
    """The string that begins at a token, or None. Stops before tokens in `stops`. Linear in the string.

    `told`: it was just announced, so that "a" is its first letter and no article; `named`: it was announced and small
    words lie between at most, so that "oh" is a nought and no sigh.
    """
    draft, first = _Draft(), passage.norm(start)
    opening = _Atom("L", "A", start + 1) if told and first == "a" else None
    if named and first in ("oh", "o"):
        opening = _Atom("N", "0", start + 1)
    nought_next = named and passage.norm(start + 1) in ("oh", "o")
    if opening is not None and _follows(passage, start + 1) and (bare_piece(passage, start + 1) or nought_next):
        draft.pieces.append(opening)
        draft.since_comma, draft.end = 1, start + 1
    index, last = start + len(draft.pieces), min(len(passage.tokens), start + LONGEST)
    while index < last and index not in stops:
        begun = bool(draft.pieces)
        if begun and (
            not _follows(passage, index) or _new_line(passage, index, draft) or _another(passage, index, draft)
        ):
            break
        norm = passage.norm(index)
        if norm in _table()["fillers"]["say"] and begun:
            index += 1
            continue
        if norm == "," and begun:
            if not _comma_goes_on(passage, index, draft):
                break
            draft.since_comma = 0
            index += 1
            continue
        if (
            norm == "by"
            and begun
            and draft.pieces[-1].kind == "N"
            and passage.tokens[start].is_word
            and index + 1 < last
            and passage.tokens[index + 1].is_digits
        ):
            draft.pieces.append(_Atom("L", "x", index + 1, sure=True))
            index += 1
            continue
        more = _extend(passage, index, draft.pieces[-1].text) if begun and draft.pieces[-1].kind == "N" else None
        if more is not None:
            draft.pieces[-1].text, index = more
            draft.pieces[-1].end = draft.end = index
            continue
        atom = _atom(passage, index, begun)
        if atom is None:
            break
        if (
            begun
            and draft.pieces[-1].tens
            and atom.kind == "N"
            and len(atom.text) == 1
            and atom.text != "0"
            and passage.tokens[index].is_word
            and atom.end == index + 1
        ):
            draft.pieces[-1].text = str(int(draft.pieces[-1].text) + int(atom.text))
            draft.pieces[-1].tens = False
        else:
            if begun and atom.kind != "J" and draft.pieces[-1].kind != "J" and _between(passage, index) in HYPHENS:
                draft.pieces.append(_Atom("J", "-", index))  # the hyphen of "12-C" is no token
            draft.pieces.append(atom)
            draft.since_comma += 1
        index = atom.end
        if atom.kind != "J":
            draft.end = index
    while draft.pieces and draft.pieces[-1].kind == "J":
        draft.pieces.pop()
    if not draft.pieces:
        return None
    return _finish(Span(start, draft.end), draft.pieces)


def _new_line(passage: Passage, index: int, draft: _Draft) -> bool:
    """Whether a new line of captions brings another number: digits one by one, and then "208"."""
    if passage.tokens[index].segment == passage.tokens[index - 1].segment:
        return False
    singles = sum(piece.kind == "N" and len(piece.text) == 1 for piece in draft.pieces)
    return (
        singles >= 2 and len(passage.norm(index)) > 1 and passage.norm(index) not in _table()["joints"] and singles >= 4
    )


def _another(passage: Passage, index: int, draft: _Draft) -> bool:
    """Whether another number begins: "dash 18" written together, and then "3 0 0 6" digit by digit."""
    last = draft.pieces[-1]
    if last.kind != "N" or len(last.text) < 2 or not passage.tokens[index - 1].is_digits:
        return False
    return all(
        index + k < len(passage.tokens) and passage.norm(index + k).isdigit() and len(passage.norm(index + k)) == 1
        for k in range(4)
    )


def _comma_goes_on(passage: Passage, index: int, draft: _Draft) -> bool:
    """Whether a comma stands inside the string: beside a dash, or between pieces that are said one by one."""
    after = passage.norm(index + 1)
    if after in _table()["joints"] or draft.pieces[-1].kind == "J":
        return True
    following = passage.norm(index + 2)
    if draft.since_comma > 1 or following in ("of", "off", "kit", "each", "piece", "more", "extra"):
        return False
    return (
        bare_piece(passage, index + 1)
        or after in _table()["letter"]["before"]
        or after in _table()["alphabet"]
        or after in ("then",)
    )


def _finish(span: Span, pieces: list[_Atom]) -> Spelled:
    text = "".join(piece.text for piece in pieces)
    doubts = [piece.doubt for piece in pieces if piece.doubt]
    unsure = sorted({letter for piece in pieces if piece.kind == "L" and not piece.sure for letter in piece.text})
    alike = [letter for letter in unsure if any(letter in group for group in _table()["alike"]["groups"])]
    if alike:
        doubts.append(f"heard differently: {', '.join(alike)} could be another letter")
    return Spelled(span, text, tuple(dict.fromkeys(doubts)), pieces=sum(piece.kind != "J" for piece in pieces))
