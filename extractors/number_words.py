"""The digits of single number words, for strings that are spelled and times that are told."""

from __future__ import annotations

from functools import cache

from extractors.lexicon import load_table


@cache
def spoken_numbers() -> dict[str, tuple[str, str]]:
    """Number words: word to (kind, digits). Kinds: D digit, T teen, Y tens, H hundred, K thousand."""
    numbers = load_table("numbers")
    words = {word: ("D", str(value)) for word, value in numbers["digits"].items()}
    words |= dict.fromkeys(load_table("spelling")["zero"]["say"], ("D", "0"))
    words |= {word: ("T", str(value)) for word, value in numbers["teens"].items()}
    words |= {word: ("Y", str(value)) for word, value in numbers["tens"].items()}
    return words | {"hundred": ("H", "00"), "thousand": ("K", "000")}


def number_word(norm: str) -> str | None:
    """The digits of a number word below a hundred ("forty" is 40), or None."""
    known = spoken_numbers().get(norm)
    return known[1] if known is not None and known[0] in "DTY" else None
