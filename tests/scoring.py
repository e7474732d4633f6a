"""Holds drafts against careful readers' annotations: what was found, what was lost, what is wrong and looks sure."""

from __future__ import annotations

import json
from dataclasses import dataclass
from math import isclose
from pathlib import Path
from typing import Any

from extractors.facts import Alternative, Evidence, Reading
from extractors.units import convert
from pipeline import run
from pipeline.draft import Draft, MadeWith, Recording
from pipeline.hear import Heard
from pipeline.imported import read_text
from pipeline.plan import plans_of

NARRATIONS = Path(__file__).parent / "narrations"


def drafts_of(name: str) -> list[Draft]:
    """The drafts of a narration's jobs, as `jobtape draft` makes them, without papers."""
    heard = Heard(transcript=read_text(NARRATIONS / f"{name}.said.txt"), hearing="imported")
    plans, fault = plans_of([heard], one_job=False)
    assert fault is None
    return [run.drafted(run.started(name, [_part(heard, chosen)], MadeWith(), {})) for ((_, chosen),) in plans]


def _part(heard: Heard, chosen: tuple[int, ...]) -> run.Part:
    segments = tuple(heard.transcript.segments[index] for index in chosen)
    return run.Part(recording=Recording(file="said.txt", sha256=""), segments=segments)


def gold_of(name: str) -> dict[str, Any]:
    return dict(json.loads((NARRATIONS / f"{name}.gold.json").read_text(encoding="utf-8")))


def plain(text: str | None) -> str:
    """Letters and digits, lower case: so that quotes meet whatever their commas."""
    return " ".join("".join(sign if sign.isalnum() or sign == "." else " " for sign in (text or "").lower()).split())


def many(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def same_figure(one: Reading | Alternative, gold: dict[str, Any]) -> bool:
    """The same value or range, in whatever unit of the same kind."""
    for field in ("value", "low", "high"):
        have, want = getattr(one, field), gold.get(field)
        if (have is None) != (want is None):
            return False
        if want is not None and not any(_meet(have, one.unit, want, unit) for unit in many(gold.get("unit"))):
            return False
    return True


def _meet(have: float, unit: str | None, want: float, other: str | None) -> bool:
    if unit != other:
        try:
            have = convert(have, str(unit), str(other))
        except (KeyError, ValueError):
            return False
    return isclose(have, want, rel_tol=2e-3, abs_tol=1e-9)


def matches(reading: Reading, gold: dict[str, Any]) -> bool:
    return reading.quantity.value in many(gold["quantity"]) and same_figure(reading, gold)


@dataclass
class Score:
    """Counts over narrations; shares are per required reading."""

    required: int = 0
    found: int = 0
    lost: int = 0
    silently_wrong: int = 0
    quotes: int = 0
    false_quotes: int = 0

    def add(self, name: str) -> None:
        """Scores one narration."""
        drafts, golds = drafts_of(name), gold_of(name)["readings"]
        said = plain(" ".join(segment.text for draft in drafts for segment in draft.transcript.segments))
        readings = [one for draft in drafts for one in draft.readings if one.superseded_by is None]
        taken: set[int] = set()
        for gold in golds:
            hit = next((n for n, one in enumerate(readings) if n not in taken and matches(one, gold)), None)
            if hit is not None:
                taken.add(hit)
            if gold.get("optional"):
                continue
            self.required += 1
            self.found += hit is not None
            self.lost += hit is None and not _touched(gold["quote"], drafts)
        left = [one for n, one in enumerate(readings) if n not in taken]
        self.silently_wrong += sum(not one.confirm and not any(matches(one, gold) for gold in golds) for one in left)
        for quote in _quotes(drafts):
            self.quotes += 1
            self.false_quotes += not (plain(quote) and plain(quote) in said)

    def per_100(self, count: int) -> float:
        return 100.0 * count / self.required


def _evidence(draft: Draft) -> list[Evidence]:
    """All evidence of a draft."""
    facts = [*draft.readings, *draft.findings, *draft.actions, *draft.parts, *draft.follow_ups, *draft.unplaced]
    repeats = [again for reading in draft.readings for again in reading.repeats]
    return [*(fact.evidence for fact in facts), *repeats]


def _quotes(drafts: list[Draft]) -> list[str]:
    return [one.quote for draft in drafts for one in _evidence(draft)]


def _touched(quote: str, drafts: list[Draft]) -> bool:
    """Whether a reading, or an unplaced figure, stands on these words: the figure is somewhere and not lost."""
    held = [one.evidence.quote for draft in drafts for one in (*draft.readings, *draft.unplaced)]
    held += [again.quote for draft in drafts for reading in draft.readings for again in reading.repeats]
    return any(plain(one) and (plain(one) in plain(quote) or plain(quote) in plain(one)) for one in held)
