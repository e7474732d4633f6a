"""Small words of English that decide what a clause says, by what they do: lexicon/grammar.toml."""

from __future__ import annotations

from functools import cache

from extractors.lexicon import load_table


@cache
def small_words(name: str) -> frozenset[str]:
    """The words of one row of grammar.toml."""
    return frozenset(load_table("grammar")[name]["say"])
