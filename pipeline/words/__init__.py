"""All words of the papers, one catalogue a language: `en.toml`, `es.toml`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.errors import AuthoringError

FOLDER = Path(__file__).parent
DEFAULT = "en"
SPACES = ("box", "product", "room", "house", "ambient")
"""Subjects that are no part of a machine."""


@dataclass(frozen=True, slots=True)
class Term:
    """A component's name: bare, with its article, and in plain words where the name is one of the trade."""

    name: str
    the: str
    plain: str
    many: bool


@dataclass(frozen=True)
class Words:
    """One language. Called with `section.key` it gives the words, with the values put in."""

    language: str
    table: dict[str, Any]

    def __call__(self, key: str, **values: object) -> str:
        """The words for a key. Raises AuthoringError when the catalogue has none or a value is missing."""
        section, _, name = key.partition(".")
        pattern = self.table.get(section, {}).get(name)
        if not isinstance(pattern, str):
            raise AuthoringError(
                "words-missing",
                f"The catalogue {self.language}.toml has no words for {key!r}.",
                f"Add {name!r} to its table [{section}].",
            )
        if not values:
            return pattern
        try:
            return self.smooth(pattern.format(**values))
        except (KeyError, IndexError, ValueError) as fault:
            raise AuthoringError(
                "words-wrong",
                f"The words {pattern!r} of {key!r} in {self.language}.toml cannot be filled ({fault}).",
                f"They may name only {', '.join(sorted(values))}.",
            ) from fault

    def smooth(self, text: str) -> str:
        """The text with the contractions that the language asks for: "de el" is "del" in Spanish."""
        for rough, even in self.table["language"]["smooth"]:
            text = text.replace(rough, even)
        return text

    def translated(self, sentence: str) -> str:
        """A sentence that the program wrote into the draft, in this language; as it stands where there is none."""
        said: str = self.table.get("translated", {}).get(sentence, sentence)
        return said

    def has(self, key: str) -> bool:
        """Whether the catalogue has words for `section.key`."""
        section, _, name = key.partition(".")
        return isinstance(self.table.get(section, {}).get(name), str)

    def count(self, key: str, number: int, **values: object) -> str:
        """The words for one or for many: `KEY_one` or `KEY_many`, with `{n}` put in."""
        return self(f"{key}_{'one' if number == 1 else 'many'}", n=number, **values)

    def term(self, component: str) -> Term:
        """A component by its word of the contract, or by the noun that was said."""
        row = self.table["component"].get(component)
        if row is not None:
            return Term(row["name"], row["the"], row.get("plain", ""), row.get("many", False))
        many = component.endswith("s") and not component.endswith(("ss", "us", "is"))
        return Term(component, self("sentence.the", noun=component), "", many)

    def clause(self, condition: str, component: str, the: str) -> str:
        """A condition's clause about a component, which `the` names: "the contactor (left) was burnt"."""
        row = self.table["condition"][condition]
        pattern: str = row.get("many", row["one"]) if self.term(component).many else row["one"]
        return self.smooth(pattern.format(the=the))

    def deed(self, action: str, form: str, component: str, the: str) -> str:
        """An action in the form `one` (done) or `todo`, on what `the` names: a space is not set, its control is."""
        row = self.table["action"][action]
        pattern: str = row.get(f"{form}_space", row[form]) if component in SPACES else row[form]
        return self.smooth(pattern.format(the=the))

    def the(self, component: str, place: str | None = None, plain: str = "") -> str:
        """A component with its article, its place, and what it does in plain words where that is wanted."""
        text = self.term(component).the
        if place and plain:
            return self("sentence.place_gloss", words=text, place=place, plain=plain)
        if place:
            return self("sentence.place", the=text, place=place)
        return self("sentence.gloss", words=text, plain=plain) if plain else text

    def series(self, items: list[str]) -> str:
        """Items in one breath: "a, b and c"; with semicolons where an item is a series itself."""
        if len(items) < 2:
            return "".join(items)
        if any(", " in item for item in items):
            return self("sentence.phrases", before="; ".join(items[:-1]), last=items[-1])
        return self("sentence.last_two", before=", ".join(items[:-1]), last=items[-1])


def languages() -> tuple[str, ...]:
    """The languages that have a catalogue."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


@cache
def load_words(language: str = DEFAULT) -> Words:
    """The catalogue of a language. Raises AuthoringError when there is none or it is no TOML."""
    if language not in languages():
        raise AuthoringError(
            "language-unknown",
            f"There is no catalogue of words for the language {language!r}.",
            f"Use one of {', '.join(languages())}.",
        )
    try:
        return Words(language, tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8")))
    except tomllib.TOMLDecodeError as fault:
        raise AuthoringError("words-wrong", f"{language}.toml is not valid TOML ({fault}).") from fault


def capital(text: str) -> str:
    """The text with its first letter large; the rest as it stands, so that "L1" and "µF" stay right."""
    return text[:1].upper() + text[1:]
