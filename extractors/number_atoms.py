"""The words of a passage as the pieces of numbers, with what noise makes of them; numerals puts them together."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from extractors.lexicon import load_table
from extractors.passage import Passage

MAX_RUN = 14  # atoms that one search for the best cut looks at; keeps the whole linear


@dataclass(frozen=True, slots=True)
class Atom:
    """One number word.

    Kinds: D digit, Z zero, T teen, Y tens, H hundred, K thousand, P point, A and,
    a article, F fraction, N written number, C written like a time, S sign, O ordinal.
    """

    kind: str
    value: float
    token: int
    width: int = 1
    text: str = ""
    mended: bool = False
    """Understood otherwise than it was heard, or put together over a mark."""
    large: bool = False
    """A word follows that has figures of four digits: rpm, cfm."""


@cache
def _words() -> dict[str, tuple[str, float]]:
    table = load_table("numbers")
    words: dict[str, tuple[str, float]] = {}
    for word, value in table["digits"].items():
        words[word] = ("Z" if value == 0 else "D", float(value))
    for word in table["zeros"]["say"]:
        words[word] = ("Z", 0.0)
    words |= {word: ("T", float(value)) for word, value in table["teens"].items()}
    words |= {word: ("Y", float(value)) for word, value in table["tens"].items()}
    words |= {word: ("H" if value == 100 else "K", float(value)) for word, value in table["powers"].items()}
    words |= {word: ("F", float(value)) for word, value in table["fractions"].items()}
    for word in table["signs"]["minus"]:
        words[word] = ("S", -1.0)
    for word in table["signs"]["plus"]:
        words[word] = ("S", 1.0)
    for word in table["signs"]["point"]:
        words[word] = ("P", 0.0)
    words["and"] = ("A", 0.0)
    words["a"] = ("a", 1.0)
    words["an"] = ("a", 1.0)
    return words


def is_number_word(word: str) -> bool:
    """Whether a word can begin a spoken figure: "one", "forty", "point", "minus"."""
    known = _words().get(word)
    return known is not None and known[0] in "DTYPS"


@cache
def _table() -> dict[str, Any]:
    return load_table("numbers")


def atom_at(passage: Passage, index: int) -> Atom | None:
    """The atom that begins at a token, or None."""
    token = passage.tokens[index]
    norm = token.norm
    if token.is_digits:
        after = passage.tokens[index + 1] if index + 1 < len(passage.tokens) else None
        if after is not None and after.joined and after.norm in ("st", "nd", "rd", "th"):
            size = float(re.sub(r"\D", "", norm) or 0)
            beside = {passage.norm(index - 1), passage.norm(index + 2)}
            if size in (8, 16, 32, 64) and (beside & {"of", "a", "an", "inch"} or passage.norm(index - 1).isdigit()):
                return Atom("F", 1 / size, index, 2, norm)  # "a 16th of an inch", "1 32nd"
            return Atom("O", size, index, 2, norm)
        if ":" in norm:
            hours, minutes = norm.split(":")
            return Atom("C", float(int(hours) * 100 + int(minutes)), index, 1, norm)
        slash = [passage.norm(index + k) for k in (1, 2)]
        if slash[0] == "/" and norm.isdigit() and slash[1] in ("2", "3", "4", "8", "16", "32", "64"):
            upper, lower = int(norm), int(slash[1])
            if 0 < upper < lower and passage.tokens[index + 1].joined and passage.tokens[index + 2].joined:
                return Atom("F", upper / lower, index, 3, "/")
        if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", norm):
            return Atom("N", float(norm.replace(",", "")), index, 1, norm)
        return Atom("N", float(norm.replace(",", ".")), index, 1, norm)
    known = _words().get(norm)
    if known is None:
        return None
    return Atom(known[0], known[1], index, 1, norm)


def first_atom(passage: Passage, index: int) -> Atom | None:
    """The atom that a number may begin with at a token, or None."""
    return _lost_ten(passage, index, []) or atom_at(passage, index)


def run_of(passage: Passage, start: int) -> list[Atom]:
    """The atoms from a token on, up to the first word that is none or the first mark inside no number."""
    atoms: list[Atom] = []
    index = start
    while index < len(passage.tokens) and len(atoms) < MAX_RUN:
        if passage.norm(index) == "-" and atoms and atoms[-1].kind == "S" and index + 1 < len(passage.tokens):
            index += 1
            continue
        over = bool(atoms) and (_over_comma(passage, index, atoms) or _over_hyphen(passage, index, atoms[-1]))
        if over:
            index += 1
        atom = _lost_ten(passage, index, atoms) or atom_at(passage, index)
        if atom is None and atoms and atoms[-1].kind == "P":
            sound = _table()["misheard_after_point"].get(passage.norm(index))
            if sound is not None:
                atom = Atom("D", float(sound), index, 1, passage.norm(index))
        if atom is None or _counts_in_name(passage, index, atom, atoms):
            break
        if atoms and passage.tokens[index].segment != passage.tokens[index - 1].segment and not passage.joined_lines:
            break
        sure = over and passage.norm(index - 1) == "-" and atoms[-1].kind != "D"
        atoms.append(replace(atom, mended=True) if over and not sure else atom)
        index += atom.width
    if atoms and passage.norm(index) in _table()["four_figures"]["before"]:
        atoms[-1] = replace(atoms[-1], large=True)
    return atoms


def _over_comma(passage: Passage, index: int, atoms: list[Atom]) -> bool:
    """Whether a comma stands inside a number: "two, oh eight", "twelve point, eight", "one eighteen-one, eighteen"."""
    if passage.norm(index) != ",":
        return False
    following = atom_at(passage, index + 1) if index + 1 < len(passage.tokens) else None
    if following is None:
        return False
    if atoms[-1].kind == "P":
        return following.kind in "DZ"
    if following.kind == "Z" and following.text in ("oh", "o") and atoms[-1].kind == "D":
        after = atom_at(passage, index + 2) if index + 2 < len(passage.tokens) else None
        return after is not None and after.kind == "D" and (len(atoms) == 1 or atoms[-2].kind not in "DP")
    return _doubles(passage, index + 1, atoms)


def _over_hyphen(passage: Passage, index: int, last: Atom) -> bool:
    """Whether a hyphen joins a word and digits to one number: "2-oh-8", "30-point-1", "twenty-2", "one-15"."""
    if passage.norm(index) != "-" or not passage.tokens[index].joined or index + 1 >= len(passage.tokens):
        return False
    after = passage.tokens[index + 1]
    if not after.joined or not after.norm.isdigit():
        return False
    few = len(after.norm) == 1
    return last.kind in "ZP" or (last.kind == "Y" and few) or (last.text == "one" and len(after.norm) == 2)


def _doubles(passage: Passage, index: int, atoms: list[Atom]) -> bool:
    """Whether the atoms from a token on complete a second saying of the number before: one eighteen, one | eighteen."""
    said = [(atom.kind, atom.value) for atom in atoms]
    for half in range(2, 5):
        for begun in range(1, half):
            first, again = said[-half - begun : -begun], said[-begun:]
            if len(first) < half or first[:begun] != again or not any(kind in "TYP" for kind, _ in first):
                continue
            rest = [atom_at(passage, index + k) for k in range(half - begun) if index + k < len(passage.tokens)]
            if [(atom.kind, atom.value) for atom in rest if atom is not None] == first[begun:]:
                return True
    return False


def _lost_ten(passage: Passage, index: int, atoms: list[Atom]) -> Atom | None:
    """A ten that lost its end: "thirt nine", and "seven to four", which is no range, for seventy-four."""
    table, norm = _table()["lost_tens"], passage.norm(index)
    ten = table["words"].get(norm)
    digit = _words().get(passage.norm(index + 1), ("", 0.0))
    if ten is not None and digit[0] == "D" and digit[1] > 1 and passage.norm(index - 1) not in table["not_after"]:
        return Atom("Y", float(ten), index, 1, norm, mended=True)
    known = _words().get(norm, ("", 0.0))
    last = _words().get(passage.norm(index + 2), ("", 0.0))
    if atoms or known[0] != "D" or norm not in table["to"] or passage.norm(index + 1) != "to":
        return None
    before = {passage.norm(index - k) for k in range(1, 5)}
    after = atom_at(passage, index + 3) if index + 3 < len(passage.tokens) else None
    ends = after is None and passage.norm(index + 3) in table["ends"]
    if last[0] == "D" and known[1] > last[1] and ends and not before & set(table["changed_by"]):
        return Atom("Y", known[1] * 10, index, 2, norm, mended=True)
    return None


def _counts_in_name(passage: Passage, index: int, atom: Atom, atoms: list[Atom]) -> bool:
    """Whether a digit belongs to the word after it: the three of "two oh eight three phase"."""
    return (
        atom.kind == "D"
        and len(atoms) > 1
        and atoms[-1].kind not in "YPSHZ"
        and index + 1 < len(passage.tokens)
        and passage.tokens[index + 1].segment == passage.tokens[index].segment
        and passage.norm(index + 1) in _table()["counted"]["say"]
    )
