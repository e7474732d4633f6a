"""How likely a heard figure is wrong, from all signs of the sound; weights and words stand in doubt.toml."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from extractors.facts import Frozen
from pipeline.errors import AuthoringError
from pipeline.keep import digest_of_file

FILE = Path(__file__).with_name("doubt.toml")


class Weights(Frozen):
    """One way of hearing: what each sign counts, and the probability from which on a figure is flagged."""

    threshold: float
    constant: float
    weights: dict[str, float]

    def wrong(self, signs: Mapping[str, float]) -> float:
        """Probability, 0 to 1, that another figure was said; a sign without a weight counts nothing."""
        total = self.constant + sum(self.weights.get(name, 0.0) * sign for name, sign in signs.items())
        return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, total))))


class DoubtTable(Frozen):
    """The whole of doubt.toml."""

    lead_in: dict[str, str]
    careful: Weights
    quick: Weights
    bare_ty: dict[str, tuple[str, ...]]
    sounds_like: dict[str, tuple[str, ...]]


@cache
def doubt_table() -> DoubtTable:
    """The table, read once. Raises AuthoringError where the file is not as it should be."""
    try:
        return DoubtTable.model_validate(tomllib.loads(FILE.read_text(encoding="utf-8")))
    except (OSError, ValueError) as fault:
        raise AuthoringError(
            "doubt-unreadable", f"doubt.toml cannot be used: {fault}.", "Correct that line and run again."
        ) from fault


@cache
def doubt_digest() -> str:
    """SHA-256 of the table; it changes when a weight or a word does."""
    return digest_of_file(FILE)


TEENS = frozenset({"thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"})
TYS = frozenset({"thirty", "forty", "fourty", "fifty", "sixty", "seventy", "eighty", "ninety"})


def ends_in_ty(text: str, value: float) -> bool:
    """The figure ends in a ten from thirty to ninety: "forty" is what noise leaves of "fourteen"."""
    return _last_word(text) in TYS or (_last_word(text).isdigit() and value % 10 == 0 and 30 <= value % 100 <= 90)


def ends_in_teen_or_ty(text: str, value: float) -> bool:
    """The figure ends in a word that differs from another by little: fourteen and forty, one fifty and one fifteen."""
    in_digits = _last_word(text).isdigit() and 13 <= value % 100 <= 19
    return in_digits or _last_word(text) in TEENS or ends_in_ty(text, value)


def _last_word(text: str) -> str:
    words = text.lower().replace("-", " ").split()
    return words[-1].strip(".,;:?!%") if words else ""


def reasons(signs: Mapping[str, float]) -> tuple[str, ...]:
    """Why a flagged figure needs a second listen, in the draft's words, the strongest reason first."""
    found: list[str] = []
    if signs.get("witness_other") or signs.get("plain_other"):
        found.append("heard differently")
    if signs.get("teen_or_ty") and (signs.get("alike", 0.0) > 0.0 or not found):
        found.append("teen or ty")
    if not found or signs["unsure"] > 0.7:
        found.append("low confidence")
    return tuple(found)
