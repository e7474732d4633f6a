"""Forms of verbs: base, third person, past, participle, -ing."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from functools import cache

from extractors.lexicon import load_table

VOWELS = "aeiou"


class Form(StrEnum):
    """How a verb stands."""

    BASE = "base"
    THIRD = "third"
    PAST = "past"
    PARTICIPLE = "participle"
    ING = "ing"


@cache
def forms(verb: str) -> tuple[tuple[str, Form], ...]:
    """All forms of a verb with what each is; one spelling may be several forms ("set")."""
    irregular = load_table("actions")["irregular"].get(verb)
    past, participle, ing = irregular or (_past(verb), _past(verb), _ing(verb))
    return (
        (verb, Form.BASE),
        (_third(verb), Form.THIRD),
        (past, Form.PAST),
        (participle, Form.PARTICIPLE),
        (ing, Form.ING),
    )


def _third(verb: str) -> str:
    if verb.endswith(("s", "x", "ch", "sh", "z", "o")):
        return verb + "es"
    if verb.endswith("y") and verb[-2:-1] not in VOWELS:
        return verb[:-1] + "ies"
    return verb + "s"


def _doubles(verb: str) -> bool:
    return (
        len(verb) >= 3
        and verb[-1] not in VOWELS + "wxy"
        and verb[-2] in VOWELS
        and verb[-3] not in VOWELS
        and sum(letter in VOWELS for letter in verb.removeprefix("un").removeprefix("re")) == 1
    )


def _past(verb: str) -> str:
    if verb.endswith("e"):
        return verb + "d"
    if verb.endswith("y") and verb[-2:-1] not in VOWELS:
        return verb[:-1] + "ied"
    return verb + (verb[-1] if _doubles(verb) else "") + "ed"


def _ing(verb: str) -> str:
    if verb.endswith("e") and not verb.endswith("ee"):
        return verb[:-1] + "ing"
    return verb + (verb[-1] if _doubles(verb) else "") + "ing"


def inflected(phrase: str) -> Iterator[tuple[str, Form]]:
    """A verb phrase in all forms; the first word changes, or the one marked with ^ ("short ^cycle")."""
    words = phrase.split()
    at = next((i for i, word in enumerate(words) if word.startswith("^")), 0)
    for word, form in forms(words[at].lstrip("^")):
        yield " ".join([*words[:at], word, *words[at + 1 :]]), form
