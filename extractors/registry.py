"""Extractors are found because they stand in find/; each says what it gives and what it needs first."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from extractors.errors import AuthoringError
from extractors.passage import Span
from extractors.talk import Talk


@dataclass
class Found:
    """What the extractors before found: fact name to facts, and the tokens that a fact has used up."""

    facts: dict[str, Any] = field(default_factory=dict)
    used: dict[Span, str] = field(default_factory=dict)
    """Spans of figures that are part of a name, with the field that they went to ("equipment.serial")."""
    deeds: list[int] = field(default_factory=list)
    """Tokens at which a remedy was done, in order."""
    faults: list[str] = field(default_factory=list)
    work: object = None
    """States and deeds of the talk, once somebody worked them out."""


Find = Callable[[Talk, Found], Any]


@dataclass(frozen=True, slots=True)
class Extractor:
    """One extractor: `find` returns what goes under `gives` in the facts; `needs` names what must be there before."""

    name: str
    find: Find
    gives: str
    needs: tuple[str, ...] = ()


@cache
def discover() -> tuple[Extractor, ...]:
    """All extractors, each after what it needs. Raises AuthoringError for a module without EXTRACTOR or a circle."""
    import extractors.find as folder

    waiting: list[Extractor] = []
    for module in sorted(pkgutil.iter_modules(folder.__path__), key=lambda m: m.name):
        loaded = importlib.import_module(f"extractors.find.{module.name}")
        extractor = getattr(loaded, "EXTRACTOR", None)
        if not isinstance(extractor, Extractor):
            raise AuthoringError("extractor-missing", f"extractors/find/{module.name}.py has no EXTRACTOR.")
        waiting.append(extractor)
    ordered: list[Extractor] = []
    given: set[str] = set()
    while waiting:
        ready = [e for e in waiting if set(e.needs) <= given]
        if not ready:
            names = ", ".join(e.name for e in waiting)
            raise AuthoringError("extractor-circle", f"These extractors wait for each other: {names}.")
        for extractor in ready:
            ordered.append(extractor)
            given.add(extractor.gives)
            waiting.remove(extractor)
    return tuple(ordered)
